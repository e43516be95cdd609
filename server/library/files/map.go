package files

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"pulsewright/acquire/recording"
)

// ErrBroken says that a file is no JSON of its kind.
var ErrBroken = errors.New("it cannot be understood")

// Map is a small JSON file beside the recordings, of values by name; acquire/recording/FORMAT.md
// lists them. It is replaced whole, so that a crash leaves the one before. Safe for concurrent use.
type Map[V any] struct {
	path     string     // immutable
	changing sync.Mutex // held while the file is changed
}

// NewMap is the file of that name in a folder; it is made when something is first kept.
func NewMap[V any](folder, name string) *Map[V] { return &Map[V]{path: filepath.Join(folder, name)} }

// All is what the file holds, or what of it can be read.
func (m *Map[V]) All() map[string]V {
	all, _ := Read[V](m.path)
	return all
}

// Change reads, changes and writes the file. One that cannot be understood is kept beside under
// another name. After an error of change it is as before.
func (m *Map[V]) Change(change func(map[string]V) error) error {
	m.changing.Lock()
	defer m.changing.Unlock()
	defer lockFolder(filepath.Dir(m.path))()
	all, err := Read[V](m.path)
	if errors.Is(err, ErrBroken) {
		err = SetAside(m.path)
	}
	if err != nil {
		return err
	}
	if err := change(all); err != nil {
		return err
	}
	data, err := json.MarshalIndent(all, "", " ")
	if err != nil {
		return err
	}
	return Replace(m.path, data)
}

// lockName is the file that is locked while another program on the same folder must wait.
const lockName = ".lock"

// mostWait bounds that wait: a program that stands still does not hold up another for good.
const mostWait = 5 * time.Second

// lockFolder waits until no other program changes a map of the folder; where files cannot be locked it does not wait.
func lockFolder(folder string) (unlock func()) {
	f, err := os.OpenFile(filepath.Join(folder, lockName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return func() {} // the change will say what is wrong
	}
	for until := time.Now().Add(mostWait); errors.Is(recording.Lock(f), recording.ErrInUse) && time.Now().Before(until); {
		time.Sleep(2 * time.Millisecond)
	}
	return func() { f.Close() }
}

// Move gives what is kept under one name to another, if anything is.
func (m *Map[V]) Move(from, to string) error {
	if _, ok := m.All()[from]; !ok {
		return nil
	}
	return m.Change(func(all map[string]V) error {
		all[to] = all[from]
		delete(all, from)
		return nil
	})
}

// Delete forgets what is kept under names, if anything is.
func (m *Map[V]) Delete(names []string) error {
	all := m.All()
	if !slices.ContainsFunc(names, func(name string) bool { _, ok := all[name]; return ok }) {
		return nil
	}
	return m.Change(func(all map[string]V) error {
		for _, name := range names {
			delete(all, name)
		}
		return nil
	})
}

// Read reads a map's file, an empty map when there is none. With ErrBroken the map has what
// could be understood.
func Read[V any](path string) (map[string]V, error) {
	m := map[string]V{}
	data, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return m, nil
	}
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(data, &m); err != nil || m == nil { // null is JSON too
		if m == nil {
			m = map[string]V{}
		}
		return m, fmt.Errorf("%s: %w: %v", path, ErrBroken, err)
	}
	return m, nil
}
