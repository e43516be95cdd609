package library

import (
	"encoding/json"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"sync"

	"pulsewright/acquire"
	"pulsewright/server/channel"
)

const settingsName = ".settings.json"

// Settings remembers what was set for a source's channels, in a file of the data
// folder. It implements session.Memory.
type Settings struct {
	// Immutable after NewSettings.
	path string
	log  *slog.Logger

	work sync.WaitGroup // the writing goroutine, while there is one

	// Guarded by mu.
	mu      sync.Mutex
	all     map[string][]channel.Said // by the source's scheme and path
	changed bool                      // since all was written last
	writing bool
}

// NewSettings reads what was remembered; a file that cannot be read is begun anew
// and kept beside under another name.
func NewSettings(folder string, log *slog.Logger) *Settings {
	s := &Settings{path: filepath.Join(folder, settingsName), log: log}
	all, err := readMap[[]channel.Said](s.path)
	if err != nil {
		log.Warn("the remembered settings cannot be read and are begun anew", "file", s.path, "err", err)
		if errors.Is(err, errBroken) {
			_ = setAside(s.path)
			all = map[string][]channel.Said{}
		}
	}
	s.all = all
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
func (s *Settings) Load(address string, n int, label string) (said channel.Said, ok bool) {
	var of channel.Said // said of the recording that is replayed
	if a, err := acquire.ParseAddress(address); err == nil && a.Scheme == "file" {
		of = Said(a.Path).Of(n)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	list := s.all[key(address)]
	if n >= len(list) || list[n].Label == nil || *list[n].Label != label {
		return of, !of.Empty()
	}
	kept := list[n]
	kept.Label = nil // it is only how the channel was found
	return of.Over(kept), true
}

// Save implements session.Memory. It is called from the session's goroutine, so
// the file is written on another.
func (s *Settings) Save(address string, channels []channel.Settings) {
	list := make([]channel.Said, len(channels))
	for i, c := range channels {
		list[i] = c.All()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all[key(address)] = list
	s.changed = true
	if !s.writing {
		s.writing = true
		s.work.Go(s.write)
	}
}

// Close waits until what was saved is written. Nothing may be saved after.
func (s *Settings) Close() { s.work.Wait() }

// write writes until nothing has changed any more, so that the newest comes last.
func (s *Settings) write() {
	for {
		s.mu.Lock()
		if !s.changed {
			s.writing = false
			s.mu.Unlock()
			return
		}
		s.changed = false
		data, err := json.MarshalIndent(s.all, "", " ")
		s.mu.Unlock()
		if err == nil {
			err = os.MkdirAll(filepath.Dir(s.path), 0o700)
		}
		if err == nil {
			err = replace(s.path, data)
		}
		if err != nil {
			s.log.Warn("settings are not remembered", "err", err)
		}
	}
}
