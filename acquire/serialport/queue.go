package serialport

import (
	"fmt"
	"unicode/utf8"

	"pulsewright/acquire"
)

const (
	maxTexts     = 64  // lines of text kept between two takes
	maxTextBytes = 200 // of each
	maxExcerpt   = 120 // acquire.Health.LastUnreadable
)

// queue gathers samples into blocks. A sample after a loss or a jump begins a
// block; when others wait before it, it and those after it are held until they were taken.
type queue struct {
	counts  [][]int32
	seconds []float64 // nil without a board clock
	first   int64     // index of the first waiting sample, or of the next
	lost    int64     // just before first
	jump    bool

	held  bool
	later []laterSample
	fresh []int32 // counts of those, one after the other

	text        []string
	textDropped int
}

func (q *queue) init(channels int, clock bool) {
	q.counts = make([][]int32, channels)
	for i := range q.counts {
		q.counts[i] = make([]int32, 0, 256)
	}
	if clock {
		q.seconds = make([]float64, 0, 256)
	}
}

// len returns how many samples wait, those held not counted.
func (q *queue) len() int {
	if len(q.counts) == 0 {
		return 0
	}
	return len(q.counts[0])
}

// laterSample waits until those before it were taken.
type laterSample struct {
	seconds float64
	lost    int64
	jump    bool
}

// push adds a sample, or holds it.
func (q *queue) push(row []int32, seconds float64, lost int64, jump bool) {
	if q.held || (lost > 0 || jump) && q.len() > 0 {
		q.held = true
		q.later = append(q.later, laterSample{seconds, lost, jump})
		q.fresh = append(q.fresh, row...)
		return
	}
	q.first += lost
	q.lost += lost
	q.jump = q.jump || jump
	for i, n := range row {
		q.counts[i] = append(q.counts[i], n)
	}
	if q.seconds != nil {
		q.seconds = append(q.seconds, seconds)
	}
}

// take moves everything waiting into a block, whose slices stay valid until the
// next push.
func (q *queue) take() acquire.Block {
	b := acquire.Block{First: q.first, Lost: q.lost, Jump: q.jump, Counts: q.counts}
	if q.seconds != nil {
		b.BoardSeconds = q.seconds
	}
	if q.textDropped > 0 {
		q.text = append(q.text, fmt.Sprintf("(%d more lines of text)", q.textDropped))
	}
	b.Text = q.text
	q.text, q.textDropped = nil, 0
	if n := q.len(); n > 0 {
		q.first += int64(n)
		q.lost, q.jump = 0, false
	} else {
		b.Lost, b.Jump = 0, false // told with the first sample after it
		b.First -= q.lost
	}
	return b
}

// rewind forgets the samples taken and lets those held in. It ends the
// validity of the last block.
func (q *queue) rewind() {
	for i := range q.counts {
		q.counts[i] = q.counts[i][:0]
	}
	if q.seconds != nil {
		q.seconds = q.seconds[:0]
	}
	if !q.held {
		return
	}
	later, rows := q.later, q.fresh
	q.held, q.later, q.fresh = false, q.later[:0], q.fresh[:0]
	n := len(rows) / len(later)
	for i, s := range later { // those held again are written no further than they are read
		q.push(rows[i*n:(i+1)*n], s.seconds, s.lost, s.jump)
	}
}

// say keeps a line of text.
func (q *queue) say(text []byte) {
	if len(q.text) >= maxTexts {
		q.textDropped++
		return
	}
	q.text = append(q.text, printable(text, maxTextBytes))
}

// printable makes bytes fit to be shown: at most limit bytes long, control
// characters and invalid UTF-8 written as \x escapes.
func printable(b []byte, limit int) string {
	const hex = "0123456789abcdef"
	out := make([]byte, 0, min(len(b), limit)+4)
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		piece := b[:n]
		var esc [4]byte
		if r == utf8.RuneError && n <= 1 || r < 0x20 || r == 0x7f {
			esc = [4]byte{'\\', 'x', hex[b[0]>>4], hex[b[0]&15]}
			piece, n = esc[:], 1
			if r == '\t' {
				piece = []byte{' '}
			}
		} else if r >= 0x80 && r < 0xa0 || r >= 0x2028 && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0xfeff {
			piece = []byte{'?'} // C1 controls, line separators, direction overrides
		}
		if len(out)+len(piece) > limit {
			for len(out) > limit-len("…") {
				_, n := utf8.DecodeLastRune(out)
				out = out[:len(out)-n]
			}
			return string(out) + "…"
		}
		out = append(out, piece...)
		b = b[n:]
	}
	return string(out)
}

// stats is what the decoders count.
type stats struct {
	read       int64 // lines or frames read as samples
	unreadable int64
	outOfOrder int64 // left out: their clock or counter stands a little before the line before
	lostTotal  int64
	rounded    int64 // values with more decimals than Digits
	overflow   int64 // values beyond 32 bits
	excerpt    [maxExcerpt]byte
	excerptLen int
}

// bad counts an unreadable line or frame and keeps a piece of it.
func (s *stats) bad(b []byte) {
	s.unreadable++
	s.excerptLen = copy(s.excerpt[:], b)
}

// lastUnreadable is the newest unreadable line made printable.
func (s *stats) lastUnreadable() string { return printable(s.excerpt[:s.excerptLen], maxExcerpt) }
