package recording

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"
)

// ErrInUse is told of a file that a program is writing.
var ErrInUse = errors.New("it is being written")

// Unclosed reports whether the file is one of this package that nobody closed: it is
// being written, or its program ended by force.
func (f *File) Unclosed() bool { return f.unclosed }

// Mend closes a recording of this package that was left open when its program was
// ended by force, so that other programs read it too. Any other file stays as it is. A file that
// is being written gives ErrInUse. It reports whether the file was changed.
func Mend(path string) (bool, error) {
	f, err := Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	if !f.unclosed {
		return false, nil
	}
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return false, &WriteError{Path: path, Err: unwrapPath(err)}
	}
	defer file.Close()
	if err := lockFile(file); errors.Is(err, ErrInUse) || err != nil && changedLately(file) {
		return false, fmt.Errorf("recording: %s: %w", path, ErrInUse)
	}
	st, ok := f.store.(*edfStore)
	if !ok || !st.ended || st.oldFrom < st.records {
		// It does not say where it ends, or its times are half corrected.
		return true, rewrite(f, path, ExportOptions{})
	}
	// What follows the end mark is from before it was written last.
	err = file.Truncate(st.header + st.records*int64(st.recordBytes))
	if err == nil {
		_, err = file.WriteAt([]byte(headerText(strconv.FormatInt(st.records, 10), 8)), 236)
	}
	if err == nil {
		err = file.Sync()
	}
	if err != nil {
		return false, &WriteError{Path: path, Err: unwrapPath(err)}
	}
	f.Close()
	file.Close() // before it is replaced
	return true, fitLayout(path)
}

// Cut takes away what stands in a closed recording of this package from sample to on.
func Cut(path string, to int64) error {
	f, err := Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return rewrite(f, path, ExportOptions{To: to})
}

// changedLately guesses that a file is being written, where files know no locks.
func changedLately(file *os.File) bool {
	info, err := file.Stat()
	return err != nil || time.Since(info.ModTime()) < 10*time.Second
}

// LayoutPrefix begins the name of a folder in which a recording is written anew. One
// that stays was left by a program ended by force.
const LayoutPrefix = ".layout-"

// rewrite writes a recording of this package anew in another layout, in its own place.
func rewrite(f *File, path string, o ExportOptions) error {
	folder, err := os.MkdirTemp(filepath.Dir(path), LayoutPrefix+"*")
	if err != nil {
		return &WriteError{Path: path, Err: unwrapPath(err)}
	}
	defer os.RemoveAll(folder)
	if o.perRecord == 0 {
		o.perRecord = f.store.(*edfStore).perRecord
	}
	to := filepath.Join(folder, filepath.Base(path))
	if err := ExportEDF(to, f, o); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_RDWR, 0)
	if err != nil {
		return &WriteError{Path: to, Err: unwrapPath(err)}
	}
	// Who and what it is of stand in 160 characters.
	who, err := f.store.(*edfStore).in.bytes(8, 160)
	if err == nil {
		_, err = out.WriteAt(who, 8)
	}
	if err == nil {
		err = out.Sync()
	}
	if closeErr := out.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return &WriteError{Path: to, Err: unwrapPath(err)}
	}
	if info, err := os.Stat(path); err == nil {
		_ = os.Chmod(to, info.Mode().Perm())
		_ = os.Chtimes(to, info.ModTime(), info.ModTime())
	}
	f.Close()
	return os.Rename(to, path)
}

// shortBytes bounds a file that is written anew to lie better.
const shortBytes = 16 << 20

// fitLayout takes care that other programs, which know whole records only, do not show a
// short recording longer than it is: one that fits in a record becomes one record, one that
// has records of nothing but annotations gets room for these in its records.
func fitLayout(path string) error {
	f, err := Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, ok := f.store.(*edfStore)
	if !ok || !f.ours || len(f.segments) > 1 || st.in.size > shortBytes {
		return nil
	}
	padding := st.records*int64(st.perRecord) - f.length
	if padding <= 0 {
		return nil
	}
	texts, err := st.texts()
	if err != nil {
		return err
	}
	text := annotationSize // room for all of them in one record
	for _, t := range texts {
		text += talBytes + len(t)
	}
	signals := st.recordBytes - st.annotations[0].samples*st.bytes // bytes of samples in a record
	if one := (int(f.length)*signals+st.perRecord-1)/st.perRecord + text; f.length <= maxRecordBytes && one <= maxRecordBytes {
		return rewrite(f, path, ExportOptions{perRecord: max(int(f.length), 1), annBytes: text})
	}
	if padding < int64(st.perRecord) {
		return nil // less than a record
	}
	records := max(1, (f.length+int64(st.perRecord)-1)/int64(st.perRecord))
	return rewrite(f, path, ExportOptions{annBytes: min(roomFor(texts, records), max(maxRecordBytes-signals, annotationSize))})
}

// talBytes is more than what stands around an annotation's text: onset, duration, separators, growth.
const talBytes = 40

// roomFor is about the fewest bytes of annotations a record with which so many records hold all texts,
// each in the first record that has room, as a Writer that knows them all beforehand puts them.
func roomFor(texts []string, records int64) int {
	for room := annotationSize; ; room += room/16 + 1 {
		need, used := int64(1), talBytes
		for _, text := range texts {
			for _, piece := range splitText(text, room-80) {
				if used += talBytes + len(piece); used > room {
					need++
					used = 2*talBytes + len(piece)
				}
			}
		}
		if need <= records {
			return room
		}
	}
}

// texts are the texts of all annotations, put together where they were cut.
func (s *edfStore) texts() (list []string, err error) {
	var pieces []Annotation
	for r := int64(0); r < s.records; r++ {
		tals, err := s.tals(r)
		if err != nil {
			return nil, err
		}
		for _, t := range tals {
			for _, text := range t.texts {
				pieces = append(pieces, Annotation{Text: text})
			}
		}
	}
	for _, a := range joinPieces(pieces) {
		list = append(list, a.Text)
	}
	return list, nil
}
