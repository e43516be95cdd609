package serialport

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"pulsewright/acquire"
	"pulsewright/acquire/grid"
)

const (
	maxLine        = 4096 // bytes in a line
	maxColumns     = 64
	maxNameBytes   = 32
	maxLearntRows  = 1 << 16 // lines kept until the format is settled
	maxLearntBytes = 8 << 20
	changeRows     = 5   // odd rows alike in a row that are a changed format
	roundWindow    = 100 // rows over which rounding is judged
	roundLimit     = 20  // of them with rounding are a changed format
	noValueRows    = 50  // without a number in a column are worth telling
	maxCountDigit  = 9   // 10^9 is the highest power of ten in an int32
)

// Format is what a decoder learnt about the stream.
type Format struct {
	// Channels without calibration by bits and reference.
	Channels []acquire.Channel
	// Columns of a line, clocks and what is left out too; none of frames.
	Columns []acquire.Column
	// ClaimedRateHz is 0 when the board claims none. With stamps it is the rate of the
	// grid they put the samples on.
	ClaimedRateHz float64
	// BoardClock is true when blocks have BoardSeconds.
	BoardClock bool
	// Counter is true when losses are counted from the board's own counter.
	Counter bool
}

// LineDecoder reads samples from the text a board prints; see the package
// comment for the language. It first learns: rows are kept until Settle fixes
// channels and digits. From then on Feed turns lines into samples, which Take
// hands out. It does not allocate per line once settled, but for text.
type LineDecoder struct {
	queue
	stats
	splitter
	tokens  tokens
	learner learner // until settled

	names     []string // given by the user, or nil
	claimedHz float64
	saidKind  string // that a comment says of the channels whose names tell none
	lasted    float64
	waiting   *header // a header seen and not yet followed by a row
	header    *header // the one that named the columns
	late      string  // a header heard after the columns were settled

	// Settled.
	settled bool
	replay  int // next line kept to read again
	columns []column
	pairs   bool
	format  Format
	values  []number
	row     []int32
	stampedBy
	oddities
}

// stampedBy is the board's own clock and counter.
type stampedBy struct {
	sequence, time        boardClock
	timeColumn, seqColumn int // -1: none
	grid                  *grid.Grid
	clustered             bool // several samples share a stamp
}

// oddities are what may show that the format has changed.
type oddities struct {
	odd         shapeKey
	oddInARow   int
	windowRows  int
	windowRound int
	decimalHint bool   // commas seem to be meant as decimal or thousands marks
	tooWide     bool   // lines of more than maxColumns numbers came
	valued      uint64 // channels that had a number
}

// NewLineDecoder returns a decoder for a stream that may begin within a line.
// names, one per column with clock columns, stand in for a header, each as in "pulse",
// "pulse [mV]", "lead [mV] (ecg)", or "-" for a column to be left out; nil for none.
func NewLineDecoder(names []string) *LineDecoder {
	return &LineDecoder{splitter: splitter{torn: true, partial: make([]byte, 0, maxLine)}, names: names,
		stampedBy: stampedBy{timeColumn: -1, seqColumn: -1}}
}

// StartOfLine says that the stream's next byte begins a line (the board was
// quiet before it), so that the first line is not dropped.
func (d *LineDecoder) StartOfLine() {
	if len(d.partial) == 0 {
		d.torn = false
	}
}

// Feed reads bytes and returns how many it took: all of them, or fewer when a
// sample must begin a new block, and then Take must be called before it takes
// more. Any cutting of the stream into pieces gives the same samples. The error
// wraps acquire.ErrChanged and is final.
func (d *LineDecoder) Feed(p []byte) (int, error) {
	for d.settled && d.replay < len(d.learner.ends) {
		if d.held {
			return 0, nil
		}
		if err := d.replayLine(); err != nil {
			return 0, err
		}
	}
	for i := 0; i < len(p); {
		if d.held {
			return i, nil
		}
		end := indexNewline(p[i:])
		if end < 0 {
			d.keep(p[i:])
			return len(p), nil
		}
		line := p[i : i+end]
		i += end + 1
		if len(d.partial) > 0 || d.overlong {
			d.keep(line)
			line = d.partial
		}
		err := d.endLine(line)
		d.partial = d.partial[:0]
		if err != nil {
			return i, err
		}
	}
	return len(p), nil
}

// splitter makes lines from pieces.
type splitter struct {
	partial  []byte
	torn     bool // the first line, possibly torn, is not over yet
	overlong bool
}

func indexNewline(p []byte) int {
	lf := bytes.IndexByte(p, '\n')
	if lf >= 0 {
		p = p[:lf]
	}
	if cr := bytes.IndexByte(p, '\r'); cr >= 0 {
		return cr
	}
	return lf
}

// keep stores a piece of an unfinished line, or skips it once it is too long.
func (d *LineDecoder) keep(p []byte) {
	if d.overlong {
		d.learner.badBytes += int64(len(p))
		return
	}
	if len(d.partial)+len(p) > maxLine {
		d.learner.badBytes += int64(len(d.partial) + len(p))
		room := maxLine - len(d.partial)
		d.partial = append(d.partial, p[:room]...)
		if !d.torn {
			d.bad(d.partial)
		}
		d.overlong = true
		d.partial = d.partial[:0]
		return
	}
	d.partial = append(d.partial, p...)
}

func (d *LineDecoder) endLine(line []byte) error {
	first, overlong := d.torn, d.overlong
	if len(line) == 0 && !overlong {
		if first && len(d.partial) == 0 {
			d.torn = false
		}
		return nil
	}
	d.torn, d.overlong = false, false
	if overlong {
		return nil
	}
	if first {
		return d.firstLine(line)
	}
	if len(line) > maxLine { // a whole one within a single piece
		d.learner.badBytes += int64(len(line))
		d.bad(line)
		return nil
	}
	return d.line(line)
}

// firstLine takes from a line whose beginning may be torn off what a tear cannot
// make of another line: a comment, and a header if a row that fits comes next.
func (d *LineDecoder) firstLine(line []byte) error {
	if line = trim(line); len(line) == 0 {
		return nil
	}
	if line[0] == '#' {
		return d.comment(line[1:])
	}
	if h := parseHeader(line); h != nil && !d.tokens.read(line) {
		d.gotHeader(h)
	}
	return nil
}

// line reads one whole line without its end.
func (d *LineDecoder) line(whole []byte) error {
	line := whole
	for len(line) > 0 && (line[0] == 0 || line[0] == 0xff) { // a port's noise at power-up
		line = line[1:]
	}
	line = trim(line)
	if len(line) == 0 {
		if len(whole) > 0 && len(trim(whole)) > 0 {
			d.unread(whole)
		}
		return nil
	}
	if line[0] == '#' {
		d.learner.textBytes += int64(len(line))
		return d.comment(line[1:])
	}
	data := line
	if at := bytes.IndexByte(line, '#'); at > 0 && line[at-1] != '.' { // 1.#INF is no 1
		data = trim(line[:at])
	}
	row := d.tokens.read(data)
	if !d.settled {
		d.learner.noteLine(data, row)
	}
	if row {
		if d.tokens.padded > 1 && d.tokens.padded&1 == 0 && !d.tokens.worded { // 2,050
			d.decimalHint = true
		}
		return d.gotRow(data)
	}
	d.tooWide = d.tooWide || d.tokens.wide
	if hex, _ := bareHex(data); hex && !d.settled && !d.learner.full() {
		d.learner.keep(data, -1)
	}
	if d.looksNumeric(line) {
		d.unread(whole)
		return nil
	}
	d.learner.textBytes += int64(len(line))
	if h := parseHeader(data); h != nil {
		h.text = append([]byte(nil), line...)
		d.gotHeader(h)
		return nil
	}
	d.say(line)
	return nil
}

// looksNumeric tells that a line which is no row was meant as one, or is no text.
func (d *LineDecoder) looksNumeric(line []byte) bool {
	c := line[0]
	return isDigit(c) || c == ',' || c == ';' || c == '.' || c == '{' ||
		(c == '-' || c == '+') && len(line) > 1 && (line[1] == '.' || isDigit(line[1])) || !isText(line)
}

// unread counts a line that cannot be read.
func (d *LineDecoder) unread(line []byte) {
	d.learner.badBytes += int64(len(line))
	d.bad(line)
}

// gotHeader keeps a possible header until the next row tells.
func (d *LineDecoder) gotHeader(h *header) {
	d.dismissHeader()
	d.waiting = h
}

// dismissHeader passes on a line that was no header as text.
func (d *LineDecoder) dismissHeader() {
	if h := d.waiting; h != nil {
		d.waiting = nil
		if len(h.text) > 0 { // else a first line, perhaps torn
			d.say(h.text)
		}
	}
}

// quiet says that the board paused after the last line, so that a line which
// might have been a header is passed on as text once the format is settled.
func (d *LineDecoder) quiet() {
	if d.settled {
		d.dismissHeader()
	}
}

// comment reads what may stand after a #: "rate 250 Hz", "kind ecg".
func (d *LineDecoder) comment(b []byte) error {
	if f := strings.Fields(string(b)); len(f) == 2 && f[0] == "kind" && (f[1] == acquire.KindPulse || f[1] == acquire.KindECG) {
		d.saidKind = f[1]
		return nil
	}
	hz, ok := parseRate(string(b))
	if !ok {
		return nil
	}
	if d.settled && hz != d.claimedHz {
		if d.claimedHz != 0 {
			return fmt.Errorf("the board now claims %g Hz instead of %g Hz: %w", hz, d.claimedHz, acquire.ErrChanged)
		}
		d.say(b)
		return nil
	}
	d.claimedHz = hz
	return nil
}

// parseRate reads "rate 250 Hz", "rate: 1 kHz", "rate=250".
func parseRate(s string) (hz float64, ok bool) {
	f := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" \t:=", r) })
	if len(f) < 2 || f[0] != "rate" {
		return 0, false
	}
	text, unit := f[1], ""
	if cut := strings.TrimRight(text, "khz"); cut != text {
		text, unit = cut, text[len(cut):]
	} else if len(f) > 2 {
		unit = f[2]
	}
	x, err := strconv.ParseFloat(text, 64)
	switch unit {
	case "", "hz":
	case "khz":
		x *= 1000
	default:
		return 0, false
	}
	return x, err == nil && x >= minRateHz && x <= maxRateHz
}

// gotRow takes the fields that were read from a line.
func (d *LineDecoder) gotRow(line []byte) error {
	if d.settled {
		if d.waiting != nil {
			if err := d.laterHeader(); err != nil {
				return err
			}
		}
		return d.settledRow(line, false)
	}
	l := &d.learner
	if l.full() {
		return fmt.Errorf("serialport: more than %d lines before the format was settled", maxLearntRows)
	}
	at := len(l.ends)
	if !l.add(&d.tokens, line) {
		d.unread(line)
		return nil
	}
	if h := d.waiting; h != nil {
		if len(h.names) == d.tokens.n && d.tokens.fields[0].name == nil {
			if l.header == nil || !l.header.same(h) {
				l.header, l.headerRow = h, at
			}
			d.waiting = nil
		} else {
			d.dismissHeader()
		}
	}
	return nil
}

// replayLine makes a sample of the next line kept while learning.
func (d *LineDecoder) replayLine() error {
	l := &d.learner
	line, shape := l.row(d.replay), l.shapeOf[d.replay]
	d.replay++
	var err error
	if shape >= 0 && d.tokens.read(line) {
		err = d.settledRow(line, true)
	}
	if d.replay == len(l.ends) {
		d.learner, d.replay = learner{}, 0
	}
	return err
}

// arrange puts the fields that were read into values, by name where they have one; false
// when they are no row of the settled columns.
func (d *LineDecoder) arrange() bool {
	t := &d.tokens
	n := t.n
	named := t.fields[0].name != nil
	if t.trailing && !named && n+1 == len(d.columns) {
		t.fields[n] = field{value: number{missing: true}}
		n++
	}
	if n != len(d.columns) || named != d.pairs {
		return false
	}
	for i := range t.fields[:n] {
		f := &t.fields[i]
		k := i
		if named {
			if k = d.columnNamed(f.name, i); k < 0 {
				return false
			}
		}
		if t.worded && string(f.unit) != d.columns[k].printed {
			return false
		}
		d.values[k] = f.value
	}
	return true
}

func (d *LineDecoder) columnNamed(name []byte, guess int) int {
	if guess < len(d.columns) && string(name) == d.columns[guess].name {
		return guess
	}
	for i := range d.columns {
		if string(name) == d.columns[i].name {
			return i
		}
	}
	return -1
}

// settledRow makes a sample of the line just read, or counts it as odd.
func (d *LineDecoder) settledRow(line []byte, again bool) error {
	if !d.arrange() {
		return d.oddRow(line, again)
	}
	d.oddInARow = 0
	return d.sample(line)
}

// laterHeader judges a header-like line followed by a row after settling: one that fits
// the columns is the same source's, heard late or again; other names in its place than
// those it gave before are a change.
func (d *LineDecoder) laterHeader() error {
	h := d.waiting
	if len(h.names) != len(d.columns) || d.tokens.n != len(h.names) || d.pairs || !h.strict && len(h.names) > 1 && d.header == nil {
		d.dismissHeader()
		return nil
	}
	switch {
	case d.header != nil && d.header.same(h) || d.names != nil:
		d.waiting = nil
	case d.header == nil && (h.strict || len(h.names) == 1 && d.late != ""):
		d.waiting = nil
		d.late = strings.Join(h.names, ", ")
	case d.header != nil && h.strict && len(h.names) > 1:
		return fmt.Errorf("the board now names its columns %q: %w", printable(h.text, maxTextBytes), acquire.ErrChanged)
	default:
		d.dismissHeader()
	}
	return nil
}

// oddRow takes a row of other columns. Those among the lines that were learnt from are
// never a change.
func (d *LineDecoder) oddRow(line []byte, again bool) error {
	key := d.tokens.key()
	if key != d.odd {
		d.odd, d.oddInARow = key, 0
	}
	if d.oddInARow++; d.oddInARow >= changeRows && !again {
		return fmt.Errorf("the board now prints %d columns, as in %q, instead of %d: %w", key.columns, printable(line, 40), len(d.columns), acquire.ErrChanged)
	}
	if key.hash != 0 { // "gain: 10"
		d.say(line)
		return nil
	}
	d.bad(line)
	return nil
}

// stamp is what the board's clock and counter say of a row.
type stamp struct {
	seqStep, timeStep       int64
	seqVerdict, timeVerdict int
	seq, ticks              int64
	fraction                float64
	behind                  bool // one of them stands a little before the line before
}

// readStamp reads the clock and the counter of d.values without taking them.
func (d *LineDecoder) readStamp() (s stamp) {
	if d.seqColumn >= 0 {
		v := d.values[d.seqColumn]
		s.seq = v.mantissa / powersOfTen[v.digits]
		s.seqStep, s.seqVerdict = d.sequence.peek(s.seq)
		if v.missing {
			s.seqVerdict = stepDoubtful
		}
		s.behind = !v.missing && s.seqVerdict == stepDoubtful && d.sequence.behind(s.seq)
	}
	if d.timeColumn >= 0 {
		v := d.values[d.timeColumn]
		s.ticks, s.fraction = d.columns[d.timeColumn].ticks(v)
		s.timeStep, s.timeVerdict = d.time.peek(s.ticks)
		if v.missing {
			s.timeVerdict = stepDoubtful
		}
		s.behind = s.behind || !v.missing && s.timeVerdict == stepDoubtful && d.time.behind(s.ticks)
	}
	return s
}

// doubtful remembers what the next line must confirm; false when nothing is in doubt.
func (d *LineDecoder) doubtful(s stamp) bool {
	if s.seqVerdict == stepDoubtful {
		d.sequence.doubt(s.seq)
	}
	if s.timeVerdict == stepDoubtful {
		d.time.doubt(s.ticks)
	}
	return s.seqVerdict == stepDoubtful || s.timeVerdict == stepDoubtful
}

// takeStamp takes a row's clock and counter.
func (d *LineDecoder) takeStamp(s stamp) (seconds float64, lost int64, jump bool) {
	if d.seqColumn >= 0 {
		switch s.seqVerdict {
		case stepOn:
			lost = max(0, s.seqStep-1)
		case stepRestart:
			lost, jump = 1, true // the line in doubt
		}
		d.sequence.commit(s.seq, s.seqStep, s.seqVerdict)
	}
	if d.timeColumn >= 0 {
		jump = jump || s.timeVerdict == stepRestart
		d.time.commit(s.ticks, s.timeStep, s.timeVerdict)
		seconds = (float64(d.time.total) + s.fraction) / d.columns[d.timeColumn].perSecond()
	}
	return seconds, lost, jump
}

// sample makes a sample of d.values.
func (d *LineDecoder) sample(line []byte) error {
	s := d.readStamp()
	if d.doubtful(s) {
		if s.behind {
			d.outOfOrder++
		} else {
			d.bad(line)
		}
		return nil
	}
	seconds, lost, jump := d.takeStamp(s)
	if jump {
		d.say([]byte("(the board started anew)"))
	}
	rounded := d.count()
	d.read++
	d.lostTotal += lost
	if d.windowRows++; d.windowRows > roundWindow {
		d.windowRows, d.windowRound = 1, 0
	}
	if err := d.place(seconds, lost, jump); err != nil {
		return err
	}
	if rounded {
		if d.windowRound++; d.windowRound > roundLimit && !d.saturatedDigits() {
			return fmt.Errorf("the board now prints more decimals than when it was opened, as in %q: %w", printable(line, 60), acquire.ErrChanged)
		}
	}
	return nil
}

// count makes counts of d.values in d.row and tells whether one was rounded.
func (d *LineDecoder) count() (rounded bool) {
	for k := range d.columns {
		c := &d.columns[k]
		if c.channel < 0 {
			continue
		}
		v := d.values[k]
		count := acquire.MissingCount
		if v.over {
			d.overflow++
		} else if !v.missing {
			n, exact, ok := v.scaled(c.digits)
			if !ok {
				d.overflow++
			} else {
				count = n
				d.valued |= 1 << c.channel
			}
			if !exact {
				d.rounded++
				rounded = true
			}
		}
		d.row[c.channel] = count
	}
	return rounded
}

// place queues d.row, on the grid if the board stamps its samples.
func (d *LineDecoder) place(seconds float64, lost int64, jump bool) error {
	if d.grid == nil {
		d.push(d.row, seconds, lost, jump)
		return nil
	}
	d.grid.Add(seconds, d.row, lost > 0, jump)
	for _, p := range d.grid.Points() {
		d.push(p.Counts, p.Seconds, p.Lost, p.Jump)
	}
	d.grid.Drop()
	if d.grid.Changed() {
		return fmt.Errorf("the board now samples at quite another rate than %.6g Hz: %w", d.grid.RateHz(), acquire.ErrChanged)
	}
	return nil
}

// saturatedDigits reports whether opening anew could not keep more decimals: the
// counts just taken would not fit 32 bits with their reserve.
func (d *LineDecoder) saturatedDigits() bool {
	for k := range d.columns {
		c := &d.columns[k]
		v := d.values[k]
		if c.channel < 0 || v.missing || int(v.digits) <= c.digits {
			continue
		}
		x := v.float()
		if x < 0 {
			x = -x
		}
		if c.digits < maxCountDigit && x*float64(powersOfTen[c.digits+1])*10 <= 1<<31-1 {
			return false
		}
	}
	return true
}

// Waiting returns how many samples Take would give.
func (d *LineDecoder) Waiting() int { return d.len() }

// Take returns the samples and text read since the last Take. Its slices are
// valid until Rewind, which must be called before the next Feed.
func (d *LineDecoder) Take() acquire.Block { return d.take() }

// Rewind gives the last block's memory back.
func (d *LineDecoder) Rewind() { d.rewind() }

// hints says what a person should know, or "".
func (d *LineDecoder) hints() []string {
	var h []string
	add := func(on bool, format string, values ...any) {
		if on {
			h = append(h, fmt.Sprintf(format, values...))
		}
	}
	add(d.rounded > 0, "%d values rounded to the decimals kept", d.rounded)
	add(d.overflow > 0, "%d values beyond ±2147483647 counts left out: print smaller numbers or fewer decimals", d.overflow)
	add(d.tokens.dialect.comma, "commas are read as decimal marks, since zeros stand after them")
	add(d.tokens.dialect.hex, "numbers are read as hexadecimal, since letters are among them")
	add(d.decimalHint && !d.tokens.dialect.comma, "a comma is read as separating columns, never as a decimal or thousands mark")
	add(d.tooWide, "lines of more than %d numbers are left out: print fewer columns", maxColumns)
	add(d.outOfOrder > 0, "lines whose time or counter is earlier than in the line before are left out: print each sample in the order in which it was taken")
	add(d.late != "", "the board names its columns %s: choose the source again to take the names", d.late)
	if d.grid != nil {
		made, taken := d.grid.Made()
		add(made > taken/20, "samples come unevenly and are put on an even grid of %.6g Hz by the board's own times (cubic interpolation)", d.grid.RateHz())
		n, long, every := d.grid.Pauses()
		add(n == 1, "the board paused once, for %.0f ms: this is a gap", 1000*long)
		add(n > 1, "the board paused %d times so far, for %.0f ms every %.1f s in the mean (does it draw a display then?): these are gaps", n, 1000*long, every)
	}
	add(d.clustered, "several samples share one time, so the board's times are not used: print each sample's own time, or none")
	if d.read >= noValueRows {
		for i, c := range d.format.Channels {
			add(d.valued>>i&1 == 0, "%s has had no number so far", c.Label)
		}
	}
	return h
}
