package recording

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"sync"

	"pulsewright/acquire"
)

// maxChannels bounds what a header may claim.
const maxChannels = 512

// maxLen bounds positions, so that sums of them cannot overflow.
const maxLen = int64(1) << 53

// Annotation is a remark at a place of a recording.
type Annotation struct {
	OnsetSeconds    float64 `json:"onsetSeconds"`    // from the first sample
	DurationSeconds float64 `json:"durationSeconds"` // 0 when none is given
	Sample          int64   `json:"sample"`          // nearest sample to the onset; may lie outside the recording
	Text            string  `json:"text"`            // valid UTF-8 without control characters
}

// Gap is a run of samples that were never recorded, on all channels.
type Gap struct {
	First   int64 `json:"first"`
	Samples int64 `json:"samples"`
}

// OpenOptions help with files that do not say everything. As JSON they are what is kept of them
// beside a recording.
type OpenOptions struct {
	// RateHz is the sample rate of a file that tells none; a file's own wins.
	RateHz float64 `json:"rateHz,omitempty"`
	// Of a text file: what parts its columns (',', ';', '\t', ' ') and its decimal sign ('.' or
	// ','); 0: found.
	Separator Sign `json:"separator,omitempty"`
	Decimal   Sign `json:"decimal,omitempty"`
	// Time is the name or the number from 1 of the column that holds the time, its unit in brackets
	// behind it where the file has none; or "none"; "": found.
	Time string `json:"time,omitempty"`
	// Columns are names or numbers of those that hold the signals, in order; none: found.
	Columns []string `json:"columns,omitempty"`
	// Units are those of the values: one for all columns or one for each; "counts" is none.
	Units []string `json:"units,omitempty"`
	// Dates is DayFirst or MonthFirst; "": found.
	Dates string `json:"dates,omitempty"`
	// Names is where the columns' names stand: "first-row", of the table, whatever is in it, or "none"; "": found.
	Names string `json:"names,omitempty"`
	// Context ends the reading of a long text with its cause; nil never does. Progress, unless nil,
	// is told now and then which share of it is read.
	Context  context.Context     `json:"-"`
	Progress func(share float64) `json:"-"`
}

// File is an open recording. It satisfies playback.Recording and its Noter.
type File struct {
	// Immutable after Open.
	path     string
	format   string
	info     acquire.Info
	length   int64
	segments []segment
	remarks  []string
	repeated []string  // by channel, those of remarks that tell of samples repeated; "" none
	kept     *edfKept  // of EDF and BDF
	text     *TextLook // of a text file
	meta     *settings // of a file this package wrote and that was not cut at its start, else nil

	ours      bool // this package wrote it
	unclosed  bool // and did not close it
	annotated bool // missing samples are told by annotations

	mu          sync.Mutex
	store       store               // guarded by mu
	closed      bool                // guarded by mu
	scan        func() []Annotation // guarded by mu; nil once done
	annotations []Annotation        // guarded by mu; by sample
	notes       []acquire.Note      // guarded by mu; of them, nil until asked for
	holes       []hole              // guarded by mu; by first sample
	holesKnown  bool                // guarded by mu
}

// store delivers stored samples; gaps are not its business. One call at a time.
type store interface {
	// read fills counts from stored position from on; n < asked comes with an error.
	read(counts [][]int32, from int64) (n int, err error)
	Close() error
}

// segment is a run without a gap: position at in the recording is position
// stored in the store.
type segment struct {
	at, stored, n int64
}

// hole is a run of missing samples of one channel, or of all for channel −1.
type hole struct {
	first, samples int64
	channel        int
}

// FormatError says what in a file could not be read.
type FormatError struct {
	Path   string
	Offset int64 // byte offset, or −1
	Line   int   // line number from 1, or 0
	Reason string
	// NoRate says that the sample rate is all that is missing; Clock is then an OpenOptions.Time with which the
	// file can be looked at all the same, or "".
	NoRate bool
	Clock  string
}

func (e *FormatError) Error() string {
	switch {
	case e.Line > 0:
		return fmt.Sprintf("recording: %s: line %d: %s", e.Path, e.Line, e.Reason)
	case e.Offset >= 0:
		return fmt.Sprintf("recording: %s: byte %d: %s", e.Path, e.Offset, e.Reason)
	}
	return fmt.Sprintf("recording: %s: %s", e.Path, e.Reason)
}

// Open opens a recording, its format told by its content.
func Open(path string) (*File, error) { return OpenWith(path, OpenOptions{}) }

// OpenWith is Open with help. Errors of content are *FormatError.
func OpenWith(path string, options OpenOptions) (*File, error) {
	if err := options.Check(); err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	in, err := openInput(path)
	if err != nil {
		return nil, err
	}
	f, err := open(in, path, options)
	if err != nil {
		in.Close()
		return nil, err
	}
	return f, nil
}

// OpenBytes is OpenWith of content that is in memory; the name tells what of the format the content does not.
func OpenBytes(content []byte, name string, options OpenOptions) (*File, error) {
	if err := options.Check(); err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	return open(&input{ReaderAt: bytes.NewReader(content), size: int64(len(content))}, name, options)
}

func open(in *input, path string, options OpenOptions) (*File, error) {
	head := make([]byte, 512)
	n, err := in.ReadAt(head, 0)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("recording: %s: %w", path, err)
	}
	head = head[:n]
	if n == 0 {
		return nil, &FormatError{Path: path, Offset: 0, Reason: "the file is empty"}
	}
	var f *File
	switch {
	case looksEDF(head):
		f, err = openEDF(in, path)
	case looksWAV(head):
		f, err = openWAV(in, path)
	case looksHeader(head, path):
		f, err = openRecord(in, path)
	case besideHeader(path) != "":
		// A signal file named in place of its header.
		hea, herr := openInput(besideHeader(path))
		if herr != nil {
			return nil, herr
		}
		f, err = openRecord(hea, besideHeader(path))
		if err != nil {
			hea.Close()
		} else {
			in.Close()
		}
	case looksText(head):
		f, err = openCSV(in, path, options)
	default:
		return nil, &FormatError{Path: path, Offset: 0, Reason: "not a format read here: EDF, EDF+, BDF, BDF+, WAV, CSV, or a .hea header with its signal file"}
	}
	if err != nil {
		return nil, err
	}
	f.path = path
	if err := options.onlyText(f); err != nil {
		f.store.Close()
		return nil, err
	}
	if err := f.finish(); err != nil {
		f.store.Close()
		return nil, err
	}
	if r := options.RateHz; r > 0 && math.Abs(r/f.info.ClaimedRateHz-1) > 1e-6 {
		f.remark("the file's own rate %.5g Hz was used, not the given %.5g Hz", f.info.ClaimedRateHz, r)
	}
	return f, nil
}

// finish derives what all formats share.
func (f *File) finish() error {
	if len(f.info.Channels) == 0 {
		return &FormatError{Path: f.path, Offset: -1, Reason: "no channel of samples in it"}
	}
	if f.info.Address == "" {
		f.info.Address = "file:" + f.path
	}
	if f.info.Name == "" {
		f.info.Name = filepath.Base(f.path)
	}
	f.info.ExactClock = true
	if f.segments == nil {
		f.segments = []segment{{n: f.length}}
	}
	f.info.LengthSamples = f.length
	if err := f.checkLimits(); err != nil {
		return err
	}
	for i := range f.info.Channels {
		c := &f.info.Channels[i]
		c.Label = strings.TrimSpace(c.Label)
		if c.Label == "" {
			c.Label = fmt.Sprintf("channel %d", i+1)
		}
		if c.Kind == acquire.KindUnknown {
			c.Kind = acquire.KindOfLabel(c.Label)
		}
	}
	return nil
}

func (f *File) remark(format string, a ...any) {
	f.remarks = append(f.remarks, fmt.Sprintf(format, a...))
}

// Describe tells channels, rate and start; it never changes.
func (f *File) Describe() acquire.Info {
	info := f.info
	info.Channels = append([]acquire.Channel(nil), info.Channels...)
	return info
}

// Format names what the file is, for a person: "EDF+", "WAV", "CSV"…
func (f *File) Format() string { return f.format }

// Remarks says what was assumed, mended or left out on opening.
func (f *File) Remarks() []string { return append([]string(nil), f.remarks...) }

// repeats remarks that each sample of the newest channel is repeated, or with slow false that none is.
func (f *File) repeats(slow bool, format string, a ...any) {
	text := ""
	if slow {
		f.remark(format, a...)
		text = f.remarks[len(f.remarks)-1]
	}
	f.repeated = append(f.repeated, text)
}

// RemarksExported are the Remarks on a file that is exported: without those that the export tells itself, and only where
// it is so of its result, of samples that are repeated.
func (f *File) RemarksExported() []string {
	return slices.DeleteFunc(f.Remarks(), func(text string) bool { return slices.Contains(f.repeated, text) })
}

// Len is the number of samples per channel, gaps included.
func (f *File) Len() int64 { return f.length }

// Gaps lists what was never recorded, in order. For a file of this package the
// first call reads the annotations, which also tell gaps within a record.
func (f *File) Gaps() []Gap {
	var gaps []Gap
	at := int64(0)
	for _, s := range f.segments {
		if next := min(s.at, f.length); next > at {
			gaps = append(gaps, Gap{First: at, Samples: next - at})
		}
		at = s.at + s.n
	}
	if at < f.length {
		gaps = append(gaps, Gap{First: at, Samples: f.length - at})
	}
	if !f.ours {
		return gaps
	}
	f.mu.Lock()
	f.load()
	for _, a := range f.annotations {
		if isGap(a.Text) && a.Sample < f.length {
			if n := int64(math.Round(a.DurationSeconds * f.info.ClaimedRateHz)); n > 0 && a.Sample >= 0 {
				gaps = append(gaps, Gap{a.Sample, min(n, f.length-a.Sample)})
			}
		}
	}
	f.mu.Unlock()
	sort.Slice(gaps, func(i, j int) bool { return gaps[i].First < gaps[j].First })
	merged := gaps[:0]
	for _, g := range gaps {
		if k := len(merged) - 1; k >= 0 && g.First <= merged[k].First+merged[k].Samples {
			merged[k].Samples = max(merged[k].Samples, g.First+g.Samples-merged[k].First)
			continue
		}
		merged = append(merged, g)
	}
	return merged
}

// ReadAt fills counts, [channel][sample] of one length, from sample from on and
// returns how many samples per channel it filled: all, or fewer with an error,
// io.EOF at the end. Missing samples and gaps read as acquire.MissingCount. A
// nil row of counts is not filled, if the first row is not nil.
func (f *File) ReadAt(counts [][]int32, from int64) (int, error) {
	if len(counts) != len(f.info.Channels) {
		return 0, fmt.Errorf("recording: %s: asked for %d channels, the file has %d", f.path, len(counts), len(f.info.Channels))
	}
	if from < 0 {
		return 0, fmt.Errorf("recording: %s: sample %d is before the start", f.path, from)
	}
	want := len(counts[0])
	for _, row := range counts {
		if row != nil && len(row) != want {
			return 0, fmt.Errorf("recording: %s: rows of %d and %d samples asked for", f.path, want, len(row))
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.closed {
		return 0, fmt.Errorf("recording: %s: %w", f.path, os.ErrClosed)
	}
	f.learnHoles()
	part := make([][]int32, len(counts))
	done := 0
	for done < want {
		at := from + int64(done)
		if at >= f.length {
			f.cover(counts, from, done)
			return done, io.EOF
		}
		n := int64(want - done)
		// The last segment that begins at or before at.
		i := sort.Search(len(f.segments), func(i int) bool { return f.segments[i].at > at }) - 1
		if i >= 0 && at < f.segments[i].at+f.segments[i].n {
			s := f.segments[i]
			n = min(n, s.at+s.n-at, f.length-at)
			for c := range counts {
				part[c] = nil
				if counts[c] != nil {
					part[c] = counts[c][done : done+int(n)]
				}
			}
			got, err := f.store.read(part, s.stored+at-s.at)
			if err != nil {
				f.cover(counts, from, done+got)
				if err == io.EOF {
					err = io.ErrUnexpectedEOF
				}
				return done + got, fmt.Errorf("recording: %s: at sample %d: %w", f.path, at+int64(got), err)
			}
			done += int(n)
			continue
		}
		next := f.length
		if i+1 < len(f.segments) {
			next = min(next, f.segments[i+1].at)
		}
		n = min(n, next-at)
		for _, row := range counts {
			if row != nil {
				fill(row[done:done+int(n)], acquire.MissingCount)
			}
		}
		done += int(n)
	}
	f.cover(counts, from, done)
	return done, nil
}

// BlockSamples is the longest block that [File.Blocks] hands out.
const BlockSamples = 1 << 14

// Blocks reads the samples [from, to), as far as the recording has them, and hands them
// to take in order, BlockSamples at most at a time: the position of the first and
// counts, [channel][sample], as [File.ReadAt] fills them, valid during the call. An
// error of take's ends it and is returned as it is; one of ctx's or of reading tells
// the sample.
func (f *File) Blocks(ctx context.Context, from, to int64, take func(at int64, counts [][]int32) error) error {
	to = min(to, f.length)
	buffer := make([][]int32, len(f.info.Channels))
	for c := range buffer {
		buffer[c] = make([]int32, max(0, min(BlockSamples, to-from)))
	}
	counts := make([][]int32, len(buffer))
	for at := from; at < to; {
		if ctx.Err() != nil {
			return fmt.Errorf("recording: %s: stopped at sample %d: %w", f.path, at, context.Cause(ctx))
		}
		n := min(BlockSamples, to-at)
		for c := range counts {
			counts[c] = buffer[c][:n]
		}
		if _, err := f.ReadAt(counts, at); err != nil {
			return err
		}
		if err := take(at, counts); err != nil {
			return err
		}
		at += n
	}
	return nil
}

func fill(row []int32, v int32) {
	for i := range row {
		row[i] = v
	}
}

// cover marks the annotated holes among counts[…][:n]. f.mu is held.
func (f *File) cover(counts [][]int32, from int64, n int) {
	for _, h := range f.holes {
		if h.first >= from+int64(n) {
			break
		}
		lo, hi := max(h.first, from), min(h.first+h.samples, from+int64(n))
		for c, row := range counts {
			if row != nil && lo < hi && (h.channel < 0 || h.channel == c) {
				fill(row[lo-from:hi-from], acquire.MissingCount)
			}
		}
	}
}

// learnHoles reads the annotated holes if this file needs them. f.mu is held.
func (f *File) learnHoles() {
	if f.holesKnown {
		return
	}
	f.holesKnown = true
	if !f.annotated {
		return
	}
	f.load()
	for _, a := range f.annotations {
		if channel, ok := parseMissing(a.Text); ok {
			if n := int64(math.Round(a.DurationSeconds * f.info.ClaimedRateHz)); n > 0 {
				f.holes = append(f.holes, hole{a.Sample, n, channel})
			}
		}
	}
}

// load reads the annotations once. f.mu is held.
func (f *File) load() {
	if f.scan == nil || f.closed {
		return
	}
	f.annotations = f.scan()
	f.scan = nil
	sort.SliceStable(f.annotations, func(i, j int) bool { return f.annotations[i].Sample < f.annotations[j].Sample })
}

// Annotations returns all annotations by onset. The first call reads through
// the whole file; Open does not.
func (f *File) Annotations() []Annotation {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.load()
	return append([]Annotation(nil), f.annotations...)
}

// EngineTexts are the annotations that tell what happened to the channels' engines, in
// order; only a file that was recorded with settings is read through for them.
func (f *File) EngineTexts() []string {
	if f.meta == nil || f.meta.Other == nil {
		return nil
	}
	var list []string
	for _, a := range f.Annotations() {
		if IsEngine(a.Text) {
			list = append(list, a.Text)
		}
	}
	return list
}

// NotesBetween returns the notes at samples from ≤ sample < to, in order: the
// annotations that are neither beats nor this package's own book-keeping.
func (f *File) NotesBetween(from, to int64) []acquire.Note {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.load()
	if f.notes == nil {
		_, _, rest := TakeMarked(f.annotations, f.info.ClaimedRateHz)
		f.notes = []acquire.Note{}
		for _, a := range rest {
			if IsNote(a.Text) {
				f.notes = append(f.notes, acquire.Note{Sample: a.Sample, Text: a.Text})
			}
		}
	}
	i := sort.Search(len(f.notes), func(i int) bool { return f.notes[i].Sample >= from })
	k := sort.Search(len(f.notes), func(i int) bool { return f.notes[i].Sample >= to })
	return slices.Clone(f.notes[i:max(i, k)])
}

// GapRuns are the gaps with their reasons.
func (f *File) GapRuns() []acquire.Gap {
	reasons := map[int64]string{}
	var runs []acquire.Gap
	gaps := f.Gaps()
	if f.ours {
		for _, a := range f.Annotations() {
			if reason, ok := strings.CutPrefix(a.Text, textGap+": "); ok {
				reasons[a.Sample] = reason
			}
		}
	}
	for _, g := range gaps {
		runs = append(runs, acquire.Gap{From: g.First, To: g.First + g.Samples, Reason: reasons[g.First]})
	}
	return runs
}

// Close releases the file; it may be called twice.
func (f *File) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.closed {
		return nil
	}
	f.closed = true
	return f.store.Close()
}

// unitScale tells volts per unit for V, mV, µV and the like.
func unitScale(unit string) (float64, bool) {
	switch strings.ToLower(strings.TrimSpace(unit)) {
	case "v", "volt", "volts":
		return 1, true
	case "mv":
		return 1e-3, true
	case "uv", "µv", "μv", "\xb5v":
		return 1e-6, true
	case "nv":
		return 1e-9, true
	}
	return 0, false
}

// inVolts turns a channel scaled to a unit of volts (mV, µV …) to volts; another
// unit stays.
func inVolts(c *acquire.Channel) {
	if k, ok := unitScale(c.Unit); ok {
		c.Unit = "V"
		c.VoltsPerCount *= k
		c.OffsetVolts *= k
	}
}
