package library

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Beside the recordings the folder holds small JSON files; acquire/recording/FORMAT.md
// lists them. Each is replaced whole, so that a crash leaves the one before.

// errBroken says that a file beside the recordings is no JSON of its kind.
var errBroken = errors.New("it cannot be understood")

// readMap reads what writeMap wrote, an empty map when there is no file. With
// errBroken the map has what could be understood.
func readMap[V any](path string) (map[string]V, error) {
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
		return m, fmt.Errorf("%s: %w: %v", path, errBroken, err)
	}
	return m, nil
}

// changeMap reads, changes and writes a file. One that cannot be understood is kept
// beside under another name. One change of a file at a time.
func changeMap[V any](path string, change func(map[string]V) error) error {
	m, err := readMap[V](path)
	if errors.Is(err, errBroken) {
		err = setAside(path)
	}
	if err != nil {
		return err
	}
	if err := change(m); err != nil {
		return err
	}
	data, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}
	return replace(path, data)
}

// setAside gives a file that cannot be understood another name, so that nothing is lost.
func setAside(path string) error { return os.Rename(path, path+".broken") }

// replace writes a file, which is either whole or as before whatever happens.
func replace(path string, data []byte) error {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("%s: %w; is the folder there, and may it be written to?", filepath.Base(path), err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		os.Remove(path + ".new")
		return fmt.Errorf("%s: %w; is the disk full?", filepath.Base(path), err)
	}
	return os.Rename(path+".new", path)
}
