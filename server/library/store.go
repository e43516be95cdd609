// Package library is a folder of recordings: it lists, renames, trashes, takes in, gives out and
// looks into its files.
package library

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/library/files"
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
	ID       string    `json:"id"` // the file's name
	Name     string    `json:"name"`
	Address  string    `json:"address"` // opens it as a source
	Started  time.Time `json:"started,omitzero"`
	Seconds  float64   `json:"seconds"`
	RateHz   float64   `json:"rateHz"`
	Channels []string  `json:"channels"`
	Bytes    int64     `json:"bytes"`
	// Kinds are those of the channels, "" of one of which nothing tells it.
	Kinds []string `json:"kinds"`
	// MedianBPM is 60 over the median interval of the beats stored or, without any, of those found; 0 while it
	// is not known.
	MedianBPM   float64 `json:"medianBpm"`
	Note        string  `json:"note"`
	Annotations int     `json:"annotations"` // notes and lines of the board in it
	Recording   bool    `json:"recording"`   // being written now
	Problem     string  `json:"problem"`     // why it cannot be read, or ""
	Invented    bool    `json:"invented"`    // acquire.Info.Invented
}

// Store is a folder of recordings. All methods are safe for concurrent use.
type Store struct {
	folder string // immutable

	// Beside the recordings, by id: a remark on each, the notes made while looking at it, and what
	// was said of its channels. The recording's own file stays as it was recorded.
	remarks *files.Map[string]
	marks   *files.Map[[]recording.Annotation]
	said    *files.Map[channel.Sidecar]
	edits   *files.Map[analysis.Edits] // of beats, by hand
	// annotated are files of annotated beats that were brought in later.
	annotated *files.Map[[]byte]
	rates     *files.Map[keptRate] // median rates
	// readings are how text files were read, by what their heads look like.
	readings *files.Map[Reading]

	// moving is held while recordings get other names, and read-held while something is said of one.
	moving sync.RWMutex
	saving sync.Mutex // held while the cache is written
	load   sync.Once  // the cache of the run before was looked for

	// Guarded by mu.
	mu    sync.Mutex
	moved map[string]string // ids that recordings had before, since the program began
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
func NewStore(folder string) *Store {
	return &Store{folder: folder, moved: map[string]string{}, cache: map[string]cached{}, remarks: files.NewMap[string](folder, notesName), marks: files.NewMap[[]recording.Annotation](folder, marksName), said: files.NewMap[channel.Sidecar](folder, saidName),
		edits: files.NewMap[analysis.Edits](folder, editsName), rates: files.NewMap[keptRate](folder, ratesName), readings: files.NewMap[Reading](folder, readingName), annotated: files.NewMap[[]byte](folder, annotatedName)}
}

// Folder is where the recordings are.
func (s *Store) Folder() string { return s.folder }

// ErrNoRecording is answered for an id that is not in the list.
var ErrNoRecording = errors.New("no such recording")

var extensions = []string{".edf", ".bdf", ".wav", ".csv"}

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
	found, err := os.ReadDir(s.folder)
	if errors.Is(err, os.ErrNotExist) {
		return []Entry{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("recordings folder: %w; choose one that you may read with -data", err)
	}
	s.loadCache()
	s.sweep(found)
	remarks, said := s.remarks.All(), s.said.All()
	list := []Entry{}
	for _, f := range found {
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
		if note, ok := remarks[e.ID]; ok {
			e.Note = note
		}
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
func (s *Store) sweep(found []os.DirEntry) {
	for _, f := range found {
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
	f, err := Open(path, recording.OpenOptions{})
	if err != nil || !f.Unclosed() {
		return f, err
	}
	f.Close()
	_, _ = recording.Mend(path) // it is being written, or may not be: then it is read as it lies
	return Open(path, recording.OpenOptions{})
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
	e := Entry{ID: id, Name: files.NameOf(id), Address: "file:" + path, Started: info.ModTime(), Bytes: info.Size(), Channels: []string{}, Kinds: []string{}}
	next := cached{Size: info.Size(), Modified: info.ModTime()}
	f, err := s.open(path)
	if err != nil {
		e.Problem = err.Error()
	} else {
		if now, err := os.Stat(path); err == nil { // it may have been mended
			next.Size, next.Modified, e.Bytes = now.Size(), now.ModTime(), now.Size()
		}
		e.describe(f)
		if due {
			next.Read = time.Now()
			notes := f.Annotations()
			next.Took = time.Since(next.Read)
			_, _, rest := recording.TakeMarked(notes, e.RateHz)
			for _, n := range rest {
				if recording.IsNote(n.Text) {
					e.Annotations++
				}
			}
			e.MedianBPM = medianBPM(notes, e.RateHz)
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

// describe tells what an open file says of itself.
func (e *Entry) describe(f *recording.File) {
	d := f.Describe()
	if !d.Started.IsZero() {
		e.Started = d.Started
	}
	e.RateHz = d.ClaimedRateHz
	e.Invented = d.Invented
	if d.ClaimedRateHz > 0 {
		e.Seconds = float64(f.Len()) / d.ClaimedRateHz
	}
	rec := channel.Open(f, channel.Sidecar{})
	e.Note = rec.Note
	for _, c := range rec.Channels {
		e.Channels = append(e.Channels, c.Label)
		kind := c.Kind
		if c.From.Kind == channel.PlaceUsual {
			kind = ""
		}
		e.Kinds = append(e.Kinds, kind)
	}
}

// know keeps what a text file that has just been read says of itself, so that it is not read through
// again; it has no annotations.
func (s *Store) know(path string, f *recording.File, info os.FileInfo) {
	id := filepath.Base(path)
	e := Entry{ID: id, Name: files.NameOf(id), Address: "file:" + path, Started: info.ModTime(), Bytes: info.Size(), Channels: []string{}, Kinds: []string{}}
	e.describe(f)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.cache[id] = cached{Size: info.Size(), Modified: info.ModTime(), Entry: e, Read: time.Now()}
}

// medianBPM is the median rate of the beats of the first channel that has some or, without any, of
// those annotated.
func medianBPM(notes []recording.Annotation, rateHz float64) float64 {
	at := map[int][]float64{}
	for _, n := range notes {
		if _, _, channel, ok := recording.ParseBeat(n.Text); ok {
			at[channel] = append(at[channel], n.OnsetSeconds)
		}
	}
	if len(at) == 0 {
		marked, _, _ := recording.TakeMarked(notes, rateHz)
		for _, m := range marked {
			at[0] = append(at[0], float64(m.Sample)/rateHz)
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
	e.Note = remark(path, e.Note)
	return e, nil
}
