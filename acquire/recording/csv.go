package recording

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

// csvMaxLine bounds a line, so that a binary file or an endless line is refused.
const csvMaxLine = 1 << 20

// csvLook is how many rows are looked at to tell separator, header and clock.
const csvLook = 200_000

// csvReader splits text into rows of fields. Fields are as in RFC 4180: quotes
// may enclose separators, doubled quotes and line ends.
type csvReader struct {
	r         *bufio.Reader
	separator byte // ' ' means any run of blanks
	line      int  // of the row last read
	next      int
	fields    []string
	comment   func(text string)
	buffer    []byte
}

var errLongLine = fmt.Errorf("a line of more than %d bytes", csvMaxLine)

func newCSVReader(in *input, separator byte) *csvReader {
	r := bufio.NewReaderSize(io.NewSectionReader(in, 0, in.size), 1<<16)
	if b, _ := r.Peek(3); string(b) == "\xef\xbb\xbf" {
		r.Discard(3)
	}
	return &csvReader{r: r, separator: separator}
}

// text returns the next line without its end, blank ones and comments left out.
func (c *csvReader) text() (string, error) {
	for {
		c.next++
		c.line = c.next
		line, err := c.raw()
		if err != nil {
			return "", err
		}
		t := strings.TrimLeft(line, " \t")
		if t == "" {
			continue
		}
		if t[0] == '#' {
			if c.comment != nil {
				c.comment(strings.TrimSpace(t[1:]))
			}
			continue
		}
		return line, nil
	}
}

func (c *csvReader) raw() (string, error) {
	b, err := c.r.ReadSlice('\n')
	if err == bufio.ErrBufferFull {
		c.buffer = append(c.buffer[:0], b...)
		for err == bufio.ErrBufferFull && len(c.buffer) <= csvMaxLine {
			b, err = c.r.ReadSlice('\n')
			c.buffer = append(c.buffer, b...)
		}
		b = c.buffer
	}
	if len(b) > csvMaxLine {
		return "", errLongLine
	}
	if err != nil && (err != io.EOF || len(b) == 0) {
		return "", err
	}
	s := string(b)
	s = strings.TrimSuffix(s, "\n")
	return strings.TrimSuffix(s, "\r"), nil
}

// row returns the next row's fields, valid until the next call.
func (c *csvReader) row() ([]string, error) {
	line, err := c.text()
	if err != nil {
		return nil, err
	}
	for strings.Count(line, `"`)%2 == 1 && len(line) < 1<<16 {
		c.next++
		more, err := c.raw()
		if err != nil {
			break
		}
		line += "\n" + more
	}
	c.fields = splitRow(c.fields[:0], line, c.separator)
	return c.fields, nil
}

// splitRow appends the fields of one row, blanks around them removed.
func splitRow(fields []string, line string, separator byte) []string {
	if separator == ' ' {
		return append(fields, strings.Fields(line)...)
	}
	if strings.IndexByte(line, '"') < 0 {
		for {
			i := strings.IndexByte(line, separator)
			if i < 0 {
				return append(fields, strings.TrimSpace(line))
			}
			fields = append(fields, strings.TrimSpace(line[:i]))
			line = line[i+1:]
		}
	}
	var b strings.Builder
	quoted := false
	for i := 0; i < len(line); i++ {
		switch ch := line[i]; {
		case ch == '"' && quoted && i+1 < len(line) && line[i+1] == '"':
			b.WriteByte('"')
			i++
		case ch == '"':
			quoted = !quoted
		case ch == separator && !quoted:
			fields = append(fields, strings.TrimSpace(b.String()))
			b.Reset()
		default:
			b.WriteByte(ch)
		}
	}
	return append(fields, strings.TrimSpace(b.String()))
}

// decimal reads a plain decimal number as mantissa / 10^digits. ok is false for
// anything else, exponents and too many digits included.
func decimal(s string, point byte) (mantissa int64, digits int, ok bool) {
	neg := false
	if s != "" && (s[0] == '-' || s[0] == '+') {
		neg = s[0] == '-'
		s = s[1:]
	}
	if s == "" || len(s) > 18 {
		return 0, 0, false
	}
	seen, any := false, false
	for i := 0; i < len(s); i++ {
		switch ch := s[i]; {
		case '0' <= ch && ch <= '9':
			mantissa = mantissa*10 + int64(ch-'0')
			any = true
			if seen {
				digits++
			}
		case ch == point && !seen:
			seen = true
		default:
			return 0, 0, false
		}
	}
	if neg {
		mantissa = -mantissa
	}
	return mantissa, digits, any
}

// number reads any finite number, and how many decimals its text has.
func number(s string, point byte) (x float64, digits int, ok bool) {
	if m, d, ok := decimal(s, point); ok {
		return float64(m) / math.Pow10(d), d, true
	}
	if point == ',' {
		s = strings.Replace(s, ",", ".", 1)
	}
	if s == "" || !strings.ContainsRune("+-.0123456789", rune(s[0])) || strings.ContainsAny(s, "xX_pP") {
		return 0, 0, false
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return 0, 0, false
	}
	mantissa, exponent, _ := strings.Cut(strings.ToLower(s), "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	e, _ := strconv.Atoi(exponent)
	return x, max(len(fraction)-e, 0), true
}

// missingWord tells a text for "no value here".
func missingWord(s string) bool {
	switch strings.ToLower(s) {
	case "", "nan", "na", "n/a", "null", "none", "-", "?", "inf", "-inf", "+inf":
		return true
	}
	return false
}

// csvColumn is what the first pass learns of a column.
type csvColumn struct {
	name, unit string
	digits     int     // most decimals seen
	high       float64 // greatest magnitude seen
	rounded    bool
}

// clockKind is what a column tells of time.
type clockKind int

const (
	noClock clockKind = iota
	secondsClock
	textClock // h:mm:ss.s or a date and time
	countClock
)

var rateInComment = regexp.MustCompile(`(?i)([0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?)\s*(k?)Hz\b`)

// scaleInComment reads a line like "mV = (adc-2048)/130" for all channels.
var scaleInComment = regexp.MustCompile(`(?i)\b([munµ]?V) = \([a-z]+ ?- ?([0-9.]+)\) ?/ ?([0-9.]+)`)

// splitUnit takes "pulse [mV]" or "pulse (mV)" apart.
func splitUnit(s string) (name, unit string) {
	s = strings.TrimSpace(strings.Trim(strings.TrimSpace(s), "'"))
	for _, pair := range []string{"[]", "()"} {
		if i := strings.LastIndexByte(s, pair[0]); i > 0 && s[len(s)-1] == pair[1] {
			return strings.TrimSpace(s[:i]), strings.TrimSpace(s[i+1 : len(s)-1])
		}
	}
	return s, ""
}

// clockOf tells from a column's name whether it is a clock, and its step in seconds.
func clockOf(name, unit string) (clockKind, float64) {
	n := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(name, " ", "_"), "-", "_"))
	step := 1.0
	switch strings.ToLower(unit) {
	case "", "s", "sec", "second", "seconds", "hh:mm:ss.mmm":
	case "ms", "msec", "milliseconds":
		step = 1e-3
	case "us", "µs", "μs", "usec", "microseconds":
		step = 1e-6
	case "ns":
		step = 1e-9
	case "min", "minutes":
		step = 60
	default:
		return noClock, 0
	}
	switch n {
	case "t", "time", "elapsed_time", "elapsed", "timestamp", "datetime", "date_time", "clock":
		return secondsClock, step
	case "s", "sec", "secs", "seconds", "t_s", "time_s", "t_sec", "time_sec", "time_seconds", "timestamp_s":
		return secondsClock, 1
	case "ms", "t_ms", "time_ms", "millis", "timestamp_ms", "milliseconds":
		return secondsClock, 1e-3
	case "us", "t_us", "time_us", "micros", "timestamp_us", "microseconds":
		return secondsClock, 1e-6
	case "ns", "t_ns", "time_ns", "timestamp_ns":
		return secondsClock, 1e-9
	case "sample", "sample#", "sample_#", "samples", "sample_number", "sample_no", "sample_index", "index", "seq", "n", "#", "idx":
		if unit == "" {
			return countClock, 1
		}
	}
	return noClock, 0
}

// clockText reads h:mm:ss.s, mm:ss.s, or a date with a time.
func clockText(s string) (seconds float64, date time.Time, ok bool) {
	s = strings.Trim(s, "'[] ")
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006/01/02 15:04:05"} {
		if t, err := time.ParseInLocation(layout, s, time.Local); err == nil {
			return float64(t.Unix()) + float64(t.Nanosecond())*1e-9, t, true
		}
	}
	parts := strings.Split(s, ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, time.Time{}, false
	}
	for _, p := range parts {
		x, _, ok := number(p, '.')
		if !ok || x < 0 {
			return 0, time.Time{}, false
		}
		seconds = seconds*60 + x
	}
	return seconds, time.Time{}, true
}

// csvPlan is how to read a file.
type csvPlan struct {
	path      string
	separator byte
	point     byte
	header    int // rows to skip before the numbers
	columns   []csvColumn
	clock     int // column, or −1
	kind      clockKind
	step      float64
	channels  []int // columns
}

// look tells separator, header and roles from the first rows.
func look(in *input, path string) (*csvPlan, error) {
	r := newCSVReader(in, 0)
	var lines []string
	for len(lines) < 30 {
		line, err := r.text()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, &FormatError{Path: path, Line: r.line, Reason: err.Error()}
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return nil, &FormatError{Path: path, Line: r.line, Reason: "no row of numbers in it"}
	}
	p := &csvPlan{path: path, point: '.', clock: -1, separator: pickSeparator(lines)}
	tail := lines[len(lines)/2:]
	if p.separator != ',' {
		for _, line := range tail {
			for _, s := range splitRow(nil, line, p.separator) {
				if _, d, ok := decimal(s, ','); ok && d > 0 {
					p.point = ','
				}
			}
		}
	}
	numeric := func(fields []string) (numbers, words int) {
		for _, s := range fields {
			_, _, ok := number(s, p.point)
			if !ok {
				_, _, ok = clockText(s)
			}
			if ok {
				numbers++
			} else if !missingWord(s) {
				words++
			}
		}
		return
	}
	var names []string
	for _, line := range lines {
		fields := splitRow(nil, line, p.separator)
		numbers, words := numeric(fields)
		if numbers > words {
			break // a column of words is no hindrance
		}
		if words == 0 {
			break // a row of blanks
		}
		p.header++
		if p.header > 2 || p.header == len(lines) {
			return nil, &FormatError{Path: path, Line: p.header, Reason: fmt.Sprintf("%q is no row of numbers: a header line may stand first, and a line of units after it, then only numbers", shorten(line))}
		}
		if names == nil {
			names = fields
			for _, s := range fields {
				name, unit := splitUnit(s)
				p.columns = append(p.columns, csvColumn{name: name, unit: unit})
			}
		} else {
			for i, s := range fields {
				if s = strings.Trim(s, "'[]() "); i < len(p.columns) && s != "" && p.columns[i].unit == "" {
					p.columns[i].unit = s
				}
			}
		}
	}
	first := splitRow(nil, lines[min(p.header, len(lines)-1)], p.separator)
	if len(first) > maxChannels {
		return nil, &FormatError{Path: path, Line: p.header + 1, Reason: fmt.Sprintf("%d columns; up to %d can be read", len(first), maxChannels)}
	}
	if names == nil {
		p.columns = make([]csvColumn, len(first))
	}
	if len(p.columns) > maxChannels {
		return nil, &FormatError{Path: path, Line: 1, Reason: fmt.Sprintf("%d columns; up to %d can be read", len(p.columns), maxChannels)}
	}
	for i := range p.columns {
		c := &p.columns[i]
		if kind, step := clockOf(c.name, c.unit); kind != noClock && (p.clock < 0 || p.kind == countClock && kind == secondsClock) {
			p.clock, p.kind, p.step = i, kind, step
		}
	}
	if p.clock >= 0 && p.kind == secondsClock && p.clock < len(first) {
		if _, _, ok := number(first[p.clock], p.point); !ok {
			p.kind, p.step = textClock, 1
		}
	}
	if names == nil && len(first) > 1 {
		p.guessClock(lines)
	}
	for i := range p.columns {
		// A second clock is no signal either.
		if kind, _ := clockOf(p.columns[i].name, p.columns[i].unit); i != p.clock && (kind == noClock || names == nil) {
			p.channels = append(p.channels, i)
		}
	}
	if len(p.channels) == 0 {
		return nil, &FormatError{Path: path, Line: 1, Reason: "only a time column, no signal"}
	}
	return p, nil
}

// guessClock takes a nameless first column as a clock if it rises evenly: by one,
// sample numbers; by less than a second with decimals, seconds.
func (p *csvPlan) guessClock(lines []string) {
	var last, low, high float64
	digits := 0
	low = math.Inf(1)
	if len(lines) < 10 {
		return
	}
	for i, line := range lines {
		fields := splitRow(nil, line, p.separator)
		x, d, ok := number(fields[0], p.point)
		if !ok {
			return
		}
		digits = max(digits, d)
		if i > 0 {
			low, high = min(low, x-last), max(high, x-last)
		}
		last = x
	}
	switch q := math.Pow10(-digits); {
	case digits == 0 && low == 1 && high == 1:
		p.clock, p.kind, p.step = 0, countClock, 1
	case digits > 0 && low > 0 && high < 1 && high-low <= 2.001*q && low > 2*q:
		p.clock, p.kind, p.step = 0, secondsClock, 1
	}
}

// pickSeparator takes the sign that splits most lines into the same number of
// fields, above one.
func pickSeparator(lines []string) byte {
	best, bestScore := byte(','), 0
	for _, sep := range []byte{'\t', ';', ',', ' '} {
		counts := map[int]int{}
		for _, line := range lines {
			counts[len(splitRow(nil, line, sep))]++
		}
		score := 0
		for n, lines := range counts {
			if n > 1 {
				score = max(score, lines)
			}
		}
		if sep == ' ' && (bestScore > 0 || 2*score <= len(lines)) {
			continue // blanks only when nothing else splits, and more than a header's "pulse [V]"
		}
		if score > bestScore {
			best, bestScore = sep, score
		}
	}
	return best
}

func shorten(s string) string {
	if len(s) > 60 {
		s = s[:57] + "..."
	}
	return safeText(s)
}

func openCSV(in *input, path string, options OpenOptions) (*File, error) {
	p, err := look(in, path)
	if err != nil {
		return nil, err
	}
	facts, err := p.scan(in)
	if err != nil {
		return nil, err
	}
	f := &File{format: "CSV", path: path}
	if facts.odd > 0 {
		f.remark("%d rows have more or fewer than %d fields; fields not there are missing samples", facts.odd, len(p.columns))
	}
	clock := csvClock{plan: p, step: p.step, quantum: p.step * math.Pow10(-facts.timeDigits)}
	if p.clock < 0 || !clock.learn(facts.times) {
		if p.clock >= 0 && p.kind != countClock {
			f.remark("column %q does not tell the sample rate and was not used", p.columns[p.clock].name)
		}
		clock.plan = nil
	}
	p.describe(f, facts)
	store, unread, err := p.read(in, &clock)
	if err != nil {
		return nil, err
	}
	if unread > 0 {
		f.remark("%d fields are not numbers (or above 2,147,483,647 as counts) and are missing samples", unread)
	}
	rate := facts.commentRate
	if facts.meta != nil && facts.meta.RateHz > 0 {
		rate = facts.meta.RateHz
	} else if clock.plan != nil && p.kind != countClock {
		rate = clock.rate(facts.commentRate)
	}
	if rate <= 0 {
		rate = options.RateHz
	}
	if !(rate > 0) || math.IsInf(rate, 0) {
		store.Close()
		return nil, &FormatError{Path: path, Offset: -1, Reason: "the sample rate is not known: no time column and no comment like \"# rate 250 Hz\" tells it; give it, as in -rate 250"}
	}
	f.info.ClaimedRateHz = rate
	f.segments, f.length = clock.segments(store.n)
	if clock.back > 0 {
		f.remark("the clock goes back %d times; the samples follow each other there", clock.back)
	}
	if g := len(f.segments) - 1; g > 0 {
		f.remark("the clock jumps %d times; gaps are kept as missing samples", g)
	}
	f.store = store
	in.Close() // the text is no longer needed
	return f, nil
}

// csvFacts is what the first pass over a file learns besides its columns.
type csvFacts struct {
	commentRate float64 // that a comment tells, 0 for none
	// scale and offset of all channels in volts, as a comment tells; scale 0 for none.
	scale, offset float64
	meta          *settings // of a file this package wrote in counts, else nil
	times         []float64 // the first of the clock, in its own unit
	timeDigits    int
	started       time.Time
	odd           int64 // rows of another number of fields
}

// failed is an error of reading a row.
func (p *csvPlan) failed(r *csvReader, err error) error {
	if err == errLongLine {
		return &FormatError{Path: p.path, Line: r.line, Reason: err.Error()}
	}
	return fmt.Errorf("recording: %s: line %d: %w", p.path, r.line, err)
}

// scan is the first pass: the columns' decimals and magnitudes, comments, the clock's
// first times.
func (p *csvPlan) scan(in *input) (*csvFacts, error) {
	facts := &csvFacts{}
	r := newCSVReader(in, p.separator)
	r.comment = func(text string) { facts.comment(text, len(p.channels)) }
	rows := int64(0)
	for i := 0; ; i++ {
		fields, err := r.row()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, p.failed(r, err)
		}
		if i < p.header {
			continue
		}
		if len(fields) != len(p.columns) {
			facts.odd++
		}
		if p.clock >= 0 && p.clock < len(fields) && len(facts.times) < csvLook {
			if x, d, ok := p.time(fields[p.clock]); ok {
				if p.kind == textClock && facts.started.IsZero() {
					_, facts.started, _ = clockText(fields[p.clock])
				}
				facts.times = append(facts.times, x)
				facts.timeDigits = max(facts.timeDigits, d)
			}
		}
		any := false
		for _, k := range p.channels {
			if k >= len(fields) {
				continue
			}
			if x, d, ok := number(fields[k], p.point); ok {
				any = true
				c := &p.columns[k]
				c.digits, c.high = max(c.digits, d), max(c.high, math.Abs(x))
			}
		}
		if any || len(fields) == len(p.columns) {
			rows++
		}
	}
	if rows == 0 {
		return nil, &FormatError{Path: p.path, Line: r.line, Reason: "no row of numbers in it"}
	}
	return facts, nil
}

// comment looks for a rate, a scale of all channels, and settings of ours.
func (c *csvFacts) comment(text string, channels int) {
	if m := rateInComment.FindStringSubmatch(text); m != nil && c.commentRate == 0 {
		c.commentRate, _ = strconv.ParseFloat(m[1], 64)
		if m[2] != "" {
			c.commentRate *= 1000
		}
	}
	if m := scaleInComment.FindStringSubmatch(text); m != nil && c.scale == 0 {
		unit, _ := unitScale(m[1])
		zero, err1 := strconv.ParseFloat(m[2], 64)
		gain, err2 := strconv.ParseFloat(m[3], 64)
		if err1 == nil && err2 == nil && gain > 0 {
			c.scale, c.offset = unit/gain, -zero*unit/gain
		}
	}
	if rest, ok := strings.CutPrefix(text, textSettings); ok && c.meta == nil {
		c.meta = parseSettings(rest, channels)
	}
}

// describe makes the file's channels of the columns: those that its settings tell, unless
// they were edited since.
func (p *csvPlan) describe(f *File, facts *csvFacts) {
	for i, k := range p.channels {
		c := &p.columns[k]
		// 2^31 − 1 must hold the greatest.
		for c.digits > 0 && (c.digits > 15 || c.high*math.Pow10(c.digits) > math.MaxInt32) {
			c.digits--
			c.rounded = true
		}
		ch := acquire.Channel{Label: c.name, Unit: c.unit, Digits: c.digits}
		if c.name == "" {
			ch.Label = fmt.Sprintf("channel %d", i+1)
		}
		if c.unit != "" {
			ch.VoltsPerCount = math.Pow10(-c.digits)
			if s, ok := unitScale(c.unit); ok {
				ch.Unit = "V"
				ch.VoltsPerCount = s / math.Pow10(c.digits)
			}
		} else if facts.scale != 0 && c.digits == 0 {
			ch.Unit, ch.VoltsPerCount, ch.OffsetVolts = "V", facts.scale, facts.offset
		}
		if c.rounded {
			f.remark("column %q: rounded to %d decimals so that its values fit", ch.Label, c.digits)
		}
		f.info.Channels = append(f.info.Channels, ch)
	}
	f.info.Started = facts.started
	if facts.meta == nil {
		return
	}
	for i, k := range p.channels {
		if p.columns[k].digits > 0 || facts.meta.Channels[i].Label != p.columns[k].name {
			return // edited: these are not the counts
		}
	}
	for i, c := range facts.meta.Channels {
		f.info.Channels[i] = c.channel()
	}
	f.info.Started = facts.meta.Started
}

// read is the second pass: the counts, and the clock's times with them. unread is how many
// fields are no number, or too great.
func (p *csvPlan) read(in *input, clock *csvClock) (store *spool, unread int64, err error) {
	store = &spool{channels: len(p.channels)}
	defer func() {
		if err != nil {
			store.Close()
		}
	}()
	r := newCSVReader(in, p.separator)
	row := make([]int32, len(p.channels))
	for i := 0; ; i++ {
		fields, err := r.row()
		if err == io.EOF {
			break
		}
		if err != nil {
			return store, unread, p.failed(r, err)
		}
		if i < p.header {
			continue
		}
		any := false
		for c, k := range p.channels {
			row[c] = acquire.MissingCount
			if k >= len(fields) || missingWord(fields[k]) {
				continue
			}
			if row[c] = p.count(k, fields[k]); row[c] == acquire.MissingCount {
				unread++
			} else {
				any = true
			}
		}
		if !any && len(fields) != len(p.columns) {
			continue
		}
		if clock.plan != nil {
			x, ok := math.NaN(), false
			if p.clock < len(fields) {
				x, _, ok = p.time(fields[p.clock])
			}
			clock.row(store.n, x, ok)
		}
		if err := store.add(row); err != nil {
			return store, unread, fmt.Errorf("recording: %s: %w", p.path, err)
		}
	}
	if err := store.done(); err != nil {
		return store, unread, fmt.Errorf("recording: %s: %w", p.path, err)
	}
	return store, unread, nil
}

// count is a field of column k as a count of the column's decimals.
func (p *csvPlan) count(k int, s string) int32 {
	digits := p.columns[k].digits
	if m, d, ok := decimal(s, p.point); ok && d <= digits {
		for ; d < digits; d++ {
			m *= 10
			if m > math.MaxInt32 || m < -math.MaxInt32 {
				break
			}
		}
		if m <= math.MaxInt32 && m >= -math.MaxInt32 {
			return int32(m)
		}
		return acquire.MissingCount
	}
	x, _, ok := number(s, p.point)
	if !ok {
		return acquire.MissingCount
	}
	if x = math.Round(x * math.Pow10(digits)); math.Abs(x) > math.MaxInt32 {
		return acquire.MissingCount
	}
	return int32(x)
}

// time reads the clock's field in its own unit.
func (p *csvPlan) time(s string) (float64, int, bool) {
	if p.kind == textClock {
		x, _, ok := clockText(s)
		_, fraction, _ := strings.Cut(s, ".")
		return x, len(strings.TrimRight(fraction, "Z'] ")), ok
	}
	return number(s, p.point)
}

// csvClock finds rate and gaps from a time column.
type csvClock struct {
	plan      *csvPlan // nil: no clock
	step      float64  // seconds per unit
	quantum   float64  // of the printed times, seconds
	interval  float64  // between samples, seconds, from the start of the file
	threshold float64  // a step above is a gap

	last    float64
	started bool
	sum     float64 // of the steps without the gaps
	steps   int64
	back    int
	jumps   []csvJump
}

type csvJump struct {
	stored  int64   // sample after the jump
	seconds float64 // step to it
}

// learn takes the usual step from the first times.
func (c *csvClock) learn(times []float64) bool {
	if c.plan.kind == countClock {
		c.interval, c.threshold, c.quantum = 1, 1.5, 0
		return len(times) > 1
	}
	var steps []float64
	for i := 1; i < len(times); i++ {
		if d := (times[i] - times[i-1]) * c.step; d >= 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return false
	}
	slices.Sort(steps)
	p95 := steps[len(steps)*95/100]
	// Mean of the steps that are no jumps; the median alone is wrong for times
	// printed coarser than the interval.
	limit := max(4*steps[len(steps)/2], 2*p95) + c.quantum
	for range 3 {
		sum, n := 0.0, 0
		for _, d := range steps {
			if d <= limit {
				sum += d
				n++
			}
		}
		if sum <= 0 {
			return false
		}
		c.interval = sum / float64(n)
		if p95 <= c.interval+c.quantum*1.001+1e-12 || p95 <= 1.3*c.interval {
			// Printed coarsely, a step may be one unit longer than the interval: one
			// lost sample cannot be told from that at a unit per sample.
			c.threshold = max(1.5*c.interval, c.interval+c.quantum*(1-1e-6))
		} else {
			c.threshold = 3 * p95 // stamped as it arrived, in lumps
		}
		limit = c.threshold
	}
	return true
}

// row takes the time of stored sample n.
func (c *csvClock) row(n int64, x float64, ok bool) {
	if !ok {
		// No time: a step as usual.
		if c.started {
			c.last += c.interval / c.step
		}
		return
	}
	if c.started {
		d := (x - c.last) * c.step
		switch {
		case d < 0:
			c.back++
			c.sum += c.interval
			c.steps++
		case d > c.threshold:
			c.jumps = append(c.jumps, csvJump{n, d})
		default:
			c.sum += d
			c.steps++
		}
	}
	c.last, c.started = x, true
}

// rate is the mean rate without the gaps, rounded to the nominal one when the
// printed times cannot tell the two apart.
func (c *csvClock) rate(nominal float64) float64 {
	if c.steps > 0 && c.sum > 0 {
		c.interval = c.sum / float64(c.steps)
	}
	rate := 1 / c.interval
	doubt := max(1e-9, 2*c.quantum/max(c.sum, c.interval))
	for _, nice := range []float64{nominal, math.Round(rate), math.Round(rate*10) / 10, math.Round(rate*100) / 100} {
		if nice > 0 && math.Abs(rate/nice-1) <= doubt {
			return nice
		}
	}
	return rate
}

func (c *csvClock) segments(n int64) ([]segment, int64) {
	list := []segment{{0, 0, n}}
	for _, j := range c.jumps {
		lost := math.Round(j.seconds/c.interval) - 1
		s := &list[len(list)-1]
		if lost < 1 || lost > float64(maxLen) || s.at+int64(lost) > maxLen || j.stored <= s.stored {
			continue
		}
		s.n = j.stored - s.stored
		list = append(list, segment{s.at + s.n + int64(lost), j.stored, n - j.stored})
	}
	last := list[len(list)-1]
	return list, last.at + last.n
}
