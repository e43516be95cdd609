package library

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/library/files"
)

const (
	// annotatedName is the file of the annotation files that were brought in later, by recording.
	annotatedName = ".annotated.json"
	// mostAnnotated bounds one: a day of beats has about 300 kB.
	mostAnnotated = 4 << 20
)

// annotatedOf is the annotation file that was brought in for the recording at a path, or nil.
func annotatedOf(path string) []byte {
	return files.NewMap[[]byte](filepath.Dir(path), annotatedName).All()[filepath.Base(path)]
}

// attach takes in an annotation file for the recording of its name, which is there already.
func (s *Store) attach(name string, packed bool, body io.Reader) (done Imported, err error) {
	failed := func(err error) (Imported, error) {
		return Imported{}, fmt.Errorf("file %s: %w", strconv.Quote(name), err)
	}
	if packed {
		if body, err = unpacked(body); err != nil {
			return failed(err)
		}
	}
	data, err := io.ReadAll(io.LimitReader(body, mostAnnotated+1))
	if err != nil {
		return failed(fmt.Errorf("it did not arrive whole: %w", err))
	}
	if len(data) > mostAnnotated {
		return failed(fmt.Errorf("it has over %d MB: that many beats are of no recording", mostAnnotated>>20))
	}
	s.moving.RLock()
	defer s.moving.RUnlock()
	id, err := s.named(strings.TrimSuffix(name, filepath.Ext(name)))
	if err != nil {
		return failed(err)
	}
	path := filepath.Join(s.folder, id)
	f, err := openSaid(path, recording.OpenOptions{})
	if err != nil {
		return failed(err)
	}
	defer f.Close()
	if own, _, _ := recording.TakeMarked(f.Annotations(), f.Describe().ClaimedRateHz); len(own) > 0 {
		return failed(fmt.Errorf("the recording %s has %s already, which stay", id, acquire.Number(int64(len(own)), "annotated beat", "annotated beats")))
	}
	beats, err := f.Annotate(data)
	if err == nil && beats == 0 {
		err = errors.New("no beat is annotated in it")
	}
	if err != nil {
		return failed(fmt.Errorf("for the recording %s: %w; give it the name of the recording that it belongs to", id, err))
	}
	before := ""
	if err := s.annotated.Change(func(all map[string][]byte) error {
		if all[id] != nil {
			before = ", in place of those brought in before"
		}
		all[id] = data
		return nil
	}); err != nil {
		return failed(err)
	}
	s.release(id)
	s.mu.Lock()
	delete(s.cache, id)
	s.mu.Unlock()
	done.Told = []string{fmt.Sprintf("%s from %s now belong to this recording%s", acquire.Number(int64(beats), "annotated beat", "annotated beats"), name, before)}
	done.Entry, err = s.Get(id)
	return done, err
}

// named finds the recording of a name: that of its file or, where no file is called so, that in the list.
func (s *Store) named(name string) (id string, err error) {
	found, err := os.ReadDir(s.folder)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return "", fmt.Errorf("recordings folder: %w", err)
	}
	var same, listed []string
	for _, f := range found {
		if _, err := s.Path(f.Name()); err != nil {
			continue
		}
		if base := strings.TrimSuffix(f.Name(), filepath.Ext(f.Name())); strings.EqualFold(base, name) || strings.EqualFold(base, files.CleanName(name)) {
			same = append(same, f.Name())
		} else if strings.EqualFold(files.NameOf(f.Name()), name) {
			listed = append(listed, f.Name())
		}
	}
	if len(same) == 0 {
		same = listed
	}
	switch len(same) {
	case 0:
		return "", fmt.Errorf("annotations belong to a recording, and none here is called %s: bring them together with its header (%s.hea) and its signal, or bring in the recording first", strconv.Quote(name), name)
	case 1:
		return same[0], nil
	}
	return "", fmt.Errorf("%d recordings are called %s (%s): give the others another name", len(same), strconv.Quote(name), strings.Join(same, ", "))
}
