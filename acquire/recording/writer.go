package recording

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

const (
	formatVersion  = "1"
	maxRecordBytes = 61_440 // of EDF; kept for BDF too
	annotationSize = 256    // bytes per record, rounded up to whole samples
	retimeFirst    = 8      // records before the rate is corrected for the first time
)

// Header says what a recording is of. Only Info.Channels and a rate are needed.
type Header struct {
	// Info gives channels, claimed rate, address and name.
	Info acquire.Info
	// RateHz is the best known rate at the start; 0 takes Info.ClaimedRateHz. It
	// decides how many samples a record holds.
	RateHz float64
	// Started is the time of the first sample; zero is stored as unknown.
	Started time.Time
	// Patient is a code or name for the header's patient field; "" is unknown.
	Patient string
	// Settings are kept as JSON: the signal path and what else the caller wants back.
	Settings any
	// NoSync leaves out forcing each second to the disk, for files made from files.
	NoSync bool

	// Wide tells of channels that state no range that their counts may need more
	// than 24 bits; nil for none. Channels whose stated range needs more are so anyway.
	Wide []bool

	// Fit has ranges that the counts are known to keep, of channels that state none or another; nil takes
	// those that Info states.
	Fit []acquire.Channel
	// perRecord and annBytes are the samples and the bytes of annotations in a record,
	// when the length of the whole is known; 0 chooses them.
	perRecord, annBytes int
	// every tells of each channel how many positions have one sample of it; nil is 1.
	every []int
	// kept are fields of another file's header; nil for none.
	kept *edfKept
}

// Writer writes an EDF+ or BDF+ file record by record. Positions count samples
// from the start of the recording. After an error everything but Close returns
// the same error, and Close leaves what is there readable. Not for concurrent
// use.
type Writer struct {
	// Immutable after Create.
	path        string
	format      string // "EDF" or "BDF"
	bytes       int    // per sample
	channels    []writeChannel
	perRecord   int
	header      int64
	recordBytes int
	annOffset   int
	annBytes    int
	sync        bool
	fitted      bool     // the layout was chosen for the whole
	misfits     int64    // samples that do not fit in the file, stored as missing
	changed     []string // fields of another file's header that the header does not hold as they were
	baseRate    float64
	fraction    float64 // of a second, between the header's start and the first sample

	out      disk
	isOurs   func() error // whether path still is the open file
	rate     float64      // as last measured
	printed  string       // record duration as the header has it
	duration float64      // its value, seconds
	records  int64
	start    int64 // position of the first sample in the record being filled
	filled   int   // samples in it
	record   []byte
	queue    []queued
	split    bool
	retimeAt int64
	syncedAt time.Time
	tail     int    // records on disk that end the file as it stood at the last checkpoint
	blank    []byte // a record of missing samples
	scratch  []byte
	err      error
	closed   bool
	warned   []bool
	runs     []int64 // per channel where a run of missing samples began, or −1
}

// Create makes the file path, which must not exist, and writes its header. The
// path ends in .edf for 16 bits or .bdf for 24.
func Create(path string, h Header) (*Writer, error) {
	w := &Writer{path: path, sync: !h.NoSync, fitted: h.perRecord > 0, retimeAt: retimeFirst}
	if h.Fit == nil {
		h.Fit = h.Info.Channels
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".edf":
		w.format, w.bytes = "EDF", 2
		if !fits16Bits(h.Fit) {
			return nil, fmt.Errorf("recording: %s: %w: name the file .bdf", path, h.tooWide())
		}
	case ".bdf":
		w.format, w.bytes = "BDF", 3
	default:
		return nil, fmt.Errorf("recording: %s: name it .edf or .bdf", path)
	}
	if err := w.plan(h); err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, &WriteError{Path: path, Err: unwrapPath(err)}
	}
	opened, err := file.Stat()
	if err != nil {
		file.Close()
		return nil, &WriteError{Path: path, Err: unwrapPath(err)}
	}
	_ = lockFile(file) // some disks know no locks; Mend then goes by what is written in the file
	w.isOurs = func() error {
		st, err := os.Stat(path)
		if err != nil {
			return unwrapPath(err)
		}
		if !os.SameFile(st, opened) {
			return errors.New("the file was replaced by another while recording")
		}
		return nil
	}
	if err := w.begin(file, h); err != nil {
		file.Close()
		os.Remove(path)
		return nil, err
	}
	return w, nil
}

// Path is the file's name.
func (w *Writer) Path() string { return w.path }

// Len is how many samples were written so far, gaps included.
func (w *Writer) Len() int64 { return w.start + int64(w.filled) }

// Bytes is the size of the file so far.
func (w *Writer) Bytes() int64 { return w.header + w.records*int64(w.recordBytes) }

// Err is the error that ended the writing, or nil.
func (w *Writer) Err() error { return w.err }

// usable returns why nothing can be written any more.
func (w *Writer) usable() error {
	if w.err == nil && w.closed {
		return &WriteError{Path: w.path, Offset: w.Bytes(), Err: os.ErrClosed}
	}
	return w.err
}

// fail keeps the first error.
func (w *Writer) fail(err error) error {
	if w.err == nil {
		w.err = &WriteError{Path: w.path, Offset: w.Bytes(), Err: unwrapPath(err)}
	}
	return w.err
}

// Write appends samples, [channel][sample], of which the first has position
// first. A position beyond Len is a gap and is marked so; one before it is
// refused. acquire.MissingCount is stored as missing.
func (w *Writer) Write(counts [][]int32, first int64) error {
	if err := w.usable(); err != nil {
		return err
	}
	if len(counts) != len(w.channels) {
		return fmt.Errorf("recording: %s: a block of %d channels, the file has %d: close it and begin another", w.path, len(counts), len(w.channels))
	}
	n := len(counts[0])
	for _, row := range counts {
		if len(row) != n {
			return fmt.Errorf("recording: %s: channels of %d and %d samples in one block", w.path, n, len(row))
		}
	}
	if lost := first - w.Len(); lost < 0 {
		return fmt.Errorf("recording: %s: sample %d comes after sample %d was written", w.path, first, w.Len()-1)
	} else if lost > 0 {
		if err := w.Gap(w.Len(), lost, ""); err != nil {
			return err
		}
	}
	for done := 0; done < n; {
		k := min(n-done, w.perRecord-w.filled)
		for c := range w.channels {
			w.encode(c, counts[c][done:done+k])
		}
		w.filled += k
		done += k
		if w.filled == w.perRecord {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return w.settle()
}

// encode puts samples of channel c into the record.
func (w *Writer) encode(c int, row []int32) {
	wc := &w.channels[c]
	k := (w.filled + wc.every - 1) / wc.every // of the channel's samples
	b := w.record[wc.offset+k*w.bytes:]
	at := w.Len()
	for i, v := range row {
		if wc.every > 1 && (w.filled+i)%wc.every != 0 {
			continue
		}
		gone := v == acquire.MissingCount
		if !gone && (v < wc.low || v > wc.high || wc.marked && wc.fine == 0 && v == wc.missing) {
			gone = true
			w.misfits++
			if !w.warned[c] {
				w.warned[c] = true
				w.note(at+int64(i), -1, fmt.Sprintf("%s: count %d does not fit in the file and is stored as missing, as others like it", wc.label, v))
			}
		}
		fine := v & 255
		if wc.fine > 0 {
			v >>= 8
		}
		if gone {
			v, fine = wc.missing, fineMissing
			if w.runs[c] < 0 {
				w.runs[c] = at + int64(i)
			}
		} else if w.runs[c] >= 0 {
			w.endRun(c, at+int64(i))
		}
		if wc.fine > 0 {
			f := w.record[wc.fine+k*w.bytes:]
			f[0], f[1], f[2] = byte(fine), byte(fine>>8), byte(fine>>16)
		}
		if w.bytes == 2 {
			b[0], b[1] = byte(v), byte(v>>8)
			b = b[2:]
		} else {
			b[0], b[1], b[2] = byte(v), byte(v>>8), byte(v>>16)
			b = b[3:]
		}
		k++
	}
}

// endRun notes a run of missing samples of one channel: always when nothing else
// tells, else if it is worth a person's notice, a tenth of a record.
func (w *Writer) endRun(c int, end int64) {
	if n := end - w.runs[c]; w.tellsRun(c, n) {
		w.note(w.runs[c], n, missingText(c))
	}
	w.runs[c] = -1
}

func (w *Writer) tellsRun(c int, n int64) bool {
	return n > 0 && (!w.channels[c].marked || n >= max(int64(w.perRecord)/10, 2))
}

// missingSamples appends k missing samples on all channels, without notes.
func (w *Writer) missingSamples(k int) {
	w.pad(w.filled, w.filled+k)
	w.filled += k
}

// pad fills samples from … to of the record with what means missing.
func (w *Writer) pad(from, to int) {
	for _, c := range w.channels {
		first, end := (from+c.every-1)/c.every*w.bytes, (to+c.every-1)/c.every*w.bytes
		copy(w.record[c.offset+first:c.offset+end], w.blank[c.offset+first:])
		if c.fine > 0 {
			copy(w.record[c.fine+first:c.fine+end], w.blank[c.fine+first:])
		}
	}
}

// blankRecord fills a record with missing samples.
func (w *Writer) blankRecord(record []byte) {
	for c := range w.channels {
		wc := &w.channels[c]
		for i := range w.perRecord / wc.every {
			for j := range w.bytes {
				record[wc.offset+i*w.bytes+j] = byte(wc.missing >> (8 * j))
				if wc.fine > 0 {
					record[wc.fine+i*w.bytes+j] = 0xff // fineMissing
				}
			}
		}
	}
}

// Gap marks samples as never recorded, from Len on, which first must be. reason
// is for a person and may be empty.
func (w *Writer) Gap(first, samples int64, reason string) error {
	if err := w.usable(); err != nil {
		return err
	}
	if first != w.Len() || samples < 0 || first+samples > maxLen {
		return fmt.Errorf("recording: %s: a gap of %d samples at %d, but the recording stands at %d", w.path, samples, first, w.Len())
	}
	if samples == 0 {
		return nil
	}
	for c := range w.runs {
		if w.runs[c] >= 0 {
			w.endRun(c, first)
		}
	}
	text := textGap
	if reason = cleanText(reason); reason != "" {
		text += ": " + reason
	}
	w.note(first, samples, text)
	if !w.allMarked() {
		w.note(first, samples, missingText(-1))
	}
	if w.filled > 0 || w.records == 0 {
		k := int(min(samples, int64(w.perRecord-w.filled)))
		w.missingSamples(k)
		samples -= int64(k)
		if w.filled == w.perRecord {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	w.start += samples
	return w.settle()
}

func (w *Writer) allMarked() bool {
	for i := range w.channels {
		if !w.channels[i].marked {
			return false
		}
	}
	return true
}

// Close ends the recording: the last record is filled with missing samples, the
// true end and the exact rate are noted, waiting annotations are written, the
// header gets its final count. After an earlier error it makes what is there
// readable and returns that error. It may be called twice.
func (w *Writer) Close() error {
	if w.closed {
		return nil
	}
	w.closed = true
	end := w.Len()
	if w.err == nil {
		for c := range w.runs {
			if w.runs[c] >= 0 {
				w.endRun(c, end)
			}
		}
		if err := w.finish(end); err == nil {
			w.retime()
		}
	}
	if w.err != nil {
		// Half a record may be there.
		w.out.Truncate(w.Bytes())
	}
	_, err := w.out.WriteAt([]byte(headerText(strconv.FormatInt(w.records, 10), 8)), 236)
	if err != nil {
		w.fail(err)
	} else if w.sync && w.err == nil {
		if err := w.isOurs(); err != nil {
			w.fail(err)
		} else if err := w.out.Sync(); err != nil {
			w.fail(err)
		}
	}
	if err := w.out.Close(); err != nil {
		w.fail(err)
	}
	if w.err == nil && !w.fitted {
		_ = fitLayout(w.path) // as it is, it is valid too
	}
	return w.err
}

// finish writes the last records.
func (w *Writer) finish(end int64) error {
	if w.filled == 0 && len(w.queue) == 0 && w.records > 0 {
		if done, err := w.markLast(end); done || err != nil {
			return err
		}
		w.note(end, -1, rateText(w.rate)) // in a record of its own
	}
	if err := w.checkpoint(); err != nil {
		return err
	}
	w.records += int64(w.tail)
	w.start += int64(w.tail) * int64(w.perRecord)
	w.filled, w.queue, w.tail = 0, nil, 0
	return nil
}

// markLast puts the end mark into the last whole record if there is room.
func (w *Writer) markLast(end int64) (done bool, err error) {
	tail := []queued{{end, -1, rateText(w.rate)}, {end, -1, textEnd}}
	keep := 0
	for _, q := range tail {
		keep += len(w.tal(q)) + talGrowth
	}
	b := make([]byte, w.annBytes)
	offset := w.Bytes() - int64(w.annBytes)
	if _, err := w.out.ReadAt(b, offset); err != nil {
		return false, w.fail(err)
	}
	used := len(b)
	for used > 0 && b[used-1] == 0 {
		used--
	}
	used++ // its last 0
	growth := talGrowth * (1 + strings.Count(string(b), "\x14\x00"))
	if used+growth+keep > len(b) {
		return false, nil
	}
	for _, q := range tail {
		used += copy(b[used:], w.tal(q))
	}
	if _, err := w.out.WriteAt(b, offset); err != nil {
		return false, w.fail(err)
	}
	return true, nil
}
