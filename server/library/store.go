package library

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

const (
	trashName = ".trash"
	notesName = ".notes.json"
	incoming  = ".incoming-" // begins the name of a file that is arriving
	// MaxUpload bounds a recording taken in.
	MaxUpload = 4 << 30
)

// Entry is one recording in the list.
type Entry struct {
	ID          string    `json:"id"` // the file's name
	Name        string    `json:"name"`
	Address     string    `json:"address"` // opens it as a source
	Started     time.Time `json:"started,omitzero"`
	Seconds     float64   `json:"seconds"`
	RateHz      float64   `json:"rateHz"`
	Channels    []string  `json:"channels"`
	Bytes       int64     `json:"bytes"`
	MedianBPM   float64   `json:"medianBpm"` // 0 when no beats are stored
	Note        string    `json:"note"`
	Annotations int       `json:"annotations"` // notes and lines of the board in it
	Recording   bool      `json:"recording"`   // being written now
	Problem     string    `json:"problem"`     // why it cannot be read, or ""
	Invented    bool      `json:"invented"`    // acquire.Info.Invented
}

// Store is a folder of recordings. All methods are safe for concurrent use.
type Store struct {
	folder string // immutable

	beside sync.Mutex // held while a file beside the recordings is changed
	saving sync.Mutex // held while the cache is written
	load   sync.Once  // the cache of the run before was looked for

	// Guarded by mu.
	mu    sync.Mutex
	cache map[string]cached
	letGo func(id string) // closes what holds a recording open; may be nil
	saved string          // what the kept part of the cache was when last saved
}

type cached struct {
	Size     int64
	Modified time.Time
	Entry    Entry
	Read     time.Time     // when the annotations were read
	Took     time.Duration // reading them
	Behind   bool          // the file has grown since
}

// readAnew spaces readings of the annotations of a file that grows: they take a
// twentieth of the time at most.
const readAnew = 20

// NewStore keeps recordings in folder, which is made when first needed.
func NewStore(folder string) *Store { return &Store{folder: folder, cache: map[string]cached{}} }

// Folder is where the recordings are.
func (s *Store) Folder() string { return s.folder }

// ErrNoRecording is answered for an id that is not in the list.
var ErrNoRecording = errors.New("no such recording")

var extensions = []string{".edf", ".bdf", ".wav", ".csv"}

// inventedMark stands in the file's name of an invented recording, behind the name.
const inventedMark = " " + acquire.InventedTag

// nameOf makes a name for a person of a file's name: without the ending, the time and
// the mark of what is invented, which stands beside it.
func nameOf(id string) string {
	name := strings.Replace(strings.TrimSuffix(id, filepath.Ext(id)), inventedMark, "", 1)
	const stamp = "2006-01-02 15.04.05"
	if len(name) > len(stamp) {
		if _, err := time.Parse(stamp, name[:len(stamp)]); err == nil {
			name = strings.TrimSpace(name[len(stamp):])
		}
	}
	return name
}

// cleanName makes a name for a person fit for a file, without an ending.
func cleanName(name string) string {
	file := recording.FileName(time.Time{}, name, nil)
	return strings.TrimSuffix(file, filepath.Ext(file))
}

// deviceNames are no names of files on Windows, whatever their ending (Microsoft, Naming
// Files, Paths, and Namespaces).
var deviceNames = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])\s*(\.|$)`)

// checkName tells what is wrong with a name that somebody gave; file is what would
// become of it.
func checkName(name, file string) error {
	if deviceNames.MatchString(file) {
		return fmt.Errorf("name %s: Windows keeps it for a device; choose another", strconv.Quote(name))
	}
	return acquire.CheckText("name", name)
}

// path checks an id and returns the file's path.
func (s *Store) path(id string) (string, error) {
	if id == "" || id != filepath.Base(id) || strings.HasPrefix(id, ".") || strings.ContainsAny(id, "/\\\x00") ||
		!slices.Contains(extensions, strings.ToLower(filepath.Ext(id))) {
		return "", fmt.Errorf("recording %s: %w; the list has the names", strconv.Quote(id), ErrNoRecording)
	}
	return filepath.Join(s.folder, id), nil
}

// Path returns the path of a recording that exists.
func (s *Store) Path(id string) (string, error) {
	path, err := s.path(id)
	if err != nil {
		return "", err
	}
	if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
		return "", fmt.Errorf("recording %s: %w; the list has the names", strconv.Quote(id), ErrNoRecording)
	}
	return path, nil
}

// List returns the recordings, newest first.
func (s *Store) List() ([]Entry, error) { return s.list(false) }

// Brief is List without reading annotations: of a file that was not read before,
// median rate and number of notes are missing.
func (s *Store) Brief() ([]Entry, error) { return s.list(true) }

func (s *Store) list(quick bool) ([]Entry, error) {
	files, err := os.ReadDir(s.folder)
	if errors.Is(err, os.ErrNotExist) {
		return []Entry{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("recordings folder: %w; choose one that you may read with -data", err)
	}
	s.loadCache()
	s.sweep(files)
	notes := s.notes()
	said, _ := readMap[channel.Sidecar](filepath.Join(s.folder, saidName)) // what of it can be read
	list := []Entry{}
	for _, f := range files {
		if !f.Type().IsRegular() {
			continue
		}
		if _, err := s.path(f.Name()); err != nil {
			continue
		}
		info, err := f.Info()
		if err != nil {
			continue // deleted meanwhile
		}
		e := s.entry(f.Name(), info, quick)
		e.showSaid(said[e.ID])
		e.Note = notes[e.ID]
		list = append(list, e)
	}
	s.saveCache()
	sort.SliceStable(list, func(i, j int) bool { return list[i].Started.After(list[j].Started) })
	return list, nil
}

// staleAfter is how long what should grow or go soon has lain still when its program
// is taken to have ended.
const staleAfter = 2 * time.Minute

// sweep removes what a program that was ended by force left half done.
func (s *Store) sweep(files []os.DirEntry) {
	for _, f := range files {
		if !strings.HasPrefix(f.Name(), incoming) && !strings.HasPrefix(f.Name(), recording.LayoutPrefix) {
			continue
		}
		if info, err := f.Info(); err == nil && time.Since(info.ModTime()) > staleAfter {
			_ = os.RemoveAll(filepath.Join(s.folder, f.Name()))
		}
	}
}

// open opens a recording; one that was left open by a program that is gone is closed
// properly first.
func (s *Store) open(path string) (*recording.File, error) {
	f, err := recording.Open(path)
	if err != nil || !f.Unclosed() {
		return f, err
	}
	f.Close()
	_, _ = recording.Mend(path) // it is being written, or may not be: then it is read as it lies
	return recording.Open(path)
}

// entry describes a file, from the cache when it has not changed. Of a file that
// grows, rate and length are new each time, what its annotations tell now and then;
// of a quick look they are not read at all.
func (s *Store) entry(id string, info os.FileInfo, quick bool) Entry {
	s.mu.Lock()
	c, ok := s.cache[id]
	s.mu.Unlock()
	due := !quick && time.Since(c.Read) >= readAnew*c.Took
	if ok && c.Size == info.Size() && c.Modified.Equal(info.ModTime()) && !(c.Behind && due) {
		return c.Entry
	}
	path := filepath.Join(s.folder, id)
	e := Entry{ID: id, Name: nameOf(id), Address: "file:" + path, Started: info.ModTime(), Bytes: info.Size(), Channels: []string{}}
	next := cached{Size: info.Size(), Modified: info.ModTime()}
	f, err := s.open(path)
	if err != nil {
		e.Problem = err.Error()
	} else {
		if now, err := os.Stat(path); err == nil { // it may have been mended
			next.Size, next.Modified, e.Bytes = now.Size(), now.ModTime(), now.Size()
		}
		d := f.Describe()
		if !d.Started.IsZero() {
			e.Started = d.Started
		}
		e.RateHz = d.ClaimedRateHz
		e.Invented = d.Invented
		if d.ClaimedRateHz > 0 {
			e.Seconds = float64(f.Len()) / d.ClaimedRateHz
		}
		for _, c := range channel.Open(f, channel.Sidecar{}).Channels {
			e.Channels = append(e.Channels, c.Label)
		}
		if due {
			next.Read = time.Now()
			notes := f.Annotations()
			next.Took = time.Since(next.Read)
			for _, n := range notes {
				if recording.IsNote(n.Text) {
					e.Annotations++
				}
			}
			e.MedianBPM = medianBPM(notes)
		} else {
			next.Behind = true
			if ok && info.Size() >= c.Size {
				e.Annotations, e.MedianBPM = c.Entry.Annotations, c.Entry.MedianBPM
				next.Read, next.Took = c.Read, c.Took
			}
		}
		f.Close()
	}
	next.Entry = e
	s.mu.Lock()
	s.cache[id] = next
	s.mu.Unlock()
	return e
}

// medianBPM is the median rate of the beats of the first channel that has some.
func medianBPM(notes []recording.Annotation) float64 {
	at := map[int][]float64{}
	for _, n := range notes {
		if _, _, channel, ok := recording.ParseBeat(n.Text); ok {
			at[channel] = append(at[channel], n.OnsetSeconds)
		}
	}
	if len(at) == 0 {
		return 0
	}
	return analysis.MedianBPM(at[slices.Min(slices.Collect(maps.Keys(at)))])
}

// Get returns one entry.
func (s *Store) Get(id string) (Entry, error) { return s.get(id, false) }

// get is Get; a quick one reads no annotations, so median rate and number of notes may
// be missing.
func (s *Store) get(id string, quick bool) (Entry, error) {
	path, err := s.Path(id)
	if err != nil {
		return Entry{}, err
	}
	info, err := os.Stat(path)
	if err != nil {
		return Entry{}, err
	}
	s.loadCache()
	e := s.entry(id, info, quick)
	e.showSaid(Said(path))
	e.Note = s.notes()[id]
	return e, nil
}

// Rename gives a recording another name; the time in front of it stays. It
// returns the new id. Nothing is overwritten.
func (s *Store) Rename(id, name string) (string, error) {
	path, err := s.Path(id)
	if err != nil {
		return "", err
	}
	if strings.TrimSpace(name) == "" || len(name) > 100 {
		return "", fmt.Errorf("name %s: give 1 to 100 characters", strconv.Quote(name))
	}
	old := strings.TrimSuffix(id, filepath.Ext(id))
	plain := strings.Replace(old, inventedMark, "", 1)
	stamp := strings.TrimSpace(strings.TrimSuffix(plain, nameOf(id)))
	target := strings.TrimSpace(stamp + " " + cleanName(name))
	if plain != old {
		target += inventedMark
	}
	target += filepath.Ext(id)
	if err := checkName(name, target); err != nil {
		return "", err
	}
	if target == id {
		return id, nil
	}
	s.release(id)
	moved, err := free(s.folder, target, func(to string) error { return move(path, to) })
	if err != nil {
		return "", err
	}
	_ = os.Rename(s.pyramidPath(id), s.pyramidPath(filepath.Base(moved))) // it still belongs to the file
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

// move renames a file without overwriting another: the hard link fails when the
// target exists. Where links are not to be had it looks first.
func move(from, to string) error {
	err := os.Link(from, to)
	if err == nil {
		return os.Remove(from)
	}
	if errors.Is(err, os.ErrExist) {
		return err
	}
	if _, statErr := os.Lstat(to); statErr == nil {
		return os.ErrExist
	}
	return os.Rename(from, to)
}

// Trash moves a recording and its notes to the trash, from where Restore brings them
// back.
func (s *Store) Trash(id string) error {
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
		older, err := free(folder, id, func(t string) error { return move(to, t) })
		if err != nil {
			return err
		}
		if err := s.moveBeside(inTrash(id), inTrash(filepath.Base(older))); err != nil {
			return err
		}
	}
	_ = os.Remove(s.pyramidPath(id)) // made anew when needed
	if err := move(path, to); err != nil {
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
	files, err := os.ReadDir(filepath.Join(s.folder, trashName))
	list := []Trashed{}
	if err != nil {
		return list // none was ever deleted, or the list above tells what is wrong
	}
	for _, f := range files {
		if _, err := s.path(f.Name()); err != nil || !f.Type().IsRegular() {
			continue
		}
		if info, err := f.Info(); err == nil {
			list = append(list, Trashed{f.Name(), nameOf(f.Name()), info.Size()})
		}
	}
	slices.Reverse(list)
	return list
}

// Restore brings a recording back from the trash. When its name was taken
// meanwhile it gets a number; the id it has now is returned.
func (s *Store) Restore(id string) (string, error) {
	if _, err := s.path(id); err != nil {
		return "", err
	}
	from := filepath.Join(s.folder, trashName, id)
	if info, err := os.Lstat(from); err != nil || !info.Mode().IsRegular() {
		return "", fmt.Errorf("recording %s: %w in the trash", strconv.Quote(id), ErrNoRecording)
	}
	path, err := free(s.folder, id, func(to string) error { return move(from, to) })
	if err != nil {
		return "", err
	}
	return filepath.Base(path), s.moveBeside(inTrash(id), filepath.Base(path))
}

// Delete removes recordings from the trash for good, with what was said of them. It
// returns what is gone; those named that are not in the trash are passed over.
func (s *Store) Delete(ids []string) ([]Trashed, error) {
	gone := []Trashed{}
	for _, t := range s.Trashed() {
		if !slices.Contains(ids, t.ID) {
			continue
		}
		if err := os.Remove(filepath.Join(s.folder, trashName, t.ID)); err != nil {
			return gone, fmt.Errorf("trash: %w", err)
		}
		gone = append(gone, t)
	}
	return gone, errors.Join(
		s.changeNotes(func(notes map[string]string) {
			for _, t := range gone {
				delete(notes, inTrash(t.ID))
			}
		}),
		s.changeMarks(func(marks map[string][]recording.Annotation) error {
			for _, t := range gone {
				delete(marks, inTrash(t.ID))
			}
			return nil
		}),
		s.changeSaid(func(all map[string]channel.Sidecar) error {
			for _, t := range gone {
				delete(all, inTrash(t.ID))
			}
			return nil
		}))
}

// Add takes in a recording under a name. What cannot be read as a recording is
// refused and nothing is kept of it.
func (s *Store) Add(name string, r io.Reader) (Entry, error) {
	name = filepath.Base(strings.ReplaceAll(name, "\\", "/"))
	ext := strings.ToLower(filepath.Ext(name))
	if !slices.Contains(extensions, ext) {
		return Entry{}, fmt.Errorf("file %s: bring a recording that ends in %s", strconv.Quote(name), strings.Join(extensions, ", "))
	}
	base := strings.TrimSuffix(name, filepath.Ext(name))
	if err := checkName(name, cleanName(base)+ext); err != nil {
		return Entry{}, err
	}
	if err := os.MkdirAll(s.folder, 0o700); err != nil {
		return Entry{}, fmt.Errorf("recordings folder: %w; choose one that you may write to with -data", err)
	}
	temporary, err := os.CreateTemp(s.folder, incoming+"*"+ext)
	if err != nil {
		return Entry{}, fmt.Errorf("recordings folder: %w; free some space, or choose a folder that you may write to with -data", err)
	}
	defer os.Remove(temporary.Name())
	_, err = io.Copy(temporary, r)
	if closeErr := temporary.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return Entry{}, fmt.Errorf("file %s: it did not arrive whole: %w", strconv.Quote(name), err)
	}
	f, err := recording.Open(temporary.Name())
	if err != nil {
		return Entry{}, fmt.Errorf("file %s: %s", strconv.Quote(name), strings.ReplaceAll(err.Error(), temporary.Name(), "it"))
	}
	f.Close()
	path, err := free(s.folder, cleanName(base)+ext, func(to string) error { return move(temporary.Name(), to) })
	if err != nil {
		return Entry{}, err
	}
	return s.Get(filepath.Base(path))
}

// notes reads the remarks that were made on recordings.
func (s *Store) notes() map[string]string {
	notes, _ := readMap[string](filepath.Join(s.folder, notesName)) // what of it can be read
	return notes
}

// SetNote keeps a remark of at most 2000 bytes on a recording; "" removes it.
func (s *Store) SetNote(id, note string) error {
	if _, err := s.Path(id); err != nil {
		return err
	}
	if len(note) > 2000 {
		return fmt.Errorf("a note of %d bytes: write 2000 at most", len(note))
	}
	for line := range strings.Lines(note) {
		if err := acquire.CheckText("note", strings.TrimRight(line, "\r\n")); err != nil {
			return err
		}
	}
	return s.changeNotes(func(notes map[string]string) {
		if notes[id] = note; note == "" {
			delete(notes, id)
		}
	})
}

func (s *Store) changeNotes(change func(map[string]string)) error {
	s.beside.Lock()
	defer s.beside.Unlock()
	return changeMap(filepath.Join(s.folder, notesName), func(notes map[string]string) error {
		change(notes)
		return nil
	})
}

const (
	cacheName = "list.json"
	// worthKeeping is how long reading a file's annotations takes from which on what
	// they told is kept for the next run.
	worthKeeping = 50 * time.Millisecond
)

// loadCache takes in what a run before learnt of large files.
func (s *Store) loadCache() { s.load.Do(s.readCache) }

func (s *Store) readCache() {
	data, err := os.ReadFile(filepath.Join(s.folder, pyramidFolder, cacheName))
	kept := map[string]cached{}
	if err != nil || json.Unmarshal(data, &kept) != nil {
		return // only a convenience
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.saved = string(data)
	for id, c := range kept {
		if _, ok := s.cache[id]; !ok && c.Entry.ID == id && c.Entry.Problem == "" {
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
	folder := filepath.Join(s.folder, pyramidFolder)
	path := filepath.Join(folder, cacheName)
	if os.MkdirAll(folder, 0o700) == nil && replace(path, data) == nil {
		s.mu.Lock()
		s.saved = string(data)
		s.mu.Unlock()
	}
}
