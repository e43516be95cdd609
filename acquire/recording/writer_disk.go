package recording

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"syscall"
	"time"
)

// WriteError says which file could not be written, where, why, and what to do.
type WriteError struct {
	Path   string
	Offset int64
	Err    error
}

func (e *WriteError) Error() string {
	remedy := ""
	switch {
	case errors.Is(e.Err, syscall.ENOSPC):
		remedy = "; free some space or record to another disk"
		if e.Offset > 0 {
			remedy += "; what was recorded so far stays readable"
		}
	case errors.Is(e.Err, os.ErrPermission), errors.Is(e.Err, syscall.EROFS):
		remedy = "; choose a folder that you may write to with -data"
	case errors.Is(e.Err, os.ErrExist):
		remedy = "; choose another name, nothing is overwritten"
	case errors.Is(e.Err, os.ErrNotExist):
		remedy = "; is the disk still there? choose a folder that exists with -data"
	case e.Offset > 0:
		remedy = "; what was recorded so far stays readable if the disk is"
	}
	return fmt.Sprintf("recording: %s: byte %d: %v%s", e.Path, e.Offset, e.Err, remedy)
}

func (e *WriteError) Unwrap() error { return e.Err }

// disk is what a Writer needs of a file.
type disk interface {
	io.ReaderAt
	io.WriterAt
	Truncate(int64) error
	Sync() error
	Close() error
}

// unwrapPath takes off the path that WriteError names itself.
func unwrapPath(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// flush writes the full record.
func (w *Writer) flush() error {
	for c := range w.runs {
		if w.runs[c] >= 0 && !w.channels[c].marked {
			// Its note belongs in the record it is about.
			w.endRun(c, w.Len())
			w.runs[c] = w.Len()
		}
	}
	rest, _ := w.block(w.record, w.start, w.queue, nil)
	if len(rest) < cap(w.queue)/2 {
		rest = w.queue[:copy(w.queue, rest)]
	}
	w.queue = rest // many that wait are not moved at each record
	if err := w.tellSplit(); err != nil {
		return err
	}
	// One write for the record and, when annotations wait, for what ends the file
	// after it: what was on the disk before never is out of reach. A file made from a file (NoSync) is
	// whole only at its close.
	at, before := w.Bytes(), w.tail
	w.scratch = append(w.scratch[:0], w.record...)
	w.records++
	w.start += int64(w.perRecord)
	w.filled = 0
	k := 0
	if before > 1 && w.sync {
		w.scratch, k = w.appendTail(w.scratch)
	}
	if _, err := w.out.WriteAt(w.scratch, at); err != nil {
		w.records--
		w.start -= int64(w.perRecord)
		return w.fail(err)
	}
	if err := w.shrink(before-1, k); err != nil {
		return err
	}
	if w.records >= w.retimeAt {
		w.retimeAt = 2 * w.records
		return w.retime()
	}
	return nil
}

// shrink cuts off what stood behind the tail of now records when before records were
// there.
func (w *Writer) shrink(before, now int) error {
	w.tail = now
	if now >= before {
		return nil
	}
	if err := w.out.Truncate(w.Bytes() + int64(now)*int64(w.recordBytes)); err != nil {
		return w.fail(err)
	}
	return nil
}

// checkpoint writes what is not in whole records yet, so that the file is as if it
// were closed now, but for its count of records.
func (w *Writer) checkpoint() error {
	data, k := w.appendTail(w.scratch[:0])
	w.scratch = data[:0]
	if k == 0 {
		return nil
	}
	if err := w.tellSplit(); err != nil {
		return err
	}
	if _, err := w.out.WriteAt(data, w.Bytes()); err != nil {
		return w.fail(err)
	}
	return w.shrink(w.tail, k)
}

// settleEvery is how often what came is forced to the disk.
const settleEvery = 500 * time.Millisecond

// settle brings to the disk what came, twice a second.
func (w *Writer) settle() error {
	if !w.sync || time.Since(w.syncedAt) < settleEvery {
		return nil
	}
	return w.Sync()
}

// Sync brings everything that came to the disk, samples of an unfinished record and
// annotations too, and looks whether the file is still where it was made. A Writer that
// syncs does it by itself twice a second, as long as something comes.
func (w *Writer) Sync() error {
	if err := w.usable(); err != nil {
		return err
	}
	w.syncedAt = time.Now()
	if err := w.checkpoint(); err != nil {
		return err
	}
	if err := w.isOurs(); err != nil {
		return w.fail(err)
	}
	if err := w.out.Sync(); err != nil {
		return w.fail(err)
	}
	return nil
}

// patch overwrites a header field.
func (w *Writer) patch(offset int64, text string) error {
	if _, err := w.out.WriteAt([]byte(text), offset); err != nil {
		return w.fail(err)
	}
	return nil
}

// RateHz is the rate that the file has by now.
func (w *Writer) RateHz() float64 { return w.rate }

// SetRate tells the rate as measured now, for the whole recording. It must lie
// within a factor of 5 of the rate at the start. The file follows at the next
// correction, see FORMAT.md, and at Close.
func (w *Writer) SetRate(rateHz float64) error {
	if err := w.usable(); err != nil {
		return err
	}
	if !(rateHz >= w.baseRate/5) || rateHz > w.baseRate*5 {
		return fmt.Errorf("recording: %s: rate %.5g Hz is not within a factor of 5 of %.5g Hz, at which it began: close it and begin another", w.path, rateHz, w.baseRate)
	}
	w.rate = rateHz
	return nil
}

// retime rewrites the record duration and all times for the rate now known.
func (w *Writer) retime() error {
	printed := fixed8(float64(w.perRecord)/w.rate, 8)
	if printed == w.printed {
		return nil
	}
	old := w.duration
	w.printed = printed
	w.duration, _ = strconv.ParseFloat(printed, 64)
	kind := w.format + "+C"
	if w.split {
		kind = w.format + "+D"
	}
	mark := func(index, position int64) error {
		return w.patch(192, headerText(kind+" "+retiming{old, w.duration, index, position}.String(), 44))
	}
	if err := mark(0, 0); err != nil {
		return err
	}
	if err := w.patch(244, headerText(printed, 8)); err != nil {
		return err
	}
	perSecond := float64(w.perRecord) / old
	b := make([]byte, w.annBytes)
	next := int64(0)
	for r := range w.records {
		offset := w.header + r*int64(w.recordBytes) + int64(w.annOffset)
		if _, err := w.out.ReadAt(b, offset); err != nil {
			return w.fail(err)
		}
		list := parseTALs(nil, b)
		if len(list) == 0 {
			return w.fail(fmt.Errorf("record %d says no time any more", r))
		}
		at := int64(math.Round((list[0].onset - w.fraction) * perSecond))
		if at != next {
			// After a gap the reader cannot tell the two durations apart.
			if err := mark(r, at); err != nil {
				return err
			}
		}
		next = at + int64(w.perRecord)
		text := make([]byte, 0, 2*w.annBytes)
		for i, t := range list {
			q := queued{int64(math.Round((t.onset - w.fraction) * perSecond)), -1, ""}
			if t.duration > 0 {
				q.length = int64(math.Round(t.duration * perSecond))
			}
			if i == 0 {
				text = append(text, w.seconds(q.sample)+"\x14\x14\x00"...)
				continue
			}
			for _, s := range t.texts {
				q.text = s
				text = append(text, w.tal(q)...)
			}
		}
		if len(text) > len(b) {
			return w.fail(fmt.Errorf("the annotations of record %d take %d bytes, room is for %d", r, len(text), len(b)))
		}
		clear(b)
		copy(b, text)
		if _, err := w.out.WriteAt(b, offset); err != nil {
			return w.fail(err)
		}
	}
	if err := w.patch(192, headerText(kind, 44)); err != nil {
		return err
	}
	if w.tail > 0 {
		return w.checkpoint()
	}
	return nil
}

// Lock marks a file as held until it is closed; ErrInUse when another holds it. Where files cannot be locked the
// error is another.
func Lock(f *os.File) error { return lockFile(f) }
