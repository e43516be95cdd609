package library

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library/files"
	"pulsewright/server/library/overview"
)

// readingName is the file of how text files were read, by what their heads look like.
const readingName = ".reading.json"

// Reading is how a file is to be read, and of what kind its channels are.
type Reading struct {
	recording.OpenOptions
	// Kinds are those of the channels, one for all or one for each; none: as the file says.
	Kinds []string `json:"kinds,omitempty"`
}

// Check tells what of it cannot be.
func (r Reading) Check() error {
	for _, k := range r.Kinds {
		if err := channel.CheckKind(k); err != nil {
			return err
		}
	}
	return r.OpenOptions.Check()
}

// Imported is a recording that was taken in.
type Imported struct {
	Entry
	Told []string `json:"told"` // what of the file was assumed, lost or changed
}

// Open opens a recording the way it was said to be read, if it was, with the annotated beats that were brought in later; what is
// given here comes before that.
func Open(path string, given recording.OpenOptions) (*recording.File, error) {
	f, err := openSaid(path, given)
	if err != nil {
		return nil, err
	}
	if data := annotatedOf(path); data != nil {
		_, _ = f.Annotate(data) // to a file that was exchanged meanwhile they may not belong
	}
	return f, nil
}

// openSaid is Open without the annotated beats that were brought in later.
func openSaid(path string, given recording.OpenOptions) (*recording.File, error) {
	return recording.OpenWith(path, given.Over(Said(path).Read))
}

// unpacked is what a name that ends in .gz promises.
func unpacked(body io.Reader) (io.Reader, error) {
	z, err := recording.Unpacked(body)
	if err != nil {
		return nil, fmt.Errorf("it ends in .gz and is not packed so: %w", err)
	}
	return z, nil
}

// Add takes in a recording under a name. What cannot be read as a recording is refused and nothing is
// kept of it. How's context ends it, how's progress is told.
func (s *Store) Add(name string, body io.Reader, how Reading) (Imported, error) {
	name = filepath.Base(strings.ReplaceAll(name, "\\", "/"))
	plain, packed := unpackedName(name)
	if recording.IsAnnotations(plain) {
		return s.attach(plain, packed, body)
	}
	ext := strings.ToLower(filepath.Ext(plain))
	if slices.Contains(textEndings, ext) {
		ext = ".csv"
	}
	if !slices.Contains(extensions, ext) {
		return Imported{}, fmt.Errorf("file %s: bring a recording that ends in %s, %s, or .hea together with its signal file, or a recording's annotations (.atr); .gz may follow", strconv.Quote(name), strings.Join(extensions, ", "), strings.Join(textEndings, ", "))
	}
	target := files.CleanName(strings.TrimSuffix(plain, filepath.Ext(plain))) + ext
	if err := files.CheckName(name, target); err != nil {
		return Imported{}, err
	}
	temporary, err := s.arrive(name, ext, packed, body)
	if err != nil {
		return Imported{}, err
	}
	defer os.Remove(temporary)
	return s.take(temporary, name, target, how)
}

// textEndings are other names of text files, which become .csv.
var textEndings = []string{".txt", ".tsv", ".log", ".jsonl"}

func unpackedName(name string) (plain string, packed bool) {
	if ext := filepath.Ext(name); strings.EqualFold(ext, ".gz") {
		return strings.TrimSuffix(name, ext), true
	}
	return name, false
}

// inFolder makes something in the folder, and the folder before where it is not there.
func (s *Store) inFolder(make func() error) error {
	if err := os.MkdirAll(s.folder, 0o700); err != nil {
		return fmt.Errorf("recordings folder: %w; choose one that you may write to with -data", err)
	}
	if err := make(); err != nil {
		return fmt.Errorf("recordings folder: %w; free some space, or choose a folder that you may write to with -data", err)
	}
	return nil
}

// arrive writes what comes into a file of the folder.
func (s *Store) arrive(name, ext string, packed bool, body io.Reader) (path string, err error) {
	var temporary *os.File
	if err := s.inFolder(func() (err error) { temporary, err = os.CreateTemp(s.folder, incoming+"*"+ext); return err }); err != nil {
		return "", err
	}
	defer func() {
		if err != nil {
			os.Remove(temporary.Name())
		}
	}()
	if packed {
		z, err := unpacked(body)
		if err != nil {
			temporary.Close()
			return "", fmt.Errorf("file %s: %w", strconv.Quote(name), err)
		}
		body = io.LimitReader(z, MaxUpload+1)
	}
	n, err := io.Copy(temporary, body)
	if closeErr := temporary.Close(); err == nil {
		err = closeErr
	}
	if packed && errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("the packed file is cut short")
	}
	if err == nil && n > MaxUpload {
		err = fmt.Errorf("it unpacks to more than %d GB", MaxUpload>>30)
	}
	if err != nil {
		return "", fmt.Errorf("file %s: it did not arrive whole: %w", strconv.Quote(name), err)
	}
	return temporary.Name(), nil
}

// take looks into a file that arrived, keeps how it is read, and gives it its place in the folder.
func (s *Store) take(temporary, name, target string, how Reading) (done Imported, err error) {
	f, err := recording.OpenWith(temporary, stillThere(temporary, how.OpenOptions))
	if err != nil {
		return done, unreadable(name, temporary, err)
	}
	said, err := sayOnImport(f, how)
	done.Told, how.OpenOptions = append([]string{}, f.Remarks()...), keptOf(f, how.OpenOptions)
	plain, _ := unpackedName(name)
	if err := files.CheckGiven(strings.TrimSuffix(plain, filepath.Ext(plain))); err != nil {
		done.Told = append(done.Told, fmt.Sprintf("%v: the recording is called %s", err, strconv.Quote(files.NameOf(target))))
	}
	look := f.Text()
	defer f.Close()
	if err != nil {
		return done, fmt.Errorf("file %s: %w", strconv.Quote(name), err)
	}
	if look == nil {
		f.Close() // some systems move no file that is open; of a text nothing is open any more
	}
	path, err := files.MoveFree(temporary, s.folder, target)
	if err != nil {
		return done, err
	}
	id := filepath.Base(path)
	if err := s.forget(id); err != nil { // of a file of this name that somebody else removed
		os.Remove(path)
		return done, err
	}
	if !said.Empty() {
		if err := s.said.Change(func(all map[string]channel.Sidecar) error { all[id] = said; return nil }); err != nil {
			os.Remove(path)
			return done, err
		}
	}
	if look != nil && !look.Ours && look.Head != "" {
		_ = s.readings.Change(func(all map[string]Reading) error { all[look.Head] = how; return nil }) // only a convenience
	}
	s.loadCache()
	if info, err := os.Stat(path); err == nil && look != nil {
		s.know(path, f, info)
	}
	done.Entry, err = s.Get(id)
	return done, err
}

// stillThere keeps an arriving file from looking forgotten while it is read: see sweep.
func stillThere(path string, o recording.OpenOptions) recording.OpenOptions {
	last, tell := time.Now(), o.Progress
	o.Progress = func(share float64) {
		if now := time.Now(); now.Sub(last) > staleAfter/8 {
			last = now
			_ = os.Chtimes(path, now, now)
		}
		if tell != nil {
			tell(share)
		}
	}
	return o
}

// forget drops what is kept under an id.
func (s *Store) forget(id string) error {
	_ = os.Remove(overview.Path(s.folder, id))
	return s.deleteBeside([]string{id})
}

// unreadable names a file as its sender does.
func unreadable(name, temporary string, err error) error {
	return fmt.Errorf("file %s: %s", strconv.Quote(name), strings.ReplaceAll(err.Error(), temporary, "it"))
}

// keptOf is what of the options has to be kept so that a file is read again as it was: nothing for
// one that is no text, or that this program wrote.
func keptOf(f *recording.File, o recording.OpenOptions) recording.OpenOptions {
	if f.Text() == nil || f.Text().Ours {
		return recording.OpenOptions{}
	}
	o.Context, o.Progress = nil, nil
	return o
}

// sayOnImport is what is kept beside a file that arrives.
func sayOnImport(f *recording.File, how Reading) (said channel.Sidecar, err error) {
	if err := said.SayKinds(how.Kinds, len(f.Describe().Channels)); err != nil {
		return said, err
	}
	if kept := keptOf(f, how.OpenOptions); !kept.Zero() {
		said.Read = &kept
	}
	return said, nil
}

// Preview is how a file would be read.
type Preview struct {
	Format string              `json:"format"`
	Text   *recording.TextLook `json:"text"` // null for what is no text
	// NoRate says that nothing can be read before a sample rate is said.
	NoRate     bool             `json:"noRate"`
	Missing    string           `json:"missing"`    // why, in a sentence without its stop
	Remembered *Reading         `json:"remembered"` // how a file with such a head was read before, or null
	Remarks    []string         `json:"remarks"`
	Channels   []PreviewChannel `json:"channels"`
	Seconds    float64          `json:"seconds"` // that were looked at
	Whole      bool             `json:"whole"`   // all of the file was looked at
}

// PreviewChannel is the trace that would be shown.
type PreviewChannel struct {
	Label string `json:"label"`
	Unit  string `json:"unit"`
	Kind  string `json:"kind"`
	// Low and High are the extremes of equal parts of the time; null where there is nothing.
	Low  []*float64 `json:"low"`
	High []*float64 `json:"high"`
}

// previewColumns are the parts of a preview's trace.
const previewColumns = 300

// MostPreviewed is how many bytes of a file a preview looks at.
const MostPreviewed = 512 << 10

// Preview looks at the beginning of a file, all of it if whole says so.
func (s *Store) Preview(name string, head []byte, whole bool, how Reading) (Preview, error) {
	plain, packed := unpackedName(filepath.Base(name))
	if packed {
		z, err := gzip.NewReader(bytes.NewReader(head))
		if err != nil {
			return Preview{}, fmt.Errorf("file %s: it ends in .gz and is not packed so: %w", strconv.Quote(name), err)
		}
		var b bytes.Buffer
		n, err := io.Copy(&b, io.LimitReader(z, MostPreviewed)) // an end that is cut is no fault here
		head, whole = b.Bytes(), whole && err == nil && n < MostPreviewed
	}
	if i := bytes.LastIndexByte(head, '\n'); !whole && i > 0 && !slices.Contains(extensions[:3], strings.ToLower(filepath.Ext(plain))) {
		head = head[:i+1]
	}
	open := func(how Reading) (*recording.File, error) { return recording.OpenBytes(head, plain, how.OpenOptions) }
	f, err := open(how)
	p := Preview{Whole: whole, Remarks: []string{}}
	var format *recording.FormatError
	if errors.As(err, &format) && format.NoRate {
		p.NoRate, p.Missing = true, format.Reason
		if how.Time = cmp.Or(format.Clock, how.Time); format.Clock == "" {
			how.RateHz = 1
		}
		f, err = open(how)
	}
	if err != nil {
		return p, unreadable(name, plain, err)
	}
	defer f.Close()
	p.Format, p.Text, p.Remarks = f.Format(), f.Text(), append(p.Remarks, f.Remarks()...)
	if p.Text != nil {
		if p.NoRate {
			p.Text.RateHz = 0
		}
		if r, ok := s.readings.All()[p.Text.Head]; ok && !p.Text.Ours && p.Text.Head != "" {
			p.Remembered = &r
		}
	}
	said, err := sayOnImport(f, how)
	if err != nil {
		return p, fmt.Errorf("file %s: %w", strconv.Quote(name), err)
	}
	p.Channels, err = traces(f, said)
	p.Seconds = float64(f.Len()) / f.Describe().ClaimedRateHz
	return p, err
}

// traces are the channels' extremes over the whole file.
func traces(f *recording.File, said channel.Sidecar) ([]PreviewChannel, error) {
	list := []PreviewChannel{}
	info := f.Describe()
	columns := int(min(previewColumns, f.Len()))
	for _, c := range channel.Open(f, said).Channels {
		list = append(list, PreviewChannel{Label: c.Label, Kind: c.Kind, Low: make([]*float64, columns), High: make([]*float64, columns)})
	}
	err := f.Blocks(context.Background(), 0, f.Len(), func(at int64, counts [][]int32) error {
		for n, row := range counts {
			ch, to := info.Channels[n], &list[n]
			gain := ch.VoltsPerCount
			if to.Unit = ch.Unit; gain == 0 {
				gain, to.Unit = math.Pow10(-ch.Digits), ""
			}
			for i, c := range row {
				if c == acquire.MissingCount {
					continue
				}
				v, k := float64(c)*gain+ch.OffsetVolts, (at+int64(i))*int64(columns)/f.Len()
				if to.Low[k] == nil {
					low, high := v, v
					to.Low[k], to.High[k] = &low, &high
				}
				*to.Low[k], *to.High[k] = math.Min(*to.Low[k], v), math.Max(*to.High[k], v)
			}
		}
		return nil
	})
	return list, err
}

// mostParts bounds the files of a record.
const mostParts = 100

// AddRecord takes in a record that is several files, its header (.hea), its signal files and perhaps its
// annotations, as one EDF+ or BDF+ recording. parts gives one after another, io.EOF after the last; of how the kinds count.
func (s *Store) AddRecord(parts func() (*multipart.Part, error), how Reading) (done Imported, err error) {
	var folder string
	if err := s.inFolder(func() (err error) { folder, err = os.MkdirTemp(s.folder, incoming+"*"); return err }); err != nil {
		return done, err
	}
	defer os.RemoveAll(folder)
	header, err := arriveParts(folder, parts)
	if err != nil {
		return done, err
	}
	failed := func(err error) error {
		return fmt.Errorf("record %s: %s", strconv.Quote(header), strings.ReplaceAll(err.Error(), folder+string(filepath.Separator), ""))
	}
	given := how.OpenOptions
	given.Context, given.Progress = nil, nil
	f, err := recording.OpenWith(filepath.Join(folder, header), given)
	if err != nil {
		return done, failed(err)
	}
	defer f.Close()
	ext := ".edf"
	if recording.Needs24Bits(f.Describe().Channels) {
		ext = ".bdf"
	}
	base := strings.TrimSuffix(header, filepath.Ext(header))
	target := files.CleanName(base) + ext
	if err := files.CheckName(header, target); err != nil {
		return done, err
	}
	told := append([]string{}, f.RemarksExported()...)
	written := filepath.Join(folder, "whole"+ext)
	if err := recording.ExportEDF(written, f, recording.ExportOptions{Context: how.Context, Tell: func(text string) { told = append(told, text) }}); err != nil {
		return done, failed(err)
	}
	done, err = s.take(written, header, target, Reading{Kinds: how.Kinds})
	done.Told = append(told, done.Told...)
	return done, err
}

// arriveParts writes a record's files into a folder and returns the header's name.
func arriveParts(folder string, parts func() (*multipart.Part, error)) (header string, err error) {
	var headers []string
	for n := 0; ; n++ {
		part, err := parts()
		if err == io.EOF {
			break
		}
		if err != nil {
			return "", fmt.Errorf("record: it did not arrive whole: %w", err)
		}
		name := filepath.Base(strings.ReplaceAll(part.FileName(), "\\", "/"))
		if n >= mostParts {
			return "", fmt.Errorf("record: more than %d files", mostParts)
		}
		if name == "." || name == "/" || name == "" || strings.HasPrefix(name, ".") || strings.ContainsRune(name, 0) {
			return "", fmt.Errorf("record: a file named %s; give each its name", strconv.Quote(name))
		}
		plain, _ := unpackedName(name)
		if strings.EqualFold(filepath.Ext(plain), ".hea") {
			headers = append(headers, name)
		}
		f, err := os.OpenFile(filepath.Join(folder, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return "", fmt.Errorf("record: file %s: it is there twice, or cannot be written: %w", strconv.Quote(name), errors.Unwrap(err))
		}
		_, err = io.Copy(f, part)
		if closeErr := f.Close(); err == nil {
			err = closeErr
		}
		if err != nil {
			return "", fmt.Errorf("record: file %s: it did not arrive whole: %w", strconv.Quote(name), err)
		}
	}
	// Those of segments have longer names, and are named in the shortest.
	slices.SortStableFunc(headers, func(a, b string) int { return cmp.Compare(len(a), len(b)) })
	if len(headers) > 0 {
		header = headers[0]
	}
	if len(headers) > 1 {
		text, err := os.ReadFile(filepath.Join(folder, header))
		first, _, _ := strings.Cut(string(text), "\n")
		if err == nil && !strings.Contains(strings.SplitN(first, " ", 2)[0], "/") {
			return "", fmt.Errorf("record: two headers, %s and %s: bring one record at a time", strconv.Quote(headers[0]), strconv.Quote(headers[1]))
		}
	}
	if header == "" {
		return "", errors.New("record: no header among the files: bring the .hea together with its signal files")
	}
	return header, nil
}
