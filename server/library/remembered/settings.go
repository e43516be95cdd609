// Package remembered keeps what was said of a source, its channels and its columns, for the next
// time that it is opened.
package remembered

import (
	"encoding/json"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"sync"

	"pulsewright/acquire"
	"pulsewright/server/channel"
	"pulsewright/server/library"
	"pulsewright/server/library/files"
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
	all     map[string][]kept // by the source's scheme and path
	changed bool              // since all was written last
	writing bool
}

// NewSettings reads what was remembered; a file that cannot be read is begun anew
// and kept beside under another name.
func NewSettings(folder string, log *slog.Logger) *Settings {
	path := filepath.Join(folder, settingsName)
	return &Settings{path: path, log: log, all: read[[]kept](path, "settings", log)}
}

// read reads what was remembered; what cannot be understood is kept beside under another name.
func read[V any](path, what string, log *slog.Logger) map[string]V {
	all, err := files.Read[V](path)
	if err == nil {
		return all
	}
	log.Warn("the remembered "+what+" cannot be read and are begun anew", "file", path, "err", err)
	if errors.Is(err, files.ErrBroken) {
		_ = files.SetAside(path)
	}
	return map[string]V{}
}

// keep writes what is remembered, in a folder that is made when first needed.
func keep(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	return files.Replace(path, data)
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
func (s *Settings) Load(address string, source acquire.Info, n int) (said channel.Said, ok bool) {
	var of channel.Said // said of the recording that is replayed
	if a, err := acquire.ParseAddress(address); err == nil && a.Scheme == "file" {
		of = library.Said(a.Path).Of(n)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	list, label, at := s.all[key(address)], source.Channels[n].Label, placeOf(source, n)
	i := find(list, label, at)
	if i < 0 {
		return of, !of.Empty()
	}
	return of.Over(list[i].now(source.Channels[n], at)), true
}

// Save implements session.Memory. It is called from the session's goroutine, so
// the file is written on another. What is said of a recording of the folder stays with the
// recording, see [library.Store.SayOf].
func (s *Settings) Save(address string, source acquire.Info, channels []channel.Resolved) {
	if a, err := acquire.ParseAddress(address); err == nil && a.Scheme == "file" && filepath.Dir(a.Path) == filepath.Dir(s.path) {
		return
	}
	list := make([]kept, len(channels))
	for i, c := range channels {
		at := placeOf(source, i)
		at.KindFrom = c.From.Kind
		list[i] = kept{c.All(), &at}
		list[i].Label = &source.Channels[i].Label // by which it is found again
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all[key(address)] = append(list, leftOut(s.all[key(address)], list)...)
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
			err = keep(s.path, data)
		}
		if err != nil {
			s.log.Warn("settings are not remembered", "err", err)
		}
	}
}
