package library

import (
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"sync"

	"pulsewright/acquire"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/session"
)

const settingsName = ".settings.json"

// Settings remembers what was set for a source's channels, in a file of the data
// folder. It implements session.Memory.
type Settings struct {
	// Immutable after NewSettings.
	path string
	log  *slog.Logger

	// Guarded by mu.
	mu  sync.Mutex
	all map[string][]channelSettings // by the source's scheme and path
}

type channelSettings struct {
	Label string                `json:"label"`
	Kind  string                `json:"kind"`
	Path  signalpath.Settings   `json:"path"`
	Scale session.ScaleSettings `json:"scale"`
}

// NewSettings reads what was remembered; a file that cannot be read is begun anew
// and kept beside under another name.
func NewSettings(folder string, log *slog.Logger) *Settings {
	s := &Settings{path: filepath.Join(folder, settingsName), log: log, all: map[string][]channelSettings{}}
	data, err := os.ReadFile(s.path)
	if err != nil {
		return s
	}
	if err := json.Unmarshal(data, &s.all); err != nil {
		log.Warn("the remembered settings cannot be read and are begun anew", "file", s.path, "err", err)
		_ = os.Rename(s.path, s.path+".broken")
		s.all = nil
	}
	if s.all == nil { // null is JSON too
		s.all = map[string][]channelSettings{}
	}
	return s
}

// key leaves the options out: the same port at another rate is the same board.
func key(address string) string {
	a, err := acquire.ParseAddress(address)
	if err != nil {
		return address
	}
	if a.Scheme == "demo" {
		return address // each demo is a board of its own
	}
	return a.Scheme + ":" + a.Path
}

// Load implements session.Memory.
func (s *Settings) Load(address string, channel int, label string) (kind string, path signalpath.Settings, scale session.ScaleSettings, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	list := s.all[key(address)]
	if channel >= len(list) || list[channel].Label != label {
		return "", path, scale, false
	}
	c := list[channel]
	return c.Kind, c.Path, c.Scale, true
}

// Save implements session.Memory. It is called from the session's goroutine, so
// the file is written on another.
func (s *Settings) Save(address string, channels []session.ChannelState) {
	list := make([]channelSettings, len(channels))
	for i, c := range channels {
		list[i] = channelSettings{c.Label, c.Kind, c.Path, c.Scale}
	}
	s.mu.Lock()
	s.all[key(address)] = list
	data, err := json.MarshalIndent(s.all, "", " ")
	s.mu.Unlock()
	if err != nil {
		s.log.Warn("settings", "err", err)
		return
	}
	go s.write(data)
}

func (s *Settings) write(data []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := os.MkdirAll(filepath.Dir(s.path), 0o755)
	if err == nil {
		err = os.WriteFile(s.path+".new", data, 0o644)
	}
	if err == nil {
		err = os.Rename(s.path+".new", s.path)
	}
	if err != nil {
		s.log.Warn("settings are not remembered", "err", err)
	}
}
