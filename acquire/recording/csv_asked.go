package recording

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"pulsewright/acquire"
)

// Sign is a separator or a decimal sign; 0 is none.
type Sign byte

// MarshalJSON writes it as text.
func (s Sign) MarshalJSON() ([]byte, error) { return json.Marshal(s.String()) }

// UnmarshalJSON reads it.
func (s *Sign) UnmarshalJSON(data []byte) error {
	var text string
	if err := json.Unmarshal(data, &text); err != nil || len(text) > 1 {
		return fmt.Errorf("%s is not one sign", data)
	}
	if *s = 0; text != "" {
		*s = Sign(text[0])
	}
	return nil
}

func (s Sign) String() string {
	if s == 0 {
		return ""
	}
	return string(rune(s))
}

// parseSeparator reads a separator's name or the sign itself; "" leaves it to be found.
func parseSeparator(s string) (Sign, error) {
	switch s {
	case "":
		return 0, nil
	case "comma":
		return ',', nil
	case "semicolon":
		return ';', nil
	case "tab", `\t`, "\t":
		return '\t', nil
	case "blank", " ":
		return ' ', nil
	}
	if len(s) == 1 && s[0] > ' ' && s[0] < 127 && s[0] != '"' && s[0] != '.' {
		return Sign(s[0]), nil
	}
	return 0, fmt.Errorf("separator %q: give comma, semicolon, tab, blank, or one sign", s)
}

// parseDecimal reads the name of a decimal sign or the sign itself; "" leaves it to be found.
func parseDecimal(s string) (Sign, error) {
	switch s {
	case "":
		return 0, nil
	case "point", ".":
		return '.', nil
	case "comma", ",":
		return ',', nil
	}
	return 0, fmt.Errorf("decimal %q: give point or comma", s)
}

// ParseOptions reads options from texts by the names that they have at a terminal and in a request:
// rate, time, separator, decimal, columns, unit, dates, names; "" is not said. An error begins with the name.
func ParseOptions(text func(name string) string) (o OpenOptions, err error) {
	if s := text("rate"); s != "" {
		if o.RateHz, err = strconv.ParseFloat(s, 64); err != nil {
			return o, fmt.Errorf("rate %q: give a number of Hz above 0", s)
		}
	}
	if o.Separator, err = parseSeparator(text("separator")); err != nil {
		return o, err
	}
	if o.Decimal, err = parseDecimal(text("decimal")); err != nil {
		return o, err
	}
	o.Time, o.Dates, o.Names, o.Columns, o.Units = text("time"), text("dates"), text("names"), parted(text("columns")), parted(text("unit"))
	return o, o.Check()
}

// parted are the parts of a list with commas between them; "" has none.
func parted(s string) []string {
	if s == "" {
		return nil
	}
	list := strings.Split(s, ",")
	for i := range list {
		list[i] = strings.TrimSpace(list[i])
	}
	return list
}

// The orders of day and month in a date.
const (
	DayFirst   = "day-first"
	MonthFirst = "month-first"
)

// noColumn says of the time that no column holds it.
const noColumn = "none"

// Check tells which of the options cannot be.
func (o *OpenOptions) Check() error {
	if r := o.RateHz; math.IsNaN(r) || math.IsInf(r, 0) || r < 0 {
		return fmt.Errorf("rate %g Hz: give a number above 0", r)
	}
	if o.Separator != 0 && o.Separator == o.Decimal {
		return fmt.Errorf("separator and decimal are both %q: one sign cannot be both", o.Decimal.String())
	}
	if o.Dates != "" && o.Dates != DayFirst && o.Dates != MonthFirst {
		return fmt.Errorf("dates %q: give %s or %s", o.Dates, DayFirst, MonthFirst)
	}
	if o.Names != "" && o.Names != firstRow && o.Names != noNames {
		return fmt.Errorf("names %q: give %s or %s", o.Names, firstRow, noNames)
	}
	for _, u := range o.Units {
		if len(u) > 40 || cleanText(u) != u {
			return fmt.Errorf("unit %q: give up to 40 characters, as mV", u)
		}
		if err := acquire.CheckText("unit", u); err != nil {
			return err
		}
	}
	return nil
}

// onlyText refuses what can be said of a text file alone, of another one.
func (o OpenOptions) onlyText(f *File) error {
	if o.RateHz = 0; f.text != nil || o.Zero() {
		return nil
	}
	for _, said := range []struct{ name, value string }{
		{"columns", strings.Join(o.Columns, ",")}, {"unit", strings.Join(o.Units, ",")}, {"time", o.Time}, {"separator", o.Separator.String()},
		{"decimal", o.Decimal.String()}, {"dates", o.Dates}, {"names", o.Names},
	} {
		if said.value != "" {
			return &FormatError{Path: f.path, Offset: -1, Reason: fmt.Sprintf("%s %q can be said of a text file only, and this one (%s) says itself how it is read: leave %s out", said.name, said.value, f.format, said.name)}
		}
	}
	return nil
}

// Zero reports whether nothing was said.
func (o OpenOptions) Zero() bool {
	return o.RateHz == 0 && o.Separator == 0 && o.Decimal == 0 && o.Time == "" && len(o.Columns) == 0 && len(o.Units) == 0 && o.Dates == "" && o.Names == ""
}

// Over is o where it says something, else what base says; base may be nil.
func (o OpenOptions) Over(base *OpenOptions) OpenOptions {
	if base == nil {
		return o
	}
	o.RateHz = cmp.Or(o.RateHz, base.RateHz)
	o.Separator, o.Decimal = cmp.Or(o.Separator, base.Separator), cmp.Or(o.Decimal, base.Decimal)
	o.Time, o.Dates, o.Names = cmp.Or(o.Time, base.Time), cmp.Or(o.Dates, base.Dates), cmp.Or(o.Names, base.Names)
	if len(o.Columns) == 0 {
		o.Columns = base.Columns
	}
	if len(o.Units) == 0 {
		o.Units = base.Units
	}
	return o
}

// column finds one by its number from 1 or its name; −1 for none.
func (p *csvPlan) column(asked string) int {
	if n, err := strconv.Atoi(asked); err == nil && n >= 1 && n <= len(p.columns) {
		return n - 1
	}
	is := func(name string) int {
		return slices.IndexFunc(p.columns, func(c csvColumn) bool { return c.name != "" && strings.EqualFold(c.name, name) })
	}
	if i := is(asked); i >= 0 {
		return i
	}
	return is(named(asked).name)
}

// noSuch is the error for a column that is not there.
func (p *csvPlan) noSuch(what, asked string) error {
	var names []string
	for i, c := range p.columns {
		if c.name == "" {
			c.name = strconv.Itoa(i + 1)
		}
		names = append(names, c.name)
	}
	return &FormatError{Path: p.path, Line: p.header + 1, Reason: fmt.Sprintf("%s %q: the columns are %s; give a name, or a number from 1", what, asked, shorten(strings.Join(names, ", ")))}
}

// heed takes the columns and units that were asked for.
func (p *csvPlan) heed() error {
	o := p.options
	if o.Time != "" && o.Time != noColumn && p.clock < 0 {
		return p.noSuch("time column", o.Time)
	}
	if len(o.Columns) > 0 {
		p.channels = nil
	}
	for _, asked := range o.Columns {
		i := p.column(asked)
		switch {
		case i < 0:
			return p.noSuch("column", asked)
		case slices.Contains(p.channels, i):
			return &FormatError{Path: p.path, Line: p.header + 1, Reason: fmt.Sprintf("column %q is asked for twice; name each once", asked)}
		case i == p.clock && o.Time != "":
			return &FormatError{Path: p.path, Line: p.header + 1, Reason: fmt.Sprintf("column %q cannot be the time and a signal", asked)}
		case i == p.clock:
			p.clock = -1
		}
		p.channels = append(p.channels, i)
	}
	if n := len(o.Units); n > 1 && n != len(p.channels) {
		return &FormatError{Path: p.path, Line: p.header + 1, Reason: fmt.Sprintf("%d units for %d columns: give one for all, or one for each", n, len(p.channels))}
	}
	for k, i := range p.channels {
		if len(o.Units) == 0 {
			break
		}
		unit := o.Units[min(k, len(o.Units)-1)]
		if unit == "counts" || unit == "count" {
			unit = ""
		}
		p.columns[i].unit, p.columns[i].unitSaid = unit, true
	}
	return nil
}

// A Doubt is what of a text file could be read in more than one way.
type Doubt struct {
	About string `json:"about"` // rate, time, columns, dates, decimal, names or unit
	// Text says in a sentence, without its stop, what was taken, and why that is in doubt.
	Text string `json:"text"`
	// Taken is what the option of that name would be to confirm it, "" where nothing was taken: what is
	// not answered stays unknown.
	Taken string `json:"taken"`
}

// doubt notes a way of reading that somebody should confirm; the flag is another answer at a terminal.
func (f *File) doubt(d Doubt, flag string) {
	f.text.Doubts = append(f.text.Doubts, d)
	f.remark("%s; if that is wrong, give %s", d.Text, flag)
}

// TextLook is how a text file was read, for a person to confirm.
type TextLook struct {
	Separator  Sign         `json:"separator"`
	Decimal    Sign         `json:"decimal"`
	Preamble   []string     `json:"preamble"` // lines before the table
	Columns    []TextColumn `json:"columns"`
	Rows       [][]string   `json:"rows"`       // the first of numbers
	RateHz     float64      `json:"rateHz"`     // 0: not known
	ClockTells bool         `json:"clockTells"` // the rate is the time column's
	Doubts     []Doubt      `json:"doubts"`
	Ours       bool         `json:"ours"` // written by this program, which says how to read it
	// Head is the line of names, which files of one making share; "" where there is none.
	Head string `json:"-"`
}

// TextColumn is a column of a text file.
type TextColumn struct {
	Name string `json:"name"`
	Unit string `json:"unit"` // as written, or as said
	// Role is "time", "date", "signal", or "none" of them.
	Role string `json:"role"`
}

// Text tells how a text file was read; nil for other formats.
func (f *File) Text() *TextLook { return f.text }

// lookRows are shown of a text file.
const lookRows = 6

// tell describes the plan.
func (p *csvPlan) tell() *TextLook {
	t := &TextLook{Head: shorten(strings.Join(p.names, " | ")), Separator: p.separator, Decimal: p.point, Preamble: []string{}, Doubts: []Doubt{}, Rows: [][]string{}, RateHz: p.options.RateHz}
	for _, line := range p.preamble[:min(len(p.preamble), lookRows)] {
		t.Preamble = append(t.Preamble, safeText(line))
	}
	for _, fields := range p.firstRows {
		row := make([]string, len(fields))
		for k, s := range fields {
			row[k] = shorten(s)
		}
		t.Rows = append(t.Rows, row)
	}
	for i, c := range p.columns {
		role := "none"
		switch {
		case i == p.clock:
			role = "time"
		case i == p.day:
			role = "date"
		case slices.Contains(p.channels, i):
			role = "signal"
		}
		t.Columns = append(t.Columns, TextColumn{safeText(c.name), safeText(c.unit), role})
	}
	return t
}

// slashDate is a date whose day and month may be taken for each other.
var slashDate = regexp.MustCompile(`^\D*(\d{1,2})[/-](\d{1,2})[/-]\d{4}`)

// Rates of a clock whose unit is not said that are doubted: no beat can be seen at the slow one, and boards and sound
// cards' recordings of it are slower than the fast one.
const (
	slowHz = 10
	fastHz = 5000
)

// nameOf is a column in a sentence, optionOf in an option.
func (p *csvPlan) nameOf(i int) string {
	if p.columns[i].name == "" {
		return fmt.Sprintf("column %d", i+1)
	}
	return fmt.Sprintf("column %q", shorten(p.columns[i].name))
}

func (p *csvPlan) optionOf(i int) string {
	if _, err := strconv.Atoi(p.columns[i].name); err == nil || p.columns[i].name == "" {
		return strconv.Itoa(i + 1)
	}
	return shorten(p.columns[i].name)
}

// orTime is the hint at a column that may be the time, or "".
func (p *csvPlan) orTime() string {
	if p.rising < 0 {
		return ""
	}
	return fmt.Sprintf("; or, if %s is the time, its unit, as in -time %q", p.nameOf(p.rising), p.optionOf(p.rising)+" [ms]")
}

// unitOf is the unit of a step in seconds.
func unitOf(step float64) string {
	for _, unit := range []string{"s", "ms", "us", "ns", "min"} {
		if clockUnits[unit] == step {
			return unit
		}
	}
	return "s"
}

// ask notes what is doubtful in the way a file was read.
func (p *csvPlan) ask(f *File, clock *csvClock, facts *csvFacts) {
	o := p.options
	name := p.nameOf
	say := fmt.Sprintf
	if d := p.namesDoubt; d.About != "" && o.Names == "" && facts.meta == nil {
		f.doubt(d, "-names "+map[string]string{firstRow: noNames, noNames: firstRow}[d.Taken])
	}
	if p.guessed && clock.plan != nil && o.Time == "" && p.kind == secondsClock {
		nameless := ""
		if p.columns[p.clock].name == "" {
			nameless = " has no name and"
		}
		f.doubt(Doubt{"time", say("%s%s rises evenly: it was taken for the time, in steps of %g s", name(p.clock), nameless, p.step), strconv.Itoa(p.clock + 1)}, "-time")
	}
	if hz := f.info.ClaimedRateHz; p.noUnit && clock.plan != nil && hz > fastHz {
		f.doubt(Doubt{"time", say("%s says no unit: it was read in steps of %g s, which makes %.4g samples a second", name(p.clock), p.step, hz), say("%d [%s]", p.clock+1, unitOf(p.step))}, say("-time %q", p.optionOf(p.clock)+" [ms]"))
	}
	if p.rising >= 0 && len(o.Columns) == 0 {
		f.doubt(Doubt{"columns", say("%s rises as a clock does and was read as a signal", name(p.rising)), ""}, say("-time %q", p.optionOf(p.rising)+" [ms]"))
	}
	if clock.plan != nil && p.kind != countClock && clock.quantum > 1.5*clock.interval && facts.commentRate == 0 && o.RateHz == 0 {
		f.doubt(Doubt{"rate", say("the times in %s change every %g s only: the rate is what the rows between come to, %.5g Hz", name(p.clock), clock.quantum, f.info.ClaimedRateHz), say("%.9g", f.info.ClaimedRateHz)}, "-rate")
	}
	if facts.rateDoubtful && clock.plan == nil && o.RateHz == 0 {
		f.doubt(Doubt{"rate", say("%.5g Hz was taken for the sample rate, from the line %q", facts.commentRate, shorten(facts.rateText)), say("%.9g", facts.commentRate)}, "-rate")
	}
	if clock.plan != nil && p.kind != countClock && !clock.alike && clock.quantum <= 1.5*clock.interval && facts.commentRate == 0 && o.RateHz == 0 && clock.uneven() {
		f.doubt(Doubt{"rate", say("the times in %s come unevenly: the rate is their mean, %.5g Hz", name(p.clock), f.info.ClaimedRateHz), say("%.9g", f.info.ClaimedRateHz)}, "-rate")
	}
	for _, i := range []int{p.clock, p.day} {
		if i < 0 || o.Dates != "" || p.orderShown || len(p.firstRows) == 0 || i >= len(p.firstRows[0]) || dayOrder(p.firstRows[0][i]) != orderEither {
			continue
		}
		what, taken, other := "month", MonthFirst, DayFirst
		if strings.Contains(dateLayouts[p.times.last], "02-01") {
			what, taken, other = "day", DayFirst, MonthFirst
		}
		f.doubt(Doubt{"dates", say("the dates, as %q, can be read in two ways: the %s was taken for the first number", p.firstRows[0][i], what), taken}, "-dates "+other)
		break
	}
	if o.Decimal == 0 && facts.grouped && !facts.decimals {
		way, taken := "thousands parted by a comma", "point"
		if p.point == ',' {
			way, taken = "decimals behind a comma", "comma"
		}
		f.doubt(Doubt{"decimal", say("numbers such as %q were read as %s", facts.groupedAs, way), taken}, "-decimal point or comma")
	}
	for k, i := range p.channels {
		c := p.columns[i]
		if facts.meta == nil && c.unit == "" && !c.unitSaid && c.digits > 0 {
			f.text.Doubts = append(f.text.Doubts, Doubt{"unit", fmt.Sprintf("the values of %q have decimals and no unit", f.info.Channels[k].Label), ""})
			break
		}
	}
}

// The order of day and month in a text.
const (
	orderNone   = iota // no such date, or day and month alike
	orderTold          // one is above 12
	orderEither        // the two may change places
)

func dayOrder(s string) int {
	m := slashDate.FindStringSubmatch(s)
	if m == nil {
		return orderNone
	}
	a, _ := strconv.Atoi(m[1])
	b, _ := strconv.Atoi(m[2])
	switch {
	case a > 12 || b > 12:
		return orderTold
	case a == b:
		return orderNone
	}
	return orderEither
}
