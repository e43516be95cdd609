package library

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"

	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library/files"
)

const (
	marksName = ".marks.json"
	mostMarks = 10_000
)

// SetNote keeps a remark of at most 2000 bytes on a recording; "" removes it.
func (s *Store) SetNote(id, note string) error {
	s.moving.RLock()
	defer s.moving.RUnlock()
	if _, err := s.Path(id); err != nil {
		return err
	}
	if err := channel.CheckNote(note); err != nil {
		return err
	}
	return s.remarks.Change(func(remarks map[string]string) error {
		remarks[id] = note // "" too: the file may carry one
		return nil
	})
}

// remark is the one on the recording at a path: that kept beside it, else that which it carries.
func remark(path, carried string) string {
	if note, ok := files.NewMap[string](filepath.Dir(path), notesName).All()[filepath.Base(path)]; ok {
		return note
	}
	return carried
}

// Marks returns the notes made on a recording afterwards, by sample; an EDF+ or BDF+ download
// has them inside.
func (s *Store) Marks(id string) []recording.Annotation { return s.marks.All()[id] }

// AddMark puts a note at a sample of a recording.
func (s *Store) AddMark(id string, a recording.Annotation) error {
	s.moving.RLock()
	defer s.moving.RUnlock()
	if _, err := s.Path(id); err != nil {
		return err
	}
	a.Text = recording.PlainNote(a.Text)
	return s.marks.Change(func(marks map[string][]recording.Annotation) error {
		if len(marks[id]) >= mostMarks {
			return fmt.Errorf("recording %s: it has %d notes already, the most that are kept", strconv.Quote(id), mostMarks)
		}
		marks[id] = append(marks[id], a)
		slices.SortStableFunc(marks[id], func(a, b recording.Annotation) int { return cmp.Compare(a.Sample, b.Sample) })
		return nil
	})
}

// ErrNoMark is returned for a note that was not made afterwards.
var ErrNoMark = errors.New("no such note was made afterwards; those in the recording itself stay")

// RemoveMark takes away a note made afterwards.
func (s *Store) RemoveMark(id string, sample int64, text string) error {
	s.moving.RLock()
	defer s.moving.RUnlock()
	return s.marks.Change(func(marks map[string][]recording.Annotation) error {
		i := slices.IndexFunc(marks[id], func(a recording.Annotation) bool { return a.Sample == sample && a.Text == text })
		if i < 0 {
			return fmt.Errorf("note at sample %d: %w", sample, ErrNoMark)
		}
		if marks[id] = slices.Delete(marks[id], i, i+1); len(marks[id]) == 0 {
			delete(marks, id)
		}
		return nil
	})
}
