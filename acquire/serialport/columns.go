package serialport

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pulsewright/acquire"
)

type role int8

const (
	roleChannel role = iota
	roleMicros
	roleMillis
	roleSeconds
	roleSequence
	roleIgnored // a second clock, or left out by the user
)

// column is one field of each row.
type column struct {
	name, unit string // as the board says
	printed    string // unit behind each number, or ""
	label      string // as the user says, or name
	kind       string // as the user or the board says, or ""
	role       role
	digits     int
	channel    int // -1: none
}

// given takes apart what the user says of a column: "pulse", "pulse [mV]", "lead [mV] (ecg)",
// "-" to leave it out, or a clock's name.
func given(text string) (name, unit, kind string) {
	text, kind = acquire.TakeKind(text)
	if at := strings.IndexByte(text, '['); at > 0 && strings.HasSuffix(text, "]") {
		return strings.TrimSpace(text[:at]), strings.TrimSpace(text[at+1 : len(text)-1]), kind
	}
	name, unit = roundUnit(text)
	return name, unit, kind
}

// roundUnit takes a unit of volts in round brackets off a name, "ecg (mV)"; other words in them belong to the name.
func roundUnit(text string) (name, unit string) {
	if at := strings.LastIndexByte(text, '('); at > 0 && strings.HasSuffix(text, ")") {
		if u := strings.TrimSpace(text[at+1 : len(text)-1]); perVolt(u) != 0 {
			return strings.TrimSpace(text[:at]), u
		}
	}
	return text, ""
}

// perVolt is how many of a unit are a volt, 0 for another unit.
func perVolt(unit string) float64 {
	switch unit {
	case "V", "v":
		return 1
	case "mV", "mv":
		return 1e3
	case "uV", "µV", "μV", "uv":
		return 1e6
	case "nV":
		return 1e9
	}
	return 0
}

// told is a column as others are told of it.
func (c column) told(looks bool) acquire.Column {
	t := acquire.Column{Name: c.label, Unit: c.unit, Use: acquire.UseSignal}
	switch c.role {
	case roleIgnored:
		t.Use = acquire.UseNothing
	case roleSequence:
		t.Use, t.Clock = acquire.UseCounter, "seq"
	case roleMicros:
		t.Use, t.Clock = acquire.UseClock, "t_us"
	case roleMillis:
		t.Use, t.Clock = acquire.UseClock, "t_ms"
	case roleSeconds:
		t.Use, t.Clock = acquire.UseClock, "t_s"
	}
	if looks && t.Use == acquire.UseSignal && c.unit == "" {
		t.Looks = "V"
	}
	return t
}

// volts tells that numbers look like volts: two decimals or more, from 0 to a supply of 5 V.
func (r *ramp) volts() bool {
	return r.n > 0 && r.digits >= 2 && r.lowest >= 0 && r.highest <= 5.5 && r.highest > 0
}

// leaveOut is the name by which the user leaves a column out.
const leaveOut = "-"

// roleOf is what a name alone says. sure is false where the values must agree too.
func roleOf(name, unit string) (r role, sure bool) {
	name = strings.ToLower(strings.ReplaceAll(name, " ", "_"))
	switch name {
	case leaveOut:
		return roleIgnored, true
	case "t_us", "micros", "time_us", "timestamp_us", "t_micros", "microseconds":
		return roleMicros, true
	case "t_ms", "millis", "time_ms", "timestamp_ms", "t_millis", "milliseconds":
		return roleMillis, true
	case "t_s", "time_s", "timestamp_s", "seconds", "secs":
		return roleSeconds, true
	case "seq", "sequence":
		return roleSequence, true
	case "us":
		return roleMicros, false
	case "ms":
		return roleMillis, false
	case "s", "sec":
		return roleSeconds, false
	case "t", "time", "timestamp", "clock", "zeit", "tijd", "temps", "tiempo", "tempo":
		switch strings.ToLower(unit) {
		case "us", "µs", "μs":
			return roleMicros, true
		case "ms":
			return roleMillis, true
		case "s", "sec":
			return roleSeconds, true
		}
		return roleMillis, false
	case "n", "i", "index", "sample", "nr", "no", "counter", "count":
		return roleSequence, false
	}
	return roleChannel, true
}

// ramp is what is learnt of a column's values while they are read: whether they rise like
// a clock or a counter.
type ramp struct {
	n, falls, still, ones int
	first, last           float64
	lowest, highest       float64
	sum, largest          float64
	digits                int
	whole                 bool
}

func (r *ramp) add(v number) {
	if v.missing {
		r.falls += 100
		return
	}
	x := v.float()
	if r.n == 0 {
		r.whole, r.first, r.lowest, r.highest = true, x, x, x
	} else {
		switch d := x - r.last; {
		case d < 0 && wraps(r.last, x):
			r.falls++
		case d < 0:
			r.falls += 100
		case d == 0:
			r.still++
		default:
			if d == 1 {
				r.ones++
			}
			r.sum += d
			r.largest = max(r.largest, d)
		}
	}
	r.lowest, r.highest = min(r.lowest, x), max(r.highest, x)
	r.digits = max(r.digits, int(v.digits))
	r.whole = r.whole && v.digits == 0
	r.last = x
	r.n++
}

const (
	rampRows  = 12 // at least
	rampFalls = 1  // wraps, at most
	// A nameless counter must have risen so often without a fall.
	counterRows = 64
)

// wraps tells that a fall is that of a counter of 16 or 32 bits, signed or not.
func wraps(last, x float64) bool {
	for _, m := range [...]float64{1 << 16, 1 << 32} {
		if last >= 0.75*m && last < m && x >= 0 && x < m/4 || last >= 0.375*m && last < m/2 && x < -0.375*m {
			return true
		}
	}
	return false
}

// role is what a ramp is: a counter, a clock in some unit, or none of these (roleChannel).
// seconds is how long it was listened, 0 if that is not known.
func (r *ramp) role(seconds float64) role {
	steps := r.n - 1
	if r.n < rampRows || r.falls > rampFalls || r.sum <= 0 || 10*r.still > 9*steps {
		return roleChannel
	}
	mean := r.sum / float64(steps-r.falls)
	if !r.whole {
		if mean*float64(steps) > 0.3*seconds && (seconds == 0 && mean < 1 || mean*float64(steps) < 3*seconds) && r.digits >= 2 {
			return roleSeconds
		}
	}
	moving := float64(steps - r.falls - r.still)
	if usual := r.sum / moving; r.largest > 40*usual || r.largest < 1 {
		return roleChannel
	}
	if seconds > 0.3 {
		// What waited in a buffer makes the time heard too short: much is allowed, but for
		// steps of one, which a counter has too.
		perSecond, counts := r.sum/seconds, 10*r.ones >= 9*(steps-r.falls)
		switch {
		case counts && perSecond > 600 && perSecond < 1600, !counts && perSecond > 200 && perSecond < 8000:
			return roleMillis
		case perSecond > 200e3 && perSecond < 8000e3:
			return roleMicros
		}
	} else {
		switch {
		case mean >= 2 && mean <= 200:
			return roleMillis
		case mean >= 500 && mean <= 200e3:
			return roleMicros
		}
	}
	if r.whole && 10*r.ones >= 9*(steps-r.falls) {
		return roleSequence
	}
	return roleChannel
}

// assign gives the columns their roles by name and by what their values do. It returns
// where time and counter stand, -1 for none, and the number of channels.
func assign(columns []column, ramps []ramp, seconds float64, byUser bool) (timeColumn, seqColumn, channels int) {
	timeColumn, seqColumn = -1, -1
	take := func(i int, r role) {
		c := &columns[i]
		switch {
		case r == roleSequence && seqColumn < 0:
			c.role, seqColumn = r, i
		case (r == roleMicros || r == roleMillis || r == roleSeconds) && timeColumn < 0:
			c.role, timeColumn = r, i
		default:
			c.role = roleIgnored
		}
	}
	left := len(columns)
	for i, c := range columns {
		if r, sure := roleOf(c.label, c.unit); r != roleChannel && sure {
			take(i, r)
			left--
		}
	}
	for i, c := range columns {
		named, sure := roleOf(c.label, c.unit)
		if c.role != roleChannel || byUser || sure && (named != roleChannel || c.label != "") || left < 2 {
			continue // what the user names is what the user says
		}
		r := ramps[i].role(seconds)
		switch {
		case r == roleChannel:
			continue
		case c.label == "" && (r == roleSequence && seqColumn >= 0 || r != roleSequence && timeColumn >= 0):
			continue // one clock is enough, a second ramp is a signal
		case c.label == "" && r == roleSequence && ramps[i].n < counterRows:
			continue // a saw's teeth rise like a counter, too
		case c.label != "" && (named == roleSequence) != (r == roleSequence):
			continue
		}
		take(i, r)
		left--
	}
	for i := range columns {
		columns[i].channel = -1
		if columns[i].role == roleChannel {
			columns[i].channel = channels
			channels++
		}
	}
	return timeColumn, seqColumn, channels
}

// ticks is how a time column's numbers become whole ticks of the board's clock.
func (c column) ticks(v number) (ticks int64, fraction float64) {
	p := powersOfTen[v.digits]
	if c.role != roleSeconds {
		return v.mantissa / p, float64(v.mantissa%p) / float64(p)
	}
	return int64(math.Round(v.float() * 1e6)), 0
}

// perSecond is how many ticks a second has.
func (c column) perSecond() float64 {
	if c.role == roleMillis {
		return 1e3
	}
	return 1e6
}

// resolution of a time column in seconds.
func (c column) resolution(digits int) float64 {
	switch c.role {
	case roleMillis:
		return 1e-3 / float64(powersOfTen[digits])
	case roleSeconds:
		return max(1e-6, 1/float64(powersOfTen[digits]))
	}
	return 1e-6 / float64(powersOfTen[digits])
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
	perUnit := perVolt(unit)
	if perUnit != 0 {
		c.Unit = "V"
	} else {
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

// parseHeader reads names, units and kinds; nil where a line is no header. It is strict when the names are told
// apart by commas, semicolons or tabs and not merely by spaces.
func parseHeader(b []byte) *header {
	text := string(b)
	strict := strings.ContainsAny(text, ",;\t")
	var parts []string
	if strict {
		parts = strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == '\t' })
	} else {
		for _, w := range strings.Fields(text) {
			if strings.HasPrefix(w, "[") && len(parts) > 0 || saysMore(w, parts) {
				parts[len(parts)-1] += w
			} else {
				parts = append(parts, w)
			}
		}
	}
	if len(parts) == 0 || len(parts) > maxColumns {
		return nil
	}
	h := &header{strict: strict}
	for _, p := range parts {
		name, kind := acquire.TakeKind(strings.Trim(strings.TrimSpace(p), `"`))
		name, unit := roundUnit(name)
		if at := strings.IndexByte(name, '['); at >= 0 {
			end := strings.IndexByte(name, ']')
			if end != len(name)-1 {
				return nil
			}
			name, unit = strings.TrimSpace(name[:at]), strings.TrimSpace(name[at+1:end])
		}
		if !isNameStart([]byte(name)) || strings.ContainsAny(name, "!?:=<>|*{}\\") || strings.HasSuffix(name, ".") ||
			len(unit) > maxNameBytes {
			return nil
		}
		h.names, h.units, h.kinds = append(h.names, name), append(h.units, unit), append(h.kinds, kind)
	}
	return h
}

// saysMore tells that a word is the unit or the kind, in round brackets, of the name before it.
func saysMore(word string, before []string) bool {
	if len(before) == 0 {
		return false
	}
	last := before[len(before)-1]
	_, kind := acquire.TakeKind(last + word)
	_, unit := roundUnit(last + word)
	return word[0] == '(' && (kind != "" || unit != "")
}

// header is a line that may name the columns, until the next row tells.
type header struct {
	names, units, kinds []string
	text                []byte // empty for a first line, perhaps torn
	strict              bool
}

func (h *header) same(as *header) bool {
	return slices.Equal(h.names, as.names) && slices.Equal(h.units, as.units) && slices.Equal(h.kinds, as.kinds)
}
