package library

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"pulsewright/server/library/files"
	"pulsewright/server/library/overview"
)

// Rename gives a recording another name; the time in front of it stays. It
// returns the new id. Nothing is overwritten.
func (s *Store) Rename(id, name string) (string, error) {
	s.moving.Lock()
	defer s.moving.Unlock()
	path, err := s.Path(id)
	if err != nil {
		return "", err
	}
	if strings.Trim(name, " .") == "" {
		return "", fmt.Errorf("name %s: give it a letter or a digit", strconv.Quote(name))
	}
	if err := files.CheckGiven(name); err != nil {
		return "", err
	}
	target := files.Renamed(id, name)
	if target == id {
		return id, nil
	}
	s.release(id)
	moved, err := files.MoveFree(path, s.folder, target)
	if err != nil {
		return "", err
	}
	s.mu.Lock()
	s.moved[id] = filepath.Base(moved)
	delete(s.moved, filepath.Base(moved))
	s.mu.Unlock()
	_ = os.Rename(overview.Path(s.folder, id), overview.Path(s.folder, filepath.Base(moved))) // it still belongs to the file
	return filepath.Base(moved), s.moveBeside(id, filepath.Base(moved))
}

// release lets go of a recording that is about to move: some systems move no file
// that is open.
func (s *Store) release(id string) {
	s.mu.Lock()
	letGo := s.letGo
	s.mu.Unlock()
	if letGo != nil {
		letGo(id)
	}
}

// Trash moves a recording and its notes to the trash, from where Restore brings them
// back.
func (s *Store) Trash(id string) error {
	s.moving.Lock()
	defer s.moving.Unlock()
	path, err := s.Path(id)
	if err != nil {
		return err
	}
	folder := filepath.Join(s.folder, trashName)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("trash: %w", err)
	}
	s.release(id)
	to := filepath.Join(folder, id)
	if _, err := os.Lstat(to); err == nil { // an older one of this name keeps its place
		older, err := files.MoveFree(to, folder, id)
		if err != nil {
			return err
		}
		if err := s.moveBeside(inTrash(id), inTrash(filepath.Base(older))); err != nil {
			return err
		}
	}
	_ = os.Remove(overview.Path(s.folder, id)) // made anew when needed
	if err := files.Move(path, to); err != nil {
		return err
	}
	return s.moveBeside(id, inTrash(id))
}

// Trashed is a recording in the trash.
type Trashed struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Bytes int64  `json:"bytes"`
}

// Trashed lists what is in the trash, the newest name first.
func (s *Store) Trashed() []Trashed {
	found, err := os.ReadDir(filepath.Join(s.folder, trashName))
	list := []Trashed{}
	if err != nil {
		return list // none was ever deleted, or the list above tells what is wrong
	}
	for _, f := range found {
		if _, err := s.path(f.Name()); err != nil || !f.Type().IsRegular() {
			continue
		}
		if info, err := f.Info(); err == nil {
			list = append(list, Trashed{f.Name(), files.NameOf(f.Name()), info.Size()})
		}
	}
	slices.Reverse(list)
	return list
}

// Restore brings a recording back from the trash. When its name was taken
// meanwhile it gets a number; the id it has now is returned.
func (s *Store) Restore(id string) (string, error) {
	s.moving.Lock()
	defer s.moving.Unlock()
	if _, err := s.path(id); err != nil {
		return "", err
	}
	from := filepath.Join(s.folder, trashName, id)
	if info, err := os.Lstat(from); err != nil || !info.Mode().IsRegular() {
		return "", fmt.Errorf("recording %s: %w in the trash", strconv.Quote(id), ErrNoRecording)
	}
	path, err := files.MoveFree(from, s.folder, id)
	if err != nil {
		return "", err
	}
	return filepath.Base(path), s.moveBeside(inTrash(id), filepath.Base(path))
}

// Delete removes recordings from the trash for good, with what was said of them. It
// returns what is gone; those named that are not in the trash are passed over.
func (s *Store) Delete(ids []string) ([]Trashed, error) {
	s.moving.Lock()
	defer s.moving.Unlock()
	gone, names := []Trashed{}, []string{}
	for _, t := range s.Trashed() {
		if !slices.Contains(ids, t.ID) {
			continue
		}
		if err := os.Remove(filepath.Join(s.folder, trashName, t.ID)); err != nil {
			return gone, fmt.Errorf("trash: %w", err)
		}
		gone, names = append(gone, t), append(names, inTrash(t.ID))
	}
	return gone, s.deleteBeside(names)
}

// kept is what is kept beside the recordings, by id.
type kept interface {
	Move(from, to string) error
	Delete(names []string) error
}

// beside is all of it.
func (s *Store) beside() []kept {
	return []kept{s.remarks, s.marks, s.said, s.edits, s.rates, s.annotated}
}

// deleteBeside drops what is kept under ids.
func (s *Store) deleteBeside(ids []string) error {
	var errs []error
	for _, m := range s.beside() {
		errs = append(errs, m.Delete(ids))
	}
	return errors.Join(errs...)
}

// moveBeside lets the remark, the notes, what was said and the beats edited of a recording follow it to another
// id, or into the trash and out of it.
func (s *Store) moveBeside(from, to string) error {
	var errs []error
	for _, m := range s.beside() {
		errs = append(errs, m.Move(from, to))
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("the recording is now %s, but its notes, what was said of its channels or its edited beats did not follow: %w", to, err)
	}
	return nil
}

// inTrash is the name under which what belongs to a recording in the trash is kept.
func inTrash(id string) string { return trashName + "/" + id }
