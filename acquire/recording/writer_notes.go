package recording

import (
	"slices"
	"strconv"
)

type queued struct {
	sample, length int64 // length −1: none
	text           string
}

// Annotate adds a text at a position, lasting durationSamples, or 0. The position
// may be before or after Len; before 0 counts as 0, and a beat before 0 is left out.
// The text is made safe and may be of any length.
func (w *Writer) Annotate(sample, durationSamples int64, text string) error {
	if err := w.usable(); err != nil {
		return err
	}
	if text = cleanText(text); text == "" {
		return nil
	}
	if durationSamples <= 0 {
		durationSamples = -1
	}
	if sample < 0 {
		if _, _, _, beat := ParseBeat(text); beat {
			return nil // one before the recording began
		}
		sample = 0
	}
	w.note(sample, durationSamples, text)
	return w.settle()
}

// note queues an annotation.
func (w *Writer) note(sample, length int64, text string) {
	for _, piece := range splitText(text, w.annBytes-80) {
		w.queue = append(w.queue, queued{sample, length, piece})
	}
}

// seconds prints a position as an onset.
func (w *Writer) seconds(sample int64) string {
	return "+" + strconv.FormatFloat(w.fraction+float64(sample)*w.duration/float64(w.perRecord), 'f', 7, 64)
}

func (w *Writer) tal(q queued) string {
	s := w.seconds(q.sample)
	if q.length >= 0 {
		s += "\x15" + strconv.FormatFloat(float64(q.length)*w.duration/float64(w.perRecord), 'f', 6, 64)
	}
	return s + "\x14" + q.text + "\x14\x00"
}

// talGrowth is what onset and duration may grow by when the rate is corrected.
const talGrowth = 2

// block fills the annotation signal of a record that begins at start: the time stamp,
// then of queue what fits, then end if all of both fits. It returns what did not fit.
func (w *Writer) block(record []byte, start int64, queue, end []queued) (rest []queued, ended bool) {
	b := record[w.annOffset:]
	clear(b)
	at := copy(b, w.seconds(start)+"\x14\x14\x00") + talGrowth
	text := b[:at-talGrowth]
	put := func(q queued) bool {
		s := w.tal(q)
		if at+len(s)+talGrowth > len(b) {
			return false
		}
		text = append(text, s...)
		at += len(s) + talGrowth
		return true
	}
	for len(queue) > 0 && put(queue[0]) {
		queue = queue[1:]
	}
	if len(queue) > 0 || len(end) == 0 {
		return queue, false
	}
	room := at
	for _, q := range end {
		room += len(w.tal(q)) + talGrowth
	}
	if room > len(b) {
		return nil, false
	}
	for _, q := range end {
		put(q)
	}
	return nil, true
}

// appendTail appends to dst the records that end the file as it stands: the one being
// filled, its rest missing, and as many of nothing but annotations as wait. The last has the
// end mark. None are needed when all is in whole records.
func (w *Writer) appendTail(dst []byte) ([]byte, int) {
	if w.filled == 0 && len(w.queue) == 0 && w.records > 0 {
		return dst, 0
	}
	end := w.Len()
	queue := slices.Clone(w.queue)
	for c, first := range w.runs {
		if n := end - first; first >= 0 && w.tellsRun(c, n) {
			queue = append(queue, queued{first, n, missingText(c)})
		}
	}
	marks := []queued{{end, -1, rateText(w.rate)}, {end, -1, textEnd}}
	w.pad(w.filled, w.perRecord)
	record, ended := w.record, false
	for k := int64(0); ; k++ {
		queue, ended = w.block(record, w.start+k*int64(w.perRecord), queue, marks)
		dst = append(dst, record...)
		if ended {
			return dst, int(k) + 1
		}
		record = w.blank
	}
}

// tellSplit says in the header that there are gaps between records, before the first
// that follows one is written.
func (w *Writer) tellSplit() error {
	if w.split || w.start == w.records*int64(w.perRecord) {
		return nil
	}
	w.split = true
	return w.patch(192, headerText(w.format+"+D", 44))
}
