package firmware

import (
	"embed"
	"fmt"
	"math"
	"strings"
	"text/template"
)

//go:embed c
var templates embed.FS

// render fills in one of the templates in c; they are the program's own, so a failure
// is a fault of the program.
func render(name string, data any) string {
	t, err := template.ParseFS(templates, "c/*.tmpl")
	if err != nil {
		panic(err)
	}
	var b strings.Builder
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		panic(err)
	}
	return b.String()
}

// caution begins every exported program.
const caution = "A learning aid, not a medical device. With electrodes on a person: batteries only, nothing plugged into the mains."

// comment makes lines fit for // comments.
func comment(about []string) []string {
	list := []string{caution}
	for _, a := range about {
		list = append(list, strings.Map(func(r rune) rune {
			if r < ' ' || r == '\\' {
				return ' '
			}
			return r
		}, a))
	}
	return list
}

// cascade is what the templates are told of a Filter.
type cascade struct {
	Name, State, Upper string
	Sections           []sectionC
	Room               int
	Q                  uint
	Data, Coefficient  string
	Sum, Mask, Read    string
	Total              string // type in which a section's products are added up
	Wraps              bool
	Low, High          int64
	Invert             bool
	Ends               int64 // their sum
	Guard, One         int64
	Drop, Fraction     uint
}

type sectionC struct {
	Numbers []int64
	About   string
}

func (f *Filter) cascade(name, state string) cascade {
	c := cascade{Name: name, State: state, Upper: strings.ToUpper(name), Room: max(1, len(f.sections)), Q: f.q,
		Data: "int32_t", Coefficient: "int32_t", Sum: "int64_t", Total: "int64_t", Mask: "0x3fffffffL", Read: "PULSEWRIGHT_READ32",
		Low: f.low, High: f.high, Invert: f.cfg.Invert, Ends: f.low + f.high, Guard: 1 << f.guard, One: 1 << f.fraction, Drop: f.guard - f.fraction, Fraction: f.fraction}
	if f.cfg.Form == Small {
		c.Data, c.Coefficient, c.Sum, c.Mask, c.Read = "int16_t", "int16_t", "int32_t", "0x3fffL", "PULSEWRIGHT_READ16"
		c.Total, c.Wraps = "uint32_t", true
	}
	unit := math.Exp2(float64(f.q))
	for _, s := range f.sections {
		n := []int64{s.b[0], s.b[1], s.b[2], s.a[0], s.a[1], s.gain}
		var about []string
		for _, v := range n {
			about = append(about, fmt.Sprintf("%.4g", float64(v)/unit))
		}
		c.Sections = append(c.Sections, sectionC{n, strings.Join(about, " ")})
	}
	return c
}

// rate is the sample rate in at most four digits, as texts show it.
func rate(hz float64) string { return fmt.Sprintf("%.4g", hz) }

// C is the path as one C header for any C99 or C++ compiler with arithmetic right
// shifts. Lines of about tell a reader what it is; they become comments.
func (f *Filter) C(about []string) string {
	return render("path.h.tmpl", struct {
		About []string
		Rate  string
		Path  cascade
	}{comment(about), rate(f.cfg.RateHz), f.cascade("path", "pulsewright_state")})
}

// finderC is what the template of the finder is told.
type finderC struct {
	BandLow, BandHigh        float64
	ShortMs, LongMs          int
	Ring, Every, HalfStep    int
	Intervals                int
	TwiceIntervals, Least    int
	Alike, SteadyShare       int64
	Refract, Width, Slowest  int
	Near                     int
	Near16, Height16         int64
	PerMinute                int64
	Delay, Lead, Tail, Half2 int
	MeanShift, StuckMost     int
	W1Unit, W2Unit, Offset   int64
	Shift                    int
	Low, High                int32
	Squared                  bool
}

func (f *Finder) finderC() finderC {
	n, m := f.n, f.m
	w1, w2 := int64(2*n.half1+1), int64(2*n.half2+1)
	ms := func(steps int64) int {
		return int(math.Round(1000 * float64(steps) * float64(n.every) / f.band.cfg.RateHz))
	}
	return finderC{BandLow: m.lowHz, BandHigh: m.highHz, ShortMs: ms(w1), LongMs: ms(w2), Ring: len(f.ring), Every: n.every, HalfStep: n.every / 2,
		Intervals: intervalsFor, TwiceIntervals: 2 * intervalsFor, Least: leastFor, Alike: int64(m.alike), SteadyShare: steadyShare,
		Refract: n.refract, Width: n.width, Slowest: n.slowest, Near: n.near, Near16: n.near16, Height16: n.height16, PerMinute: n.perMinute,
		Delay: n.delay, Lead: n.half2 - n.half1, Tail: n.half2 + n.half1 + 1, Half2: n.half2, MeanShift: meanShift, StuckMost: stuckMost,
		W1Unit: w1 * offsetUnit, W2Unit: w2 * offsetUnit, Offset: n.offset * w1 * w2, Shift: n.shift, Low: n.stuckLow, High: n.stuckTop, Squared: m.squared}
}
