package recording

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"pulsewright/acquire"
)

// csvColumn is what the first pass learns of a column.
type csvColumn struct {
	name, unit string
	kind       string  // that the name says, or ""
	digits     int     // most decimals seen
	high       float64 // greatest magnitude seen
	rounded    bool
	unitSaid   bool // by the options
}

// scaleInComment reads a line like "mV = (adc-2048)/130" for all channels.
var scaleInComment = regexp.MustCompile(`(?i)\b([munµ]?V) = \([a-z]+ ?- ?([0-9.]+)\) ?/ ?([0-9.]+)`)

// splitUnit takes "pulse [mV]", "pulse (mV)", "pulse/mV" or "pulse_mV" apart.
func splitUnit(s string) (name, unit string) {
	s = strings.TrimSpace(strings.Trim(strings.TrimSpace(s), "'"))
	for _, pair := range []string{"[]", "()"} {
		if i := strings.LastIndexByte(s, pair[0]); i > 0 && s[len(s)-1] == pair[1] {
			return strings.TrimSpace(s[:i]), strings.TrimSpace(s[i+1 : len(s)-1])
		}
	}
	if i := strings.LastIndexByte(s, '_'); i > 0 {
		if _, volts := unitScale(s[i+1:]); volts && len(s[i+1:]) > 1 {
			return s[:i], s[i+1:]
		}
	}
	if i := strings.LastIndexByte(s, '/'); i > 0 && s[i+1:] != "" && allUnits([]string{s[i+1:]}) {
		return strings.TrimSpace(s[:i]), s[i+1:]
	}
	return s, ""
}

// named is a column of that name: "lead [mV] (ecg)" is an ECG in mV named "lead".
func named(s string) (c csvColumn) {
	s, c.kind = acquire.TakeKind(s)
	c.name, c.unit = splitUnit(s)
	return c
}

// ColumnName is the name in a table of a channel in a unit, "" for counts, that is read as it is meant.
func ColumnName(label, unit string) string {
	if c := named(label); unit == "" && c != (csvColumn{name: label}) {
		unit = "counts"
	}
	if unit == "" {
		return label
	}
	return label + " [" + unit + "]"
}

// csvPlan is how to read a file.
type csvPlan struct {
	options   OpenOptions
	path      string
	separator Sign
	point     Sign
	pairs     bool // fields are name:value
	header    int  // rows to skip before the numbers
	names     []string
	preamble  []string // lines before the table
	columns   []csvColumn
	clock     int // column, or −1
	day       int // column with the date, or −1
	kind      clockKind
	step      float64
	times     clockReader
	guessed   bool  // the clock, by how its values rise
	noUnit    bool  // the clock says none, and was taken for seconds
	channels  []int // columns
	firstRows [][]string
	tail      [][]string // rows below the table that begin with words, or are empty; the first is row end
	sums      int        // of them, those of words
	end       int
	above     int  // rows between the names and the table that sum it up
	numbered  bool // the names are numbers that count the columns
	// namesDoubt is how the first row was taken where it may be names or a sample.
	namesDoubt Doubt
	cells      []string // units behind the numbers of each column, or nil
	// the newest day read, and its midnight in seconds
	dayText    string
	daySeconds float64
	rising     int      // a column that rises as a clock does, where none was found, or −1
	words      []string // names of columns left out since they hold no numbers
	// orderShown says that a later date told which of its numbers is the day.
	orderShown bool
}

// csvLookLines are looked at to tell where the table begins.
const csvLookLines = 60

// look tells separator, header and roles from the first rows.
func look(in *input, path string, options OpenOptions) (*csvPlan, error) {
	r := newCSVReader(in, 0)
	var lines []string
	for len(lines) < csvLookLines {
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
	p := &csvPlan{path: path, options: options, clock: -1, day: -1, separator: options.Separator}
	p.times.dates = options.Dates
	if p.separator == 0 {
		p.separator = pickSeparator(lines, options.Decimal)
	}
	if p.separator == ',' && options.Separator == 0 && options.Decimal == 0 && loneDecimals(lines) {
		p.separator, p.point = ';', ','
	}
	if p.point = cmp.Or(p.point, options.Decimal); p.point == 0 {
		p.point = p.pickPoint(lines)
	}
	if err := p.findTable(lines); err != nil {
		return nil, err
	}
	first := p.split(lines[p.header])
	if n := max(len(first), len(p.columns)); n > maxChannels {
		return nil, &FormatError{Path: path, Line: p.header + 1, Reason: fmt.Sprintf("%d columns; up to %d can be read", n, maxChannels)}
	}
	named := len(p.columns) > 0
	if !named {
		p.columns = make([]csvColumn, len(first))
	}
	p.unitsOfCells(first)
	var rows [][]string
	for _, line := range lines[p.header:] {
		rows = append(rows, p.split(line))
	}
	if err := p.findClock(rows, options.Time); err != nil {
		return nil, err
	}
	p.findChannels(rows, named)
	if len(p.channels) == 0 {
		return nil, &FormatError{Path: path, Line: 1, Reason: "only a time column, no signal"}
	}
	p.rising = p.findRising(rows)
	p.firstRows = rows[:min(len(rows), lookRows)]
	return p, p.heed()
}

// split takes a line apart, of name:value the values.
func (p *csvPlan) split(line string) []string {
	fields := splitRow(nil, line, p.separator)
	if p.pairs {
		fields = inOrder(fields, p.names)
	}
	return withoutUnits(fields, p.cells)
}

// loneDecimals tells lines of one number each with a decimal comma below one name, which look like two columns, and
// lines without a name whose second halves begin with 0 as only decimals do.
func loneDecimals(lines []string) bool {
	named := len(splitRow(nil, lines[0], ',')) == 1 && strings.ContainsFunc(lines[0], latinLetter)
	if named {
		lines = lines[1:]
	}
	whole, zeros := 0, 0
	for _, line := range lines {
		parts := splitRow(nil, line, ',')
		if len(parts) > 2 || strings.ContainsAny(line, "\".") {
			return false
		}
		if len(parts) == 2 && parts[1] != "" {
			whole++
			if parts[1][0] == '0' && len(parts[1]) > 1 {
				zeros++
			}
		}
	}
	return len(lines) > 2 && 10*whole >= 9*len(lines) && (named || zeros > 0)
}

// pickPoint is a comma where fields have one; where commas part the fields, only those in quotes count.
func (p *csvPlan) pickPoint(lines []string) Sign {
	for _, line := range lines[len(lines)/2:] {
		for _, s := range splitRow(nil, line, p.separator) {
			if bare, unit := cellUnit(s); unit != "" {
				s = bare
			}
			_, d, ok := decimal(s, ',')
			if p.separator == ',' && thousands.MatchString(s) {
				continue
			}
			if ok && d > 0 || pointed.MatchString(s) && strings.IndexByte(s, ',') > 0 {
				return ','
			}
		}
	}
	return '.'
}

// weigh counts the fields that are numbers or times, and those that are words.
func (p *csvPlan) weigh(fields []string) (numbers, words int) {
	for _, s := range fields {
		_, _, ok := number(s, p.point)
		if bare, unit := cellUnit(s); !ok && unit != "" {
			_, _, ok = number(bare, p.point)
		}
		if !ok {
			_, _, ok = p.times.read(s)
		}
		if !ok {
			_, ok = p.times.readDay(s)
		}
		switch {
		case ok:
			numbers++
		case !missingWord(s):
			words++
		}
	}
	return numbers, words
}

// findTable finds the first row of numbers that others follow; the names stand in the
// line before it, units perhaps between, and what stands before those is a preamble.
func (p *csvPlan) findTable(lines []string) error {
	if p.findPairs(lines) {
		return nil
	}
	t := p.tableOf(lines)
	begin := slices.IndexFunc(t.lines, t.isRow)
	if begin < 0 {
		return &FormatError{Path: p.path, Line: 1, Reason: fmt.Sprintf("%q and what follows is no row of numbers: names may stand in a line above them, and units in one between", shorten(lines[0]))}
	}
	p.header = begin
	if p.options.Names == noNames {
		p.preamble = lines[:begin]
		return nil
	}
	above := begin // the line below the names
	tellsRate := func(i int) bool { hz, _ := rateIn(lines[i]); return hz > 0 }
	for above > 0 && t.sums(t.lines[above-1]) && !tellsRate(above-1) {
		above--
	}
	if above == 0 || !t.named(above-1) {
		above = begin
	}
	p.above = begin - above
	var head []tableLine // the names, or the units and the names
	for i := above - 1; i >= 0 && len(head) < 2; i-- {
		n := len(t.lines[i].fields)
		if n != t.width && n+1 != t.width || len(head) == 1 && !allUnits(head[0].fields) {
			break
		}
		head = append(head, t.lines[i])
	}
	p.preamble = lines[:above-len(head)]
	if len(head) == 1 && t.sums(head[0]) && tellsRate(above-1) { // a fact about the table
		p.preamble, head = lines[:above], nil
	}
	if len(head) == 0 {
		p.nameByFirst(t, begin)
		return nil
	}
	names := head[len(head)-1]
	p.nameColumns(names.fields)
	p.names = names.fields
	if t.sums(names) && !counted(names.fields[1:]) {
		p.namesDoubt = firstDoubt(names.fields, "the columns' names", firstRow)
	}
	if len(head) == 2 {
		for i, s := range head[0].fields {
			if s = strings.Trim(s, "'[]() "); i < len(p.columns) && s != "" && p.columns[i].unit == "" {
				p.columns[i].unit = s
			}
		}
	}
	return nil
}

// allUnits tells a line of units: each field is one, in brackets or quotes perhaps.
func allUnits(fields []string) bool {
	for _, s := range fields {
		s = strings.ToLower(strings.Trim(s, "'\"[]() "))
		_, volts := unitScale(s)
		_, clock := clockUnits[s]
		if !volts && !clock && !slices.Contains([]string{"", "-", "counts", "count", "lsb", "a.u.", "au", "v", "mv", "uv", "µv", "bpm", "%", "mmhg", "nu", "hz", "g"}, s) {
			return false
		}
	}
	return true
}

// usualWidth is the number of fields that most lines have.
func usualWidth(lines []string, separator Sign) int {
	counts := map[int]int{}
	best := 0
	for _, line := range lines {
		n := len(splitRow(nil, line, separator))
		if counts[n]++; counts[n] > counts[best] || counts[n] == counts[best] && n > best {
			best = n
		}
	}
	return best
}

// findPairs takes lines of name:value, as boards print them.
func (p *csvPlan) findPairs(lines []string) bool {
	whole := 0
	for _, line := range lines {
		fields, pairs := splitRow(nil, line, p.separator), 0
		for _, f := range fields {
			if _, _, ok := pair(f); ok {
				pairs++
			}
		}
		if pairs == len(fields) {
			whole++
		}
	}
	if p.pairs = 10*whole >= 9*len(lines); !p.pairs {
		return false
	}
	for _, f := range splitRow(nil, lines[0], p.separator) {
		name, _, _ := pair(f)
		p.names = append(p.names, name)
		p.columns = append(p.columns, named(name))
	}
	return true
}

// findClock looks for the time among the columns: by the name asked for, by their
// names, else by how the first one rises.
func (p *csvPlan) findClock(rows [][]string, asked string) error {
	first := rows[0]
	asked, unit := splitUnit(asked)
	said, unitSaid := clockUnits[strings.ToLower(unit)]
	if !unitSaid {
		return &FormatError{Path: p.path, Line: p.header + 1, Reason: fmt.Sprintf("time column %q: the unit %q is none of time; give s, ms, us, ns or min", asked, shorten(unit))}
	}
	unitSaid = unit != ""
	for i := range p.columns {
		c := &p.columns[i]
		kind, step := clockOf(c.name, c.unit)
		if i >= len(first) || !p.readable(first[i]) {
			continue
		}
		switch {
		case asked != "" && p.column(asked) == i:
			if kind != secondsClock {
				step = 1
			}
			if unitSaid {
				step = said
			}
			p.clock, p.kind, p.step = i, secondsClock, step
		case asked != "":
		case !p.holds(i, kind, rows):
		case kind == dateOnly:
			p.day = i
		case p.clock < 0 || p.kind == countClock && kind == secondsClock:
			p.clock, p.kind, p.step = i, kind, step
		}
	}
	if p.clock >= 0 && p.kind == secondsClock && p.clock < len(first) {
		if x, _, ok := number(first[p.clock], p.point); !ok {
			p.kind, p.step = textClock, 1
		} else if p.step == 1 && p.columns[p.clock].unit == "" && !unitSaid {
			p.step = epochStep(x)
			p.noUnit = !namesUnit(p.columns[p.clock].name)
		}
	}
	if asked == "" && p.clock < 0 && len(first) > 1 && (len(p.columns) == 0 || p.columns[0].name == "" || p.numbered) {
		p.guessClock(rows)
		p.guessed = p.clock >= 0
	}
	return nil
}

// holds tells that a column is what its name says: dates, or a clock or a counter that goes on.
func (p *csvPlan) holds(column int, kind clockKind, rows [][]string) bool {
	first := rows[0]
	switch {
	case kind == noClock || column >= len(first) || !p.readable(first[column]):
		return false
	case kind == dateOnly:
		return p.dated(first[column])
	}
	return p.rises(column, rows)
}

// dated tells a date or a date with a time.
func (p *csvPlan) dated(s string) bool {
	_, date, ok := p.times.read(s)
	_, day := p.times.readDay(s)
	return day || ok && !date.IsZero()
}

// rises tells that a column's numbers or times go on from row to row, as those of a clock or a counter do: nearly
// none goes back, and it does not stand.
func (p *csvPlan) rises(column int, rows [][]string) bool {
	last, up, down := math.NaN(), 0, 0
	for _, fields := range rows {
		if column >= len(fields) {
			continue
		}
		x, _, ok := number(fields[column], p.point)
		if !ok {
			x, _, ok = p.times.read(fields[column])
		}
		if !ok {
			continue
		}
		if x > last {
			up++
		} else if x < last {
			down++
		}
		last = x
	}
	return up+down == 0 || up >= 20*down
}

// findRising finds a column that rises evenly, as a clock does, where none was found; −1 for none.
func (p *csvPlan) findRising(rows [][]string) int {
	if p.clock >= 0 || p.options.Time != "" || len(rows) < 10 {
		return -1
	}
	for _, k := range p.channels {
		low, high, last := math.Inf(1), 0.0, math.NaN()
		for i, fields := range rows {
			x, ok := 0.0, k < len(fields)
			if ok {
				x, _, ok = number(fields[k], p.point)
			}
			if !ok {
				low = 0
				break
			}
			if i > 0 {
				low, high = min(low, x-last), max(high, x-last)
			}
			last = x
		}
		if low > 0 && high <= 3*low {
			return k
		}
	}
	return -1
}

// readable tells a number, a time or a date.
func (p *csvPlan) readable(s string) bool {
	n, _ := p.weigh([]string{s})
	return n > 0
}

// unitsOfCells takes units that stand behind the numbers, as in "512 mV"; they come before the header's.
func (p *csvPlan) unitsOfCells(first []string) {
	if p.cells = cellUnits(first); p.cells == nil {
		return
	}
	for i := range p.columns {
		if i < len(p.cells) && p.cells[i] != "" {
			p.columns[i].unit = p.cells[i]
		}
	}
}

// cellUnits are the units behind a row's numbers; nil for none.
func cellUnits(fields []string) (units []string) {
	for i, s := range fields {
		bare, unit := cellUnit(s)
		if _, _, ok := number(bare, '.'); unit == "" || !ok && strings.Count(bare, ",") != 1 {
			continue
		}
		if units == nil {
			units = make([]string, len(fields))
		}
		units[i] = unit
	}
	return units
}

// findChannels takes the columns that are left: not a second clock, not one without a
// name and a number.
func (p *csvPlan) findChannels(rows [][]string, named bool) {
	for i := range p.columns {
		c := &p.columns[i]
		kind, _ := clockOf(c.name, c.unit)
		clock := named && p.options.Time != noColumn && p.holds(i, kind, rows)
		counted, numbers, words := p.weighColumn(i, rows)
		nameless := named && c.name == "" && (counted || numbers == 0)
		if i == p.clock || i == p.day || clock || nameless || numbers == 0 && words > 0 {
			if i != p.clock && i != p.day && !clock && words > 0 && c.name != "" {
				p.words = append(p.words, c.name)
			}
			continue
		}
		p.channels = append(p.channels, i)
	}
}

// weighColumn counts numbers and words in a column's first rows, and tells whether the numbers just
// count the rows.
func (p *csvPlan) weighColumn(column int, rows [][]string) (counted bool, numbers, words int) {
	counted = true
	last := math.NaN()
	for _, fields := range rows {
		if column >= len(fields) {
			continue
		}
		x, _, ok := number(fields[column], p.point)
		if !ok {
			if !missingWord(fields[column]) {
				words++
			}
			continue
		}
		numbers++
		counted = counted && (math.IsNaN(last) || x == last+1)
		last = x
	}
	return counted, numbers, words
}

// guessClock takes a nameless first column as a clock if it holds times, or rises
// evenly: by one, sample numbers; by less than a second with decimals, seconds; as the
// time since 1970 does, that.
func (p *csvPlan) guessClock(rows [][]string) {
	var last, low, high float64
	digits := 0
	low = math.Inf(1)
	if len(rows) < 3 {
		return
	}
	texts := 0
	for i, fields := range rows {
		x, d, ok := number(fields[0], p.point)
		if !ok {
			if _, _, isTime := p.times.read(fields[0]); !isTime {
				return
			}
			texts++
			continue
		}
		digits = max(digits, d)
		if i > 0 {
			low, high = min(low, x-last), max(high, x-last)
		}
		last = x
	}
	if texts == len(rows) {
		p.clock, p.kind, p.step = 0, textClock, 1
		return
	}
	if len(rows) < 10 || texts > 0 {
		return
	}
	switch q := math.Pow10(-digits); {
	case digits == 0 && low == 1 && high == 1:
		p.clock, p.kind, p.step = 0, countClock, 1
	case digits > 0 && low > 0 && high < 1 && high-low <= 2.001*q && low > 2*q:
		p.clock, p.kind, p.step = 0, secondsClock, 1
	case last >= 1e9 && low >= 0 && high*epochStep(last) <= 10:
		p.clock, p.kind, p.step = 0, secondsClock, epochStep(last)
	}
}

// pickSeparator takes the sign that splits most lines into the same number of fields, above one, all of them numbers
// or times; else that which splits most lines alike. Lines of one number each have none.
func pickSeparator(lines []string, decimal Sign) Sign {
	best, bestScore := Sign(','), 0
	var times clockReader
	value := func(s string) bool {
		for _, point := range []Sign{'.', ','} {
			if _, _, ok := number(s, point); ok {
				return true
			}
			if bare, unit := cellUnit(s); unit != "" {
				if _, _, ok := number(bare, point); ok {
					return true
				}
			}
		}
		_, _, ok := times.read(s)
		return ok || missingWord(s)
	}
	alone := 0
	for _, line := range lines {
		if s := strings.TrimSpace(line); s != "" && value(s) {
			alone++
		}
	}
	for _, sep := range []Sign{'\t', ';', ',', '|', arrow, ' '} {
		if sep == decimal {
			continue
		}
		counts, numeric := map[int]int{}, map[int]int{}
		for _, line := range lines {
			fields := splitRow(nil, strings.TrimRight(line, " \t"), sep)
			counts[len(fields)]++
			if !slices.ContainsFunc(fields, func(s string) bool { return !value(s) }) {
				numeric[len(fields)]++
			}
		}
		score := 0
		for n, lines := range counts {
			if n > 1 {
				score = max(score, lines+2*numeric[n])
			}
		}
		if sep == ' ' && (2*score <= len(lines) || 2*alone > len(lines)) {
			continue // more than a header's "pulse [V]", and not "512 mV" alone
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
