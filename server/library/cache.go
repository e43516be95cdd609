package library

import (
	"encoding/json"
	"os"
	"path/filepath"
	"time"

	"pulsewright/server/library/files"
	"pulsewright/server/library/overview"
)

const (
	cacheName = "list.json"
	// worthKeeping is how long reading a file's annotations takes from which on what
	// they told is kept for the next run.
	worthKeeping = 50 * time.Millisecond
)

// loadCache takes in what a run before learnt of large files.
func (s *Store) loadCache() { s.load.Do(s.readCache) }

func (s *Store) readCache() {
	data, err := os.ReadFile(filepath.Join(s.folder, overview.Folder, cacheName))
	kept := map[string]cached{}
	if err != nil || json.Unmarshal(data, &kept) != nil {
		return // only a convenience
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.saved = string(data)
	for id, c := range kept {
		if _, ok := s.cache[id]; !ok && c.Entry.ID == id && c.Entry.Problem == "" && len(c.Entry.Kinds) == len(c.Entry.Channels) {
			c.Entry.Address = "file:" + filepath.Join(s.folder, id)
			s.cache[id] = c
		}
	}
}

// saveCache keeps what was learnt of large files.
func (s *Store) saveCache() {
	s.saving.Lock()
	defer s.saving.Unlock()
	kept := map[string]cached{}
	s.mu.Lock()
	saved := s.saved
	for id, c := range s.cache {
		if c.Took >= worthKeeping && !c.Behind {
			kept[id] = c
		}
	}
	s.mu.Unlock()
	data, err := json.Marshal(kept)
	if err != nil || string(data) == saved || len(kept) == 0 && saved == "" {
		return
	}
	folder := filepath.Join(s.folder, overview.Folder)
	path := filepath.Join(folder, cacheName)
	if os.MkdirAll(folder, 0o700) == nil && files.Replace(path, data) == nil {
		s.mu.Lock()
		s.saved = string(data)
		s.mu.Unlock()
	}
}
