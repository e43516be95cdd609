package recording

import (
	"math"
	"slices"
	"strings"
	"time"
)

// clockKind is what a column tells of time.
type clockKind int

const (
	noClock clockKind = iota
	secondsClock
	textClock // h:mm:ss.s or a date and time
	countClock
	dateOnly // a date beside a time: no signal, tells the start
)

// clockUnits are the units of a clock, in seconds.
var clockUnits = map[string]float64{"": 1, "s": 1, "sec": 1, "second": 1, "seconds": 1, "sekunden": 1, "hh:mm:ss.mmm": 1, "hh:mm:ss": 1,
	"ms": 1e-3, "msec": 1e-3, "milliseconds": 1e-3, "millis": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "microseconds": 1e-6, "micros": 1e-6,
	"ns": 1e-9, "min": 60, "minutes": 60}

// clockWords name a clock without its unit, in a few languages.
var clockWords = []string{"t", "time", "elapsed_time", "elapsed", "timestamp", "time_stamp", "datetime", "date_time", "clock", "epoch", "unix", "unixtime", "unix_time", "uhrzeit", "zeit",
	"zeitstempel", "temps", "heure", "tiempo", "tempo", "tid", "czas", "čas", "aika", "tijd"}

// countWords name a running number.
var countWords = []string{"sample", "sample#", "sample_#", "samples", "sample_number", "sample_no", "sample_index", "index", "seq", "n", "#", "idx", "row", "nr"}

// clockOf tells from a column's name whether it is a clock, and its step in seconds.
func clockOf(name, unit string) (clockKind, float64) {
	n := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(name, " ", "_"), "-", "_"))
	step, known := clockUnits[strings.ToLower(unit)]
	if !known {
		return noClock, 0
	}
	switch n {
	case "date", "datum", "day", "fecha", "data":
		return dateOnly, 0
	}
	if slices.Contains(countWords, n) {
		if unit == "" {
			return countClock, 1
		}
		return noClock, 0
	}
	if slices.Contains(clockWords, n) {
		return secondsClock, step
	}
	// A unit by itself, or at the end of a word for time: ms, t_us, time_ms, epoch_s.
	word, last := "t", n
	if i := strings.LastIndexByte(n, '_'); i > 0 {
		word, last = n[:i], n[i+1:]
	}
	if own, ok := clockUnits[last]; ok && last != "" && last != "min" && slices.Contains(clockWords, word) {
		return secondsClock, own
	}
	return noClock, 0
}

// namesUnit tells that a clock's name ends in its unit, or is one, as time_s, sec or millis.
func namesUnit(name string) bool {
	n := strings.ToLower(strings.NewReplacer(" ", "_", "-", "_").Replace(name))
	_, unit := clockUnits[n[strings.LastIndexByte(n, '_')+1:]]
	return unit && n != ""
}

// epochStep is the step of times that are so large: seconds since 1970 have ten
// digits, milliseconds thirteen, microseconds sixteen, nanoseconds nineteen.
func epochStep(x float64) float64 {
	switch x = math.Abs(x); {
	case x >= 1e17:
		return 1e-9
	case x >= 1e14:
		return 1e-6
	case x >= 1e11:
		return 1e-3
	}
	return 1
}

// dateLayouts are how a date and a time are written; fractions of a second may
// follow after a point or a comma. Between slashes the month stands first unless
// the file shows otherwise.
var dateLayouts = []string{time.RFC3339Nano, "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006/01/02 15:04:05", "2006-01-02-15:04:05", "02.01.2006 15:04:05",
	"2.1.2006 15:04:05", "02.01.06 15:04:05", "01/02/2006 03:04:05 PM", "1/2/2006 3:04:05 PM", "01/02/2006 15:04:05", "02/01/2006 15:04:05", "02/01/2006 03:04:05 PM", "02-01-2006 15:04:05", "01-02-2006 15:04:05"}

var dayLayouts = []string{"2006-01-02", "02.01.2006", "2.1.2006", "02.01.06", "01/02/2006", "02/01/2006", "2006/01/02"}

// clockReader reads times as text; it tries first what fitted last.
type clockReader struct {
	last  int
	dates string // DayFirst, MonthFirst, or "": the month unless the file shows otherwise
}

// skip tells a layout of the other order of day and month.
func (c *clockReader) skip(layout string) bool {
	switch c.dates {
	case DayFirst:
		return strings.HasPrefix(layout, "01/02/") || strings.HasPrefix(layout, "1/2/") || strings.HasPrefix(layout, "01-02-")
	case MonthFirst:
		return strings.HasPrefix(layout, "02/01/") || strings.HasPrefix(layout, "02-01-")
	}
	return false
}

// read takes h:mm:ss.s, mm:ss.s, h:mm:ss:mmm, or a date with a time.
func (c *clockReader) read(s string) (seconds float64, date time.Time, ok bool) {
	s = strings.Trim(s, "'[] ")
	if len(s) < 4 || s[0] < '0' || s[0] > '9' {
		return 0, time.Time{}, false
	}
	if strings.ContainsAny(s, "-/T") || strings.Count(s, ".") > 1 {
		for k := range dateLayouts {
			i := (c.last + k) % len(dateLayouts)
			if c.skip(dateLayouts[i]) {
				continue
			}
			if t, err := time.ParseInLocation(dateLayouts[i], s, time.Local); err == nil {
				c.last = i
				return float64(t.Unix()) + float64(t.Nanosecond())*1e-9, t, true
			}
		}
		return 0, time.Time{}, false
	}
	parts := strings.Split(strings.Replace(s, ",", ".", 1), ":")
	if len(parts) < 2 || len(parts) > 4 {
		return 0, time.Time{}, false
	}
	for i, p := range parts {
		x, d, ok := decimal(p, '.')
		if !ok || x < 0 || d > 0 && i < len(parts)-1 {
			return 0, time.Time{}, false
		}
		if i == 3 { // a fraction of a second after one more colon
			seconds += float64(x) / math.Pow10(len(p))
			break
		}
		seconds = seconds*60 + float64(x)/math.Pow10(d)
	}
	return seconds, time.Time{}, true
}

// fractionDigits is how many decimals of a second a text tells.
func fractionDigits(s string) int {
	s = strings.TrimRight(s, "'] ")
	if i := strings.LastIndexAny(s, ".,"); i > strings.LastIndexByte(s, ':') && strings.Contains(s, ":") {
		n := 0
		for i+1+n < len(s) && '0' <= s[i+1+n] && s[i+1+n] <= '9' {
			n++
		}
		return n
	}
	if strings.Count(s, ":") == 3 {
		return 3
	}
	return 0
}

// readDay reads a date without a time.
func (c *clockReader) readDay(s string) (time.Time, bool) {
	for _, l := range dayLayouts {
		if c.skip(l) {
			continue
		}
		if t, err := time.ParseInLocation(l, strings.Trim(s, "'[] "), time.Local); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}
