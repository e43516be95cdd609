package recording

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

// csvLook is how many rows are looked at to tell separator, header and clock.
const csvLook = 200_000

func openCSV(in *input, path string, options OpenOptions) (*File, error) {
	p, err := look(in, path, options)
	if err != nil {
		return nil, err
	}
	facts, err := p.scan(in)
	if err != nil {
		return nil, err
	}
	f := &File{format: "CSV", path: path, text: p.tell()}
	p.told(f, facts)
	clock := csvClock{plan: p, step: p.step, quantum: p.step * math.Pow10(-facts.timeDigits)}
	if p.clock < 0 || !clock.learn(facts.times) {
		if p.clock >= 0 && p.kind != countClock {
			f.remark("column %q does not give the sample rate and was not used", p.columns[p.clock].name)
		}
		clock.plan = nil
	}
	p.describe(f, facts)
	store, unread, missing, err := p.read(in, &clock)
	if err != nil {
		return nil, err
	}
	if unread > 0 {
		f.remark("%s (or above 2,147,483,647 as counts): missing samples", acquire.Number(unread, "field is no number", "fields are no numbers"))
	}
	if missing > 0 {
		f.remark("%s that there is no number: missing samples", acquire.Number(missing, "field is empty or says", "fields are empty or say"))
	}
	rate := options.RateHz
	if rate <= 0 {
		rate = facts.commentRate
	} else if facts.commentRate > 0 && math.Abs(rate/facts.commentRate-1) > 1e-6 && facts.meta == nil {
		f.remark("a line in it says %.5g Hz: the given %.5g Hz was used", facts.commentRate, rate)
	}
	if facts.meta != nil && facts.meta.RateHz > 0 {
		rate = facts.meta.RateHz
	} else if clock.plan != nil && p.kind != countClock {
		rate = clock.rate(rate)
		f.text.ClockTells = true
	}
	if !(rate > 0) || math.IsInf(rate, 0) {
		store.Close()
		return nil, &FormatError{Path: path, Offset: -1, NoRate: true, Reason: "the sample rate is not known: no time column and no comment like \"# rate 250 Hz\" gives it; give it, as in -rate 250" + p.orTime()}
	}
	if p.noUnit && clock.plan != nil && rate < slowHz {
		store.Close()
		return nil, &FormatError{Path: path, Offset: -1, NoRate: true, Clock: fmt.Sprintf("%d [s]", p.clock+1), Reason: fmt.Sprintf("%s says no unit, and seconds would make %.4g samples a second: say the unit, as in -time %q", p.nameOf(p.clock), rate, p.optionOf(p.clock)+" [ms]")}
	}
	f.text.RateHz, f.text.Ours = rate, facts.meta != nil || facts.carried != nil
	f.info.ClaimedRateHz = rate
	if f.segments, f.length, err = clock.segments(store.n); err != nil {
		store.Close()
		return nil, err
	}
	if clock.back > 0 {
		f.remark("the clock goes back %s; the samples follow each other there", acquire.Number(int64(clock.back), "time", "times"))
	}
	if clock.quick > store.n/50 {
		store.Close()
		return nil, &FormatError{Path: path, Offset: -1, Reason: fmt.Sprintf("the steps of its clock change, from %.4g s to less: a recording has one rate; cut the file there, or say -time none and the rate", clock.interval)}
	}
	if g := len(f.segments) - 1; g > 0 {
		f.remark("the clock jumps %s; gaps are kept as missing samples", acquire.Number(int64(g), "time", "times"))
	}
	f.store = store
	if f.meta != nil {
		f.takeEvents(f.meta)
	}
	p.ask(f, &clock, facts)
	in.Close() // the text is no longer needed
	return f, nil
}

// told remarks on rows and columns that were left out or are odd.
func (p *csvPlan) told(f *File, facts *csvFacts) {
	const why = "what sums a table up is no sample"
	if i := slices.IndexFunc(p.tail, p.wordsFirst); i >= 0 {
		f.remark("%s left out; the first begins with %q: %s", acquire.Number(int64(p.sums), "row of words at the end was", "rows of words at the end were"), shorten(p.tail[i][leading(p.tail[i])]), why)
	}
	if n := int64(len(p.tail) - p.sums); n > 0 {
		f.remark("%s left out", acquire.Number(n, "empty row at the end was", "empty rows at the end were"))
	}
	if n := int64(p.above); n > 0 {
		f.remark("%s left out: %s", acquire.Number(n, "row below the names was", "rows below the names were"), why)
	}
	if facts.odd > 0 {
		f.remark("%s more or fewer than %d fields; fields not there are missing samples", acquire.Number(facts.odd, "row has", "rows have"), len(p.columns))
	}
	// A file with an empty line after each row has them by its way of ending lines.
	if n := facts.emptyLines; n > 0 && facts.emptyGaps < facts.rows-1 && p.clock < 0 {
		f.remark("%s left out: where they stand for missing samples the time is too short; write nan in them", acquire.Number(n, "empty line between the rows was", "empty lines between the rows were"))
	}
	if len(p.words) > 0 && len(p.options.Columns) == 0 {
		f.remark("columns of words were left out: %s", strings.Join(p.words, ", "))
	}
}

// csvFacts is what the first pass over a file learns besides its columns.
type csvFacts struct {
	commentRate float64 // that a comment tells, 0 for none
	// rateDoubtful says that it may be another rate, rateText where it stands.
	rateDoubtful bool
	rateText     string
	// scale and offset of all channels in volts, as a comment tells; scale 0 for none.
	scale, offset float64
	meta          *settings       // of a file this package wrote in counts, else nil
	carried       json.RawMessage // Header.Settings of a file that it wrote in units, or nil
	ends          [][]json.Number // of one that it wrote in units, by channel: the converter's lowest and highest value
	invented      bool            // a comment says so
	rows          int64           // of the table
	times         []float64       // the first of the clock, in its own unit
	timeDigits    int
	firstTime     string // that the clock could be read from
	started       time.Time
	day           time.Time // that a column of its own tells
	odd           int64     // rows of another number of fields
	emptyLines    int64     // between the rows
	emptyGaps     int64     // and between how many
	// decimals and grouped say that a number was seen that only has decimals, and one whose comma may
	// part thousands or decimals, as groupedAs.
	decimals, grouped bool
	groupedAs         string
}

// signs notes what a number's commas and points tell of the decimal sign.
func (c *csvFacts) signs(s string) {
	comma := strings.IndexByte(s, ',')
	if comma < 0 {
		return
	}
	if thousands.MatchString(s) && strings.IndexByte(s, '.') < 0 {
		c.grouped, c.groupedAs = true, s
		return
	}
	c.decimals = true
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
	r := p.reader(in, 0)
	r.pairs, r.names, r.cells = p.pairs, p.names, p.cells
	for _, line := range p.preamble {
		facts.comment(line, len(p.channels))
	}
	r.comment = func(text string) {
		if facts.rows == 0 { // later ones are remarks
			facts.comment(text, len(p.channels))
		}
	}
	p.end = math.MaxInt
	goesOn := false // more rows than stand below a table
	emptied := int64(0)
	for i := 0; ; i++ {
		fields, err := r.row()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, p.failed(r, err)
		}
		if i < p.header || p.repeated(fields) {
			continue
		}
		words := p.wordsFirst(fields)
		aside := facts.rows > 0 && (words || empty(fields))
		if goesOn = aside && (goesOn || p.sums == mostSums || len(p.tail) == mostTail); aside && !goesOn {
			if p.end = min(p.end, i); words {
				p.sums++
			}
			p.tail = append(p.tail, slices.Clone(fields))
			continue
		}
		for _, before := range p.tail { // the table goes on
			facts.learn(p, before)
		}
		p.tail, p.sums, p.end = nil, 0, math.MaxInt
		if n := r.empty - emptied; n > 0 && facts.rows > 0 {
			facts.emptyLines += n
			facts.emptyGaps++
		}
		emptied = r.empty
		facts.learn(p, fields)
	}
	if facts.rows == 0 {
		return nil, &FormatError{Path: p.path, Line: r.line, Reason: "no row of numbers in it"}
	}
	if facts.firstTime != "" { // once all of them told which number is the day
		_, facts.started, _ = p.times.read(facts.firstTime)
	}
	if facts.started.IsZero() && !facts.day.IsZero() && len(facts.times) > 0 && p.kind == textClock {
		_, offset := facts.day.Zone()
		facts.started = facts.day.Add(time.Duration((facts.times[0] - float64(facts.day.Unix()+int64(offset))) * float64(time.Second)))
	}
	return facts, nil
}

// learn takes a row of the table in.
func (c *csvFacts) learn(p *csvPlan, fields []string) {
	if len(fields) != len(p.columns) {
		c.odd++
	}
	if p.day >= 0 && p.day < len(fields) && c.day.IsZero() {
		c.day, _ = p.times.readDay(fields[p.day])
	}
	if p.clock >= 0 && p.clock < len(fields) && len(c.times) < csvLook {
		p.orderShown = p.orderShown || p.kind == textClock && dayOrder(fields[p.clock]) == orderTold
		if x, d, ok := p.time(fields); ok {
			if p.kind == textClock && c.firstTime == "" {
				c.firstTime = fields[p.clock]
			}
			c.times = append(c.times, x)
			c.timeDigits = max(c.timeDigits, d)
		}
	}
	any := false
	for _, k := range p.channels {
		if k >= len(fields) {
			continue
		}
		if x, d, ok := number(fields[k], p.point); ok {
			any = true
			c.signs(fields[k])
			column := &p.columns[k]
			column.digits, column.high = max(column.digits, d), max(column.high, math.Abs(x))
		}
	}
	if any || len(fields) == len(p.columns) {
		c.rows++
	}
}

// repeated tells the header heard again.
func (p *csvPlan) repeated(fields []string) bool {
	if p.pairs || len(p.names) == 0 || len(fields) != len(p.names) {
		return false
	}
	for i, s := range fields {
		if s != p.names[i] {
			return false
		}
	}
	return true
}

// comment looks for a rate, a scale of all channels, and settings of ours.
func (c *csvFacts) comment(text string, channels int) {
	if c.commentRate == 0 {
		if c.commentRate, c.rateDoubtful = rateIn(text); c.rateDoubtful {
			c.rateText = text
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
	c.invented = c.invented || strings.HasPrefix(text, acquire.InventedTag)
	if rest, ok := strings.CutPrefix(text, textSettings); ok && c.meta == nil {
		c.meta = parseSettings(rest, channels)
	}
	if rest, ok := strings.CutPrefix(text, textCarried); ok && c.carried == nil && json.Valid([]byte(rest)) {
		c.carried = json.RawMessage(rest)
	}
	if rest, ok := strings.CutPrefix(text, textEnds); ok && c.ends == nil {
		if json.Unmarshal([]byte(rest), &c.ends) != nil || len(c.ends) != channels {
			c.ends = nil
		}
	}
}

// endCounts are a converter's ends as counts of column k, both 0 where they are not told or the values, which somebody
// changed then, reach beyond them.
func (c *csvFacts) endCounts(k int, column csvColumn) (low, high int32) {
	if k >= len(c.ends) || len(c.ends[k]) != 2 {
		return 0, 0
	}
	a, b := c.ends[k][0].String(), c.ends[k][1].String()
	low, high = countOf(a, column.digits, '.'), countOf(b, column.digits, '.')
	x, _ := c.ends[k][0].Float64()
	y, _ := c.ends[k][1].Float64()
	if low == acquire.MissingCount || high == acquire.MissingCount || low >= high || column.high > max(math.Abs(x), math.Abs(y)) {
		return 0, 0
	}
	return low, high
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
		if c.unit == "counts" || c.unit == "count" {
			c.unit = ""
		}
		ch := acquire.Channel{Label: c.name, Kind: c.kind, Unit: c.unit, Digits: c.digits}
		if c.name == "" {
			ch.Label = fmt.Sprintf("channel %d", i+1)
		} else if _, err := strconv.Atoi(c.name); err == nil {
			ch.Label = "column " + c.name
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
		ch.MinCount, ch.MaxCount = facts.endCounts(i, *c)
		if c.rounded {
			f.remark("column %q: rounded to %d decimals so that its values fit", ch.Label, c.digits)
		}
		f.info.Channels = append(f.info.Channels, ch)
	}
	f.info.Started, f.info.Invented = facts.started, facts.invented || facts.meta != nil && facts.meta.Invented
	if facts.meta == nil {
		if facts.carried != nil {
			f.meta = &settings{Other: facts.carried}
		}
		return
	}
	for i, k := range p.channels {
		if p.columns[k].digits > 0 || named(facts.meta.Channels[i].Label).name != p.columns[k].name {
			return // edited: these are not the counts
		}
	}
	for i, c := range facts.meta.Channels {
		f.info.Channels[i] = c.channel()
	}
	f.info.Started, f.meta = facts.meta.Started, facts.meta
}

// read is the second pass: the counts, and the clock's times with them. unread is how many
// fields are no number, or too great, missing how many are empty or say so.
func (p *csvPlan) read(in *input, clock *csvClock) (store *spool, unread, missing int64, err error) {
	store = &spool{channels: len(p.channels)}
	defer func() {
		if err != nil {
			store.Close()
		}
	}()
	r := p.reader(in, 1)
	r.pairs, r.names, r.cells = p.pairs, p.names, p.cells
	row := make([]int32, len(p.channels))
	for i := 0; ; i++ {
		fields, err := r.row()
		if err == io.EOF {
			break
		}
		if err != nil {
			return store, unread, missing, p.failed(r, err)
		}
		if i >= p.end {
			break
		}
		if i < p.header || p.repeated(fields) {
			continue
		}
		any := false
		for c, k := range p.channels {
			row[c] = acquire.MissingCount
			if k >= len(fields) || missingWord(fields[k]) {
				missing++
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
				x, _, ok = p.time(fields)
			}
			clock.row(store.n, x, ok)
		}
		if store.n >= mostRows {
			return store, unread, missing, &FormatError{Path: p.path, Line: r.line, Reason: fmt.Sprintf("more than %d rows: cut the file, or make it an EDF", mostRows)}
		}
		if len(clock.jumps) > mostGaps {
			return store, unread, missing, &FormatError{Path: p.path, Line: r.line, Reason: fmt.Sprintf("its clock jumped more than %d times: that many gaps cannot be shown", mostGaps)}
		}
		if err := store.add(row); err != nil {
			return store, unread, missing, fmt.Errorf("recording: %s: %w", p.path, err)
		}
	}
	if err := store.done(); err != nil {
		return store, unread, missing, fmt.Errorf("recording: %s: %w", p.path, err)
	}
	return store, unread, missing, nil
}

// count is a field of column k as a count of the column's decimals.
func (p *csvPlan) count(k int, s string) int32 {
	return countOf(s, p.columns[k].digits, p.point)
}

// countOf is a number as a count of so many decimals, MissingCount where it is none or too great.
func countOf(s string, digits int, point Sign) int32 {
	if m, d, ok := decimal(s, point); ok && d <= digits {
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
	x, _, ok := number(s, point)
	if !ok {
		return acquire.MissingCount
	}
	if x = math.Round(x * math.Pow10(digits)); math.Abs(x) > math.MaxInt32 {
		return acquire.MissingCount
	}
	return int32(x)
}

// time reads the clock of a row in its own unit: with the day's column, if there is one beside a time
// of day.
func (p *csvPlan) time(fields []string) (x float64, digits int, ok bool) {
	s := fields[p.clock]
	if p.kind != textClock {
		return number(s, p.point)
	}
	x, dated, ok := p.times.read(s)
	if ok && dated.IsZero() && p.day >= 0 && p.day < len(fields) {
		if fields[p.day] != p.dayText {
			day, isDay := p.times.readDay(fields[p.day])
			if !isDay {
				return 0, 0, false
			}
			// Midnights as the calendar has them, whatever the clocks of the place do.
			_, offset := day.Zone()
			p.dayText, p.daySeconds = fields[p.day], float64(day.Unix()+int64(offset))
		}
		x += p.daySeconds
	}
	return x, fractionDigits(s), ok
}
