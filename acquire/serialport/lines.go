package serialport

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"pulsewright/acquire"
)

const (
	maxLine       = 4096 // bytes in a line
	maxColumns    = 32
	maxNameBytes  = 32
	maxLearntRows = 1 << 16 // rows kept until the format is settled
	changeRows    = 5       // odd rows alike in a row that are a changed format
	roundWindow   = 100     // rows over which rounding is judged
	roundLimit    = 20      // of them with rounding are a changed format
	noValueRows   = 50      // without a number in a column are worth telling
	maxCountDigit = 9       // 10^9 is the highest power of ten in an int32
)

// Format is what a decoder learnt about the stream.
type Format struct {
	// Channels without calibration by bits and reference.
	Channels []acquire.Channel
	// ClaimedRateHz is 0 when the board claims none.
	ClaimedRateHz float64
	// BoardClock is true when blocks have BoardSeconds.
	BoardClock bool
	// Counter is true when losses are counted from the board's own counter.
	Counter bool
}

type role int8

const (
	roleChannel role = iota
	roleMicros
	roleMillis
	roleSequence
	roleIgnored // a second clock
)

type column struct {
	name, unit string
	role       role
	digits     int
	channel    int
}

type field struct {
	value      number
	name, unit []byte // of a pair, else nil; valid until the line ends
}

// shape is a kind of row seen while learning.
type shape struct {
	columns int
	hash    uint64 // of the names of pairs, 0 without names
	names   []string
	units   []string
	rows    int
	bytes   int64
}

// LineDecoder reads samples from the text a board prints; see the package
// comment for the language. It first learns: rows are kept until Settle fixes
// channels and digits. From then on Feed turns lines into samples, which Take
// hands out. It does not allocate per line once settled, but for text.
type LineDecoder struct {
	queue
	stats

	// Lines from bytes.
	partial  []byte
	first    bool // the first line, possibly torn, is not over yet
	overlong bool

	// Learning.
	settled   bool
	rows      []number
	rowShapes []int16
	shapes    []shape
	replay    int // next row to replay, and its place in rows
	replayAt  int
	textBytes int64
	badBytes  int64

	// A header seen and not yet followed by a row.
	waiting       []string
	waitingUnits  []string
	waitingText   []byte
	waitingStrict bool
	header        []string // confirmed
	headerUnits   []string
	headerRow     int

	names     []string // given by the user, or nil
	claimedHz float64

	// Settled.
	columns    []column
	pairs      bool
	format     Format
	sequence   boardClock
	time       boardClock
	timeColumn int
	seqColumn  int
	values     []number
	row        []int32

	odd         shapeKey
	oddInARow   int
	windowRows  int
	windowRound int
	decimalHint bool   // commas seem to be meant as decimal or thousands marks
	valued      uint64 // channels that had a number

	fields   [maxColumns]field
	fieldN   int
	trailing bool // the line ended with a separator
}

type shapeKey struct {
	columns int
	hash    uint64
}

// NewLineDecoder returns a decoder for a stream that may begin within a line.
// names, one per column with clock columns, stand in for a header; nil for none.
func NewLineDecoder(names []string) *LineDecoder {
	return &LineDecoder{first: true, names: names, partial: make([]byte, 0, maxLine),
		timeColumn: -1, seqColumn: -1}
}

// StartOfLine says that the stream's next byte begins a line (the board was
// quiet before it), so that the first line is not dropped.
func (d *LineDecoder) StartOfLine() {
	if len(d.partial) == 0 {
		d.first = false
	}
}

// Feed reads bytes and returns how many it took: all of them, or fewer when a
// sample must begin a new block, and then Take must be called before it takes
// more. Any cutting of the stream into pieces gives the same samples. The error
// wraps acquire.ErrChanged and is final.
func (d *LineDecoder) Feed(p []byte) (int, error) {
	for d.settled && d.replay < len(d.rowShapes) {
		if d.held {
			return 0, nil
		}
		if err := d.replayRow(); err != nil {
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
		d.badBytes += int64(len(p))
		return
	}
	if len(d.partial)+len(p) > maxLine {
		d.badBytes += int64(len(d.partial) + len(p))
		room := maxLine - len(d.partial)
		d.partial = append(d.partial, p[:room]...)
		if !d.first {
			d.bad(d.partial)
		}
		d.overlong = true
		d.partial = d.partial[:0]
		return
	}
	d.partial = append(d.partial, p...)
}

func (d *LineDecoder) endLine(line []byte) error {
	first, overlong := d.first, d.overlong
	if len(line) == 0 && !overlong {
		if first && len(d.partial) == 0 {
			d.first = false
		}
		return nil
	}
	d.first, d.overlong = false, false
	if overlong {
		return nil
	}
	if first {
		return d.firstLine(line)
	}
	if len(line) > maxLine { // a whole one within a single piece
		d.badBytes += int64(len(line))
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
	if names, units, strict, ok := parseHeader(line); ok && !d.scan(line) {
		d.gotHeader(names, units, strict, nil)
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
			d.badBytes += int64(len(whole))
			d.bad(whole)
		}
		return nil
	}
	if line[0] == '#' {
		d.textBytes += int64(len(line))
		return d.comment(line[1:])
	}
	data := line
	if at := bytes.IndexByte(line, '#'); at > 0 && line[at-1] != '.' { // 1.#INF is no 1
		data = trim(line[:at])
	}
	if d.scan(data) {
		return d.gotRow(line)
	}
	if c := line[0]; c >= '0' && c <= '9' || c == ',' || c == ';' || c == '.' ||
		(c == '-' || c == '+') && len(line) > 1 && (line[1] == '.' || line[1] >= '0' && line[1] <= '9') ||
		!isText(line) {
		d.badBytes += int64(len(whole))
		d.bad(whole)
		return nil
	}
	d.textBytes += int64(len(line))
	if names, units, strict, ok := parseHeader(data); ok {
		d.gotHeader(names, units, strict, line)
		return nil
	}
	d.say(line)
	return nil
}

func trim(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t' || b[len(b)-1] == 0) {
		b = b[:len(b)-1]
	}
	return b
}

// isText reports printable UTF-8 with at least one letter or more than a few signs.
func isText(b []byte) bool {
	letters := 0
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		if r == utf8.RuneError && n <= 1 || r < 0x20 && r != '\t' || r >= 0x7f && r < 0xa0 {
			return false
		}
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= 0xa0 {
			letters++
		}
		b = b[n:]
	}
	return letters > 0
}

// scan splits a line into fields; false when it is not a row.
func (d *LineDecoder) scan(b []byte) bool {
	d.fieldN, d.trailing = 0, false
	i, comma, semicolon, named, padded := 0, false, false, 0, 0
	for {
		i = skipSoft(b, i)
		if i >= len(b) {
			break
		}
		if d.fieldN == maxColumns {
			return false
		}
		f := &d.fields[d.fieldN]
		f.name, f.unit = nil, nil
		d.trailing = false
		if b[i] == ',' || b[i] == ';' {
			f.value = number{missing: true}
		} else {
			start := i
			i = tokenEnd(b, i)
			token := b[start:i]
			if j := skipSoft(b, i); isNameStart(token) && j < len(b) && (b[j] == ':' || b[j] == '=' || b[j] == '[') {
				f.name = token
				if b[j] == '[' {
					end := bytes.IndexByte(b[j:], ']')
					if end < 0 {
						return false
					}
					f.unit = trim(b[j+1 : j+end])
					j = skipSoft(b, j+end+1)
					if j >= len(b) || b[j] != ':' && b[j] != '=' {
						return false
					}
				}
				named++
				i = skipSoft(b, j+1)
				start = i
				i = tokenEnd(b, i)
				token = b[start:i]
			}
			var ok bool
			if len(token) == 0 && f.name != nil {
				f.value, ok = number{missing: true}, true
			} else {
				f.value, ok = parseNumber(token)
			}
			if !ok {
				return false
			}
			if len(token) > 1 && token[0] == '0' && token[1] >= '0' && token[1] <= '9' && (d.fieldN == 0 || b[start-1] == ',') {
				padded |= 1 << d.fieldN
			}
			end := i
			i = skipSoft(b, i)
			if i < len(b) && i == end && b[i] != ',' && b[i] != ';' {
				return false // "12:30"
			}
		}
		d.fieldN++
		if i < len(b) && (b[i] == ',' || b[i] == ';') {
			comma = comma || b[i] == ','
			semicolon = semicolon || b[i] == ';'
			d.trailing = true
			i++
		}
	}
	if d.fieldN == 0 || named != 0 && named != d.fieldN {
		return false
	}
	if comma && semicolon || padded > 1 && padded&1 == 0 { // 2,050
		d.decimalHint = true
	}
	return true
}

func skipSoft(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\t') {
		i++
	}
	return i
}

func tokenEnd(b []byte, i int) int {
	for i < len(b) {
		switch b[i] {
		case ' ', '\t', ',', ';', ':', '=', '[':
			return i
		}
		i++
	}
	return i
}

func isNameStart(b []byte) bool {
	if len(b) == 0 || len(b) > maxNameBytes {
		return false
	}
	c := b[0]
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' || c >= 0x80 && utf8.Valid(b)
}

// parseHeader reads names and units. strict is true when the names are told
// apart by commas, semicolons or tabs and not merely by spaces.
func parseHeader(b []byte) (names, units []string, strict, ok bool) {
	text := string(b)
	strict = strings.ContainsAny(text, ",;\t")
	var parts []string
	if strict {
		parts = strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == '\t' })
	} else {
		for _, w := range strings.Fields(text) {
			if strings.HasPrefix(w, "[") && len(parts) > 0 {
				parts[len(parts)-1] += w
			} else {
				parts = append(parts, w)
			}
		}
	}
	if len(parts) > maxColumns {
		return nil, nil, false, false
	}
	for _, p := range parts {
		name, unit := strings.Trim(strings.TrimSpace(p), `"`), ""
		if at := strings.IndexByte(name, '['); at >= 0 {
			end := strings.IndexByte(name, ']')
			if end != len(name)-1 {
				return nil, nil, false, false
			}
			name, unit = strings.TrimSpace(name[:at]), strings.TrimSpace(name[at+1:end])
		}
		if !isNameStart([]byte(name)) || strings.ContainsAny(name, "!?:=<>|*{}\\") || strings.HasSuffix(name, ".") ||
			len(unit) > maxNameBytes {
			return nil, nil, false, false
		}
		names, units = append(names, name), append(units, unit)
	}
	return names, units, strict, len(names) > 0
}

// gotHeader keeps a possible header until the next row tells.
func (d *LineDecoder) gotHeader(names, units []string, strict bool, line []byte) {
	d.dismissHeader()
	d.waiting, d.waitingUnits, d.waitingStrict = names, units, strict
	d.waitingText = append(d.waitingText[:0], line...)
}

// dismissHeader passes on a line that was no header as text.
func (d *LineDecoder) dismissHeader() {
	if d.waiting != nil {
		d.waiting = nil
		if len(d.waitingText) > 0 { // else a first line, perhaps torn
			d.say(d.waitingText)
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

// comment reads what may stand after a #: "rate 250 Hz".
func (d *LineDecoder) comment(b []byte) error {
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

// gotRow takes the fields scan found.
func (d *LineDecoder) gotRow(line []byte) error {
	if d.settled {
		return d.settledRow(line)
	}
	if len(d.rowShapes) >= maxLearntRows {
		return fmt.Errorf("serialport: more than %d lines before the format was settled", maxLearntRows)
	}
	key := d.key()
	at := -1
	for i := range d.shapes {
		if d.shapes[i].columns == key.columns && d.shapes[i].hash == key.hash {
			at = i
		}
	}
	if at < 0 {
		if len(d.shapes) >= 64 { // garbage; a board has one or two
			d.badBytes += int64(len(line))
			d.bad(line)
			return nil
		}
		s := shape{columns: key.columns, hash: key.hash}
		if key.hash != 0 {
			for _, f := range d.fields[:d.fieldN] {
				s.names, s.units = append(s.names, string(f.name)), append(s.units, string(f.unit))
			}
		}
		at = len(d.shapes)
		d.shapes = append(d.shapes, s)
	}
	if d.waiting != nil {
		if len(d.waiting) == key.columns && key.hash == 0 {
			if !slices.Equal(d.header, d.waiting) || !slices.Equal(d.headerUnits, d.waitingUnits) {
				d.header, d.headerUnits, d.headerRow = d.waiting, d.waitingUnits, len(d.rowShapes)
			}
			d.waiting = nil
		} else {
			d.dismissHeader()
		}
	}
	d.shapes[at].rows++
	d.shapes[at].bytes += int64(len(line))
	d.rowShapes = append(d.rowShapes, int16(at))
	for _, f := range d.fields[:d.fieldN] {
		d.rows = append(d.rows, f.value)
	}
	return nil
}

// key identifies the columns of the line just scanned (FNV-1a over the names).
func (d *LineDecoder) key() shapeKey {
	k := shapeKey{columns: d.fieldN}
	if d.fields[0].name != nil {
		h := uint64(14695981039346656037)
		for _, f := range d.fields[:d.fieldN] {
			for _, c := range f.name {
				h = (h ^ uint64(c)) * 1099511628211
			}
			h = (h ^ ',') * 1099511628211
		}
		k.hash = h | 1
	}
	return k
}

// Rows returns how many rows of the commonest shape were read while learning,
// and how readable the stream is, from 0 to 1: the share of bytes in those rows,
// text counted half. It serves to find the baud rate and to know when to Settle.
func (d *LineDecoder) Rows() (rows int, readable float64) {
	var good, other int64
	for _, s := range d.shapes {
		if s.rows > rows {
			rows, good = s.rows, s.bytes
		}
		other += s.bytes
	}
	all := other + d.badBytes + d.textBytes/2
	if len(d.partial) > 64 {
		all += int64(len(d.partial))
	}
	if all == 0 {
		return rows, 0
	}
	return rows, float64(good) / float64(all)
}

// Settle fixes the format from what was fed so far: the commonest shape of row,
// the names, and each channel's digits. The rows read so far become samples.
// Errors: no row yet, no channel among the columns, names of another number.
func (d *LineDecoder) Settle() (Format, error) {
	if d.settled {
		return d.format, nil
	}
	d.dismissHeader()
	from := 0
	if d.header != nil {
		from = d.headerRow
	}
	count := make([]int, len(d.shapes))
	best := -1
	for _, s := range d.rowShapes[from:] {
		count[s]++
	}
	for i, n := range count {
		if n > 0 && (best < 0 || n >= count[best]) {
			best = i
		}
	}
	if best < 0 {
		return Format{}, fmt.Errorf("no readable line yet")
	}
	s := d.shapes[best]
	names, units := s.names, s.units
	d.pairs = names != nil
	if names == nil && len(d.header) == s.columns {
		names, units = d.header, d.headerUnits
	}
	if d.names != nil {
		if len(d.names) != s.columns {
			return Format{}, fmt.Errorf("the option names lists %d names but the board prints %d columns: name every column, in order",
				len(d.names), s.columns)
		}
		if names == nil {
			units = make([]string, s.columns)
		}
		given := d.names
		if d.pairs { // keep what the lines say, to match them
			given = names
		}
		names = given
	}
	d.columns = make([]column, s.columns)
	d.values = make([]number, s.columns)
	channels := 0
	for i := range d.columns {
		c := &d.columns[i]
		c.channel = -1
		if names != nil {
			c.name, c.unit = names[i], units[i]
		}
		shown := c.name
		if d.names != nil {
			shown = d.names[i]
		}
		switch r := roleOf(shown); {
		case r == roleChannel:
			c.channel = channels
			channels++
		case r == roleSequence && d.seqColumn < 0:
			c.role, d.seqColumn = r, i
		case r != roleSequence && d.timeColumn < 0:
			c.role, d.timeColumn = r, i
		default:
			c.role = roleIgnored
		}
	}
	if channels == 0 {
		d.timeColumn, d.seqColumn = -1, -1
		return Format{}, fmt.Errorf("the board prints its clock and no other column: print at least one value beside it")
	}
	d.chooseDigits(from, best)
	d.sequence = boardClock{bigStep: 1000, goOn: 16, eightBit: true}
	perSecond := int64(1_000_000)
	if d.timeColumn >= 0 && d.columns[d.timeColumn].role == roleMillis {
		perSecond = 1000
	}
	d.time = boardClock{bigStep: 10 * perSecond, goOn: perSecond}
	d.format = d.describe(channels)
	d.queue.init(channels, d.timeColumn >= 0)
	d.row = make([]int32, channels)
	// Rows before a header were those before a reset.
	at := 0
	for i := 0; i < from; i++ {
		at += d.shapes[d.rowShapes[i]].columns
	}
	d.replay, d.replayAt = from, at
	d.settled = true
	return d.format, nil
}

func roleOf(name string) role {
	switch strings.ToLower(name) {
	case "t_us":
		return roleMicros
	case "t_ms":
		return roleMillis
	case "seq":
		return roleSequence
	}
	return roleChannel
}

// chooseDigits sets each column's digits: the most decimals seen that leave
// room for counts ten times as large as seen.
func (d *LineDecoder) chooseDigits(from, best int) {
	at := 0
	for pass := 0; pass < 2; pass++ {
		at = 0
		for i, s := range d.rowShapes {
			n := d.shapes[s].columns
			if i >= from && int(s) == best {
				for k, v := range d.rows[at : at+n] {
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
			}
			at += n
		}
	}
}

// describe makes the channels known so far.
func (d *LineDecoder) describe(channels int) Format {
	f := Format{ClaimedRateHz: d.claimedHz, BoardClock: d.timeColumn >= 0, Counter: d.seqColumn >= 0}
	used := map[string]bool{}
	for i, c := range d.columns {
		if c.role != roleChannel {
			continue
		}
		label := c.name
		if d.names != nil {
			label = d.names[i]
		}
		f.Channels = append(f.Channels, newChannel(label, c.unit, c.digits, len(f.Channels), used))
	}
	return f
}

// newChannel describes a channel by what the board says of it; used makes
// labels unique.
func newChannel(label, unit string, digits, index int, used map[string]bool) acquire.Channel {
	if label == "" {
		label = fmt.Sprintf("ch%d", index+1)
	}
	base := label
	for n := 2; used[label]; n++ {
		label = fmt.Sprintf("%s %d", base, n)
	}
	used[label] = true
	c := acquire.Channel{Label: label, Kind: acquire.KindOfLabel(label), Digits: digits}
	perUnit := 0.0
	switch unit {
	case "V", "v":
		c.Unit, perUnit = "V", 1
	case "mV", "mv":
		c.Unit, perUnit = "V", 1e3
	case "uV", "µV", "μV", "uv":
		c.Unit, perUnit = "V", 1e6
	case "nV":
		c.Unit, perUnit = "V", 1e9
	default:
		switch strings.ToLower(unit) {
		case "", "count", "counts", "lsb", "adc", "raw":
		default:
			c.Unit, perUnit = unit, 1
		}
	}
	if perUnit != 0 {
		c.VoltsPerCount = 1 / (perUnit * float64(powersOfTen[digits]))
	}
	return c
}

// replayRow makes a sample of the next row read while learning.
func (d *LineDecoder) replayRow() error {
	s := d.shapes[d.rowShapes[d.replay]]
	row := d.rows[d.replayAt : d.replayAt+s.columns]
	d.replay++
	d.replayAt += s.columns
	if d.replay == len(d.rowShapes) {
		defer func() { d.rows, d.rowShapes, d.replay = nil, nil, 0 }()
	}
	if s.columns != len(d.columns) || (s.names != nil) != d.pairs {
		d.bad([]byte(fmt.Sprintf("(a line of %d columns instead of %d)", s.columns, len(d.columns))))
		return nil
	}
	if d.pairs {
		for i, name := range s.names {
			k := d.columnNamed([]byte(name), i)
			if k < 0 {
				d.bad([]byte(name + ": …"))
				return nil
			}
			d.values[k] = row[i]
		}
	} else {
		copy(d.values, row)
	}
	return d.sample(nil)
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

// settledRow makes a sample of the line just scanned, or counts it as odd.
func (d *LineDecoder) settledRow(line []byte) error {
	if d.waiting != nil {
		if err := d.laterHeader(); err != nil {
			return err
		}
	}
	n := d.fieldN
	named := d.fields[0].name != nil
	if d.trailing && !named && n+1 == len(d.columns) {
		d.fields[n] = field{value: number{missing: true}}
		n++
	}
	if n != len(d.columns) || named != d.pairs {
		return d.oddRow(line)
	}
	for i := range d.fields[:n] {
		k := i
		if named {
			if k = d.columnNamed(d.fields[i].name, i); k < 0 {
				return d.oddRow(line)
			}
		}
		d.values[k] = d.fields[i].value
	}
	d.oddInARow = 0
	return d.sample(line)
}

// laterHeader judges a header-like line followed by a row after settling: the
// known header printed again is skipped, other names in its place are a change.
func (d *LineDecoder) laterHeader() error {
	names := d.waiting
	same := len(names) == len(d.columns) && d.fieldN == len(names)
	for i := 0; same && i < len(names); i++ {
		same = names[i] == d.columns[i].name && d.waitingUnits[i] == d.columns[i].unit
	}
	if same {
		d.waiting = nil
		return nil
	}
	if d.waitingStrict && d.names == nil && !d.pairs && len(names) > 1 && len(names) == len(d.columns) && d.fieldN == len(names) {
		return fmt.Errorf("the board now names its columns %q: %w", printable(d.waitingText, maxTextBytes), acquire.ErrChanged)
	}
	d.dismissHeader()
	return nil
}

func (d *LineDecoder) oddRow(line []byte) error {
	key := d.key()
	if key != d.odd {
		d.odd, d.oddInARow = key, 0
	}
	d.oddInARow++
	if d.oddInARow >= changeRows {
		return fmt.Errorf("the board now prints %d columns, as in %q, instead of %d: %w", key.columns, printable(line, 40), len(d.columns), acquire.ErrChanged)
	}
	if key.hash != 0 { // "gain: 10"
		d.say(line)
		return nil
	}
	d.bad(line)
	return nil
}

// sample makes a sample of d.values.
func (d *LineDecoder) sample(line []byte) error {
	var lost int64
	var jump bool
	var seqStep, timeStep int64
	var seqVerdict, timeVerdict int
	var seq, ticks int64
	var fraction, seconds float64
	if d.seqColumn >= 0 {
		v := d.values[d.seqColumn]
		seq = v.mantissa / powersOfTen[v.digits]
		seqStep, seqVerdict = d.sequence.peek(seq)
		if v.missing {
			seqVerdict = stepDoubtful
		}
	}
	if d.timeColumn >= 0 {
		v := d.values[d.timeColumn]
		p := powersOfTen[v.digits]
		ticks = v.mantissa / p
		fraction = float64(v.mantissa%p) / float64(p)
		timeStep, timeVerdict = d.time.peek(ticks)
		if v.missing {
			timeVerdict = stepDoubtful
		}
	}
	if seqVerdict == stepDoubtful || timeVerdict == stepDoubtful {
		if seqVerdict == stepDoubtful {
			d.sequence.doubt(seq)
		}
		if timeVerdict == stepDoubtful {
			d.time.doubt(ticks)
		}
		if line == nil {
			line = []byte("(the board's clock stepped once)")
		}
		d.bad(line)
		return nil
	}
	if d.seqColumn >= 0 {
		switch seqVerdict {
		case stepOn:
			lost = max(0, seqStep-1)
		case stepRestart:
			lost, jump = 1, true // the line in doubt
		}
		d.sequence.commit(seq, seqStep, seqVerdict)
	}
	if d.timeColumn >= 0 {
		if timeVerdict == stepRestart {
			jump = true
		}
		d.time.commit(ticks, timeStep, timeVerdict)
		perSecond := 1e6
		if d.columns[d.timeColumn].role == roleMillis {
			perSecond = 1e3
		}
		seconds = (float64(d.time.total) + fraction) / perSecond
	}
	if jump {
		d.say([]byte("(the board started anew)"))
	}
	rounded := false
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
	d.read++
	d.lostTotal += lost
	if d.windowRows++; d.windowRows > roundWindow {
		d.windowRows, d.windowRound = 1, 0
	}
	d.push(d.row, seconds, lost, jump)
	if rounded && line != nil {
		if d.windowRound++; d.windowRound > roundLimit && !d.saturatedDigits() {
			return fmt.Errorf("the board now prints more decimals than when it was opened, as in %q: %w", printable(line, 60), acquire.ErrChanged)
		}
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
	if d.rounded > 0 {
		h = append(h, fmt.Sprintf("%d values rounded to the decimals kept", d.rounded))
	}
	if d.overflow > 0 {
		h = append(h, fmt.Sprintf("%d values beyond ±2147483647 counts left out: print smaller numbers or fewer decimals", d.overflow))
	}
	if d.decimalHint {
		h = append(h, "a comma is read as separating columns, never as a decimal or thousands mark")
	}
	if d.read >= noValueRows {
		for i, c := range d.format.Channels {
			if d.valued>>i&1 == 0 {
				h = append(h, c.Label+" has had no number so far")
			}
		}
	}
	return h
}
