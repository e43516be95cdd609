package serialport

import (
	"fmt"

	"pulsewright/acquire"
	"pulsewright/acquire/grid"
)

// shape is a kind of row seen while learning.
type shape struct {
	key   shapeKey
	names []string
	units []string
	rows  int
	bytes int64
}

// shapeKey tells kinds of rows apart.
type shapeKey struct {
	columns int
	hash    uint64 // of the names and units in the row, 0 without any
}

// key identifies the columns of the line just read (FNV-1a over the names and units).
func (t *tokens) key() shapeKey {
	k := shapeKey{columns: t.n}
	h, any := uint64(14695981039346656037), false
	for _, f := range t.fields[:t.n] {
		for _, s := range [...][]byte{f.name, f.unit} {
			for _, c := range s {
				h = (h ^ uint64(c)) * 1099511628211
				any = true
			}
			h = (h ^ ',') * 1099511628211
		}
	}
	if any {
		k.hash = h | 1
	}
	return k
}

// learner keeps the rows read until the format is settled.
type learner struct {
	text    []byte // the lines, as they came
	ends    []int32
	shapeOf []int16 // -1: no row, but perhaps one in another dialect
	shapes  []shape

	header    *header // confirmed
	headerRow int

	hexLines, hexLetters int // lines that may be bare hexadecimal digits, and those that can be nothing else
	lines                int // of them all
	hexBytes             int64
	padded               int // rows of two columns whose second one begins with zeros
	textBytes            int64
	badBytes             int64
}

// row is the i-th row kept.
func (l *learner) row(i int) []byte {
	from := int32(0)
	if i > 0 {
		from = l.ends[i-1]
	}
	return l.text[from:l.ends[i]]
}

// add keeps the row just read from a line; false when there are too many shapes.
func (l *learner) add(t *tokens, line []byte) bool {
	key := t.key()
	at := -1
	for i := range l.shapes {
		if l.shapes[i].key == key {
			at = i
		}
	}
	if at < 0 {
		if len(l.shapes) >= 64 { // garbage; a board has one or two
			return false
		}
		s := shape{key: key}
		for _, f := range t.fields[:t.n] {
			if f.name != nil {
				s.names = append(s.names, string(f.name))
			}
			s.units = append(s.units, string(f.unit))
		}
		at = len(l.shapes)
		l.shapes = append(l.shapes, s)
	}
	l.shapes[at].rows++
	l.shapes[at].bytes += int64(len(line))
	l.keep(line, int16(at))
	if t.n == 2 && t.padded == 2 {
		l.padded++
	}
	return true
}

// keep keeps a line.
func (l *learner) keep(line []byte, shape int16) {
	l.text = append(l.text, line...)
	l.ends = append(l.ends, int32(len(l.text)))
	l.shapeOf = append(l.shapeOf, shape)
}

// full tells that no more may be kept.
func (l *learner) full() bool { return len(l.ends) >= maxLearntRows || len(l.text) > maxLearntBytes }

// Rows returns how many rows of the commonest shape were read while learning,
// and how readable the stream is, from 0 to 1: the share of bytes in those rows,
// text counted half. It serves to find the baud rate and to know when to Settle.
func (d *LineDecoder) Rows() (rows int, readable float64) {
	l := &d.learner
	var good, other int64
	for _, s := range l.shapes {
		if s.rows > rows {
			rows, good = s.rows, s.bytes
		}
		other += s.bytes
	}
	all := other + l.badBytes + l.textBytes/2
	if l.bareHex() {
		rows, good, all = l.hexLines, l.hexBytes, max(all, l.hexBytes)
	}
	if len(d.partial) > 64 {
		all += int64(len(d.partial))
	}
	if all == 0 {
		return rows, 0
	}
	return rows, float64(good) / float64(all)
}

// bareHex tells that nearly all lines are hexadecimal digits, and enough have a letter.
func (l *learner) bareHex() bool {
	return l.hexLines >= 10 && 20*l.hexLines >= 19*l.lines && 10*l.hexLetters >= l.hexLines
}

// legible tells that what came while learning was text for the greater part, whatever it says.
func (d *LineDecoder) legible() bool {
	return d.learner.textBytes > 3*d.learner.badBytes && len(d.partial) < maxLine/8 || advice(printable(d.partial, 40)) != "" && d.learner.badBytes == 0
}

// noteLine counts what dialects a line may be of.
func (l *learner) noteLine(line []byte, row bool) {
	l.lines++
	if hex, letter := bareHex(line); hex {
		l.hexLines++
		l.hexBytes += int64(len(line))
		if letter && !row {
			l.hexLetters++
		}
	}
}

// paddedRows with zeros in front of the second of two columns show a decimal comma.
const paddedRows = 3

// adoptDialect reads what was kept again when it is hexadecimal or has decimal commas.
func (d *LineDecoder) adoptDialect() error {
	l := d.learner
	switch {
	case d.tokens.dialect.hex || d.tokens.dialect.comma || d.names != nil:
		return nil
	case l.bareHex():
		d.tokens.dialect.hex = true
	case l.padded >= paddedRows && len(l.shapes) == 1 && l.header == nil:
		d.tokens.dialect.comma = true
	default:
		return nil
	}
	d.learner = learner{textBytes: l.textBytes}
	d.unreadable, d.excerptLen = 0, 0
	for i := range l.ends {
		if err := d.line(l.row(i)); err != nil {
			return err
		}
	}
	return nil
}

// Lasted tells how long the rows read so far took to come, so that a clock's unit can be
// told from its numbers.
func (d *LineDecoder) Lasted(seconds float64) { d.lasted = seconds }

// Settle fixes the format from what was fed so far: the commonest shape of row,
// the names, the clock, and each channel's digits. The rows read so far become samples.
// Errors: no row yet, no channel among the columns, names of another number.
func (d *LineDecoder) Settle() (Format, error) {
	if d.settled {
		return d.format, nil
	}
	d.dismissHeader()
	if err := d.adoptDialect(); err != nil {
		return Format{}, err
	}
	d.dismissHeader()
	l := &d.learner
	from := 0
	if l.header != nil {
		from = l.headerRow
	}
	count := make([]int, len(l.shapes))
	best := -1
	for _, s := range l.shapeOf[from:] {
		if s >= 0 {
			count[s]++
		}
	}
	for i, n := range count {
		if n > 0 && (best < 0 || n >= count[best]) {
			best = i
		}
	}
	if best < 0 {
		return Format{}, fmt.Errorf("no readable line yet")
	}
	if err := d.nameColumns(l.shapes[best]); err != nil {
		return Format{}, err
	}
	return d.settleOn(from, best)
}

// nameColumns makes the columns of a shape.
func (d *LineDecoder) nameColumns(s shape) error {
	d.pairs = len(s.names) > 0
	n := s.key.columns
	names, units, kinds := s.names, s.units, make([]string, n)
	if h := d.learner.header; !d.pairs && h != nil && len(h.names) == n {
		names, units, kinds = h.names, h.units, h.kinds
		d.header = h
	}
	if d.names != nil && len(d.names) != n {
		return fmt.Errorf("the option names lists %d names but the board prints %d columns: name every column, in order", len(d.names), n)
	}
	d.columns = make([]column, n)
	d.values = make([]number, n)
	for i := range d.columns {
		c := &d.columns[i]
		if names != nil {
			c.name = names[i]
		}
		c.unit, c.printed = units[i], s.units[i]
		c.label, c.kind = c.name, kinds[i]
		if d.names != nil {
			var unit, kind string
			if c.label, unit, kind = given(d.names[i]); kind != "" || acquire.KindOfLabel(c.label) != acquire.KindUnknown {
				c.kind = kind // what the user's name says comes before what the board says
			}
			if unit != "" {
				c.unit = unit
			}
		}
	}
	return nil
}

// settleOn fixes the format on the columns and the rows of a shape.
func (d *LineDecoder) settleOn(from, best int) (Format, error) {
	ramps := make([]ramp, len(d.columns))
	d.eachLearnt(from, best, func() {
		for k, v := range d.values {
			ramps[k].add(v)
		}
	})
	var channels int
	d.timeColumn, d.seqColumn, channels = assign(d.columns, ramps, d.lasted, d.names != nil)
	if channels == 0 {
		d.timeColumn, d.seqColumn = -1, -1
		return Format{}, fmt.Errorf("the board prints its clock and no other column: print at least one value beside it")
	}
	d.chooseDigits(from, best)
	d.sequence = boardClock{bigStep: 1000, goOn: 16, eightBit: true}
	if d.timeColumn >= 0 {
		c := &d.columns[d.timeColumn]
		d.time = boardClock{bigStep: int64(10 * c.perSecond()), goOn: int64(c.perSecond())}
		d.chooseGrid(from, best, c.resolution(ramps[d.timeColumn].digits))
	}
	d.format = d.describe()
	for i, c := range d.columns {
		d.format.Columns = append(d.format.Columns, c.told(ramps[i].volts()))
	}
	d.queue.init(channels, d.timeColumn >= 0)
	d.row = make([]int32, channels)
	d.replay = from // rows before a header were those before a reset
	d.settled = true
	return d.format, nil
}

// eachLearnt calls f with the values of each row of a shape.
func (d *LineDecoder) eachLearnt(from, best int, f func()) {
	l := &d.learner
	for i := from; i < len(l.ends); i++ {
		if int(l.shapeOf[i]) == best && d.tokens.read(l.row(i)) && d.arrange() {
			f()
		}
	}
}

// chooseDigits sets each column's digits: the most decimals seen that leave
// room for counts ten times as large as seen.
func (d *LineDecoder) chooseDigits(from, best int) {
	for pass := range 2 {
		d.eachLearnt(from, best, func() {
			for k, v := range d.values {
				c := &d.columns[k]
				if v.missing {
					continue
				}
				if pass == 0 {
					c.digits = min(max(c.digits, int(v.digits)), maxCountDigit)
					continue
				}
				whole := v.float()
				if whole < 0 {
					whole = -whole
				}
				for c.digits > 0 && whole*float64(powersOfTen[c.digits])*10 > 1<<31-1 {
					c.digits--
				}
			}
		})
	}
}

// chooseGrid makes the grid on which the board's stamps put its samples.
func (d *LineDecoder) chooseGrid(from, best int, resolution float64) {
	clock, c := d.time, d.columns[d.timeColumn]
	var times []float64
	d.eachLearnt(from, best, func() {
		v := d.values[d.timeColumn]
		ticks, fraction := c.ticks(v)
		step, verdict := clock.peek(ticks)
		switch {
		case v.missing || verdict == stepDoubtful:
			clock.doubt(ticks)
			return
		case verdict == stepRestart:
			times = times[:0]
		}
		clock.commit(ticks, step, verdict)
		times = append(times, (float64(clock.total)+fraction)/c.perSecond())
	})
	hz, ok := grid.Rate(times, resolution, d.claimedHz)
	if !ok || hz < minRateHz || hz > maxRateHz {
		d.clustered = len(times) > 2
		return
	}
	channels := 0
	for _, c := range d.columns {
		if c.channel >= 0 {
			channels++
		}
	}
	d.grid = grid.New(hz, resolution, channels)
}

// describe makes the channels known so far.
func (d *LineDecoder) describe() Format {
	f := Format{ClaimedRateHz: d.claimedHz, BoardClock: d.timeColumn >= 0, Counter: d.seqColumn >= 0}
	if d.grid != nil {
		f.ClaimedRateHz = d.grid.RateHz()
	}
	used := map[string]bool{}
	for _, c := range d.columns {
		if c.channel >= 0 {
			ch := newChannel(c.label, c.unit, c.digits, len(f.Channels), used)
			if ch.Kind == acquire.KindUnknown {
				ch.Kind = d.saidKind
			}
			if c.kind != "" {
				ch.Kind = c.kind
			}
			f.Channels = append(f.Channels, ch)
		}
	}
	return f
}
