// Package firmware computes a signal path in the whole numbers of a small processor,
// and writes it as C for the board: one path in the live view, for a file and in
// firmware.
//
// Each section is direct form 1 with one wide accumulator and first-order error
// feedback: what rounding cuts off an output is added to the next one, so that slow
// high-passes neither stick nor limit-cycle. How many bits up a count is inside follows
// from the worst input there is, so that no section's output ever wraps. [Filter] and the
// C code of [Filter.C] give the same numbers, bit for bit. Samples are counts of a converter.
package firmware

import (
	"fmt"
	"math"
	"math/cmplx"

	"pulsewright/dsp/filter"
)

// Form is how coefficients are kept.
type Form string

const (
	// Exact has coefficients of 30 fractional bits and an accumulator of 64.
	Exact Form = "exact"
	// Small has coefficients of 14 fractional bits and an accumulator of 32: about
	// a third of the time on an 8-bit processor, for corners not too far below the rate.
	Small Form = "small"
)

// Config says what the firmware reads.
type Config struct {
	RateHz float64
	// Bits of the converter, 8 to 24 (Small: to 12); Signed counts lie about 0.
	Bits   int
	Signed bool
	// Invert turns the counts over, lowest for highest, before anything else.
	Invert bool
	Form   Form // "" stands for Exact
}

// MostErrorDB is how far rounded coefficients may move the path's response, as a share of
// the pass band's gain, before New refuses them.
const MostErrorDB = 0.5

// section in whole numbers: y = (b0 x + b1 x1 + b2 x2 − a1 y1 − a2 y2 + e) >> q.
type section struct {
	b    [3]int64
	a    [2]int64
	gain int64 // at 0 Hz, in 1/2^q
	x, y [2]int64
	e    int64
}

// Filter is a cascade in whole numbers. Not safe for concurrent use.
type Filter struct {
	cfg       Config
	q         uint // fractional bits of the coefficients
	guard     uint // a count is so many bits up inside
	fraction  uint // and so many in the output
	low, high int64
	sections  []section
	wanted    filter.Sections
	noise     float64 // counts
	started   bool
}

// New rounds sections, which were designed for cfg.RateHz. Errors name what does not
// fit: bits, a coefficient, a section that rounding makes unstable, a response that it
// moves by more than MostErrorDB, a section that overflows, too much noise.
func New(sections filter.Sections, cfg Config) (*Filter, error) {
	if cfg.Form == "" {
		cfg.Form = Exact
	}
	most := 24
	f := &Filter{cfg: cfg, q: 30, wanted: sections}
	// Bits of a sample inside, without its sign, and those that no section's output exceeds:
	// with 30 the five products of Exact add up within 64 bits; Small lets their sum wrap
	// on the way, which leaves its end right.
	room, word := uint(27), uint(30)
	switch cfg.Form {
	case Exact:
	case Small:
		f.q, room, word, most = 14, 15, 15, 12
	default:
		return nil, fmt.Errorf("firmware: form %q: choose %s or %s", cfg.Form, Exact, Small)
	}
	if cfg.Bits < 8 || cfg.Bits > most {
		return nil, fmt.Errorf("firmware: %d bits: the form %s takes converters of 8 to %d", cfg.Bits, cfg.Form, most)
	}
	if !(cfg.RateHz > 0) || math.IsInf(cfg.RateHz, 0) {
		return nil, fmt.Errorf("firmware: rate %g Hz: give the board's sample rate", cfg.RateHz)
	}
	if err := sections.Check(); err != nil {
		return nil, err
	}
	f.high = 1<<cfg.Bits - 1
	if cfg.Signed {
		f.low, f.high = -1<<(cfg.Bits-1), 1<<(cfg.Bits-1)-1
	}
	width := uint(cfg.Bits)
	if cfg.Signed {
		width--
	}
	f.guard = room - width
	one := math.Exp2(float64(f.q))
	remedy := "choose a lower rate or a higher corner"
	if cfg.Form == Small {
		remedy = fmt.Sprintf("choose the form %s, a lower rate or a higher corner", Exact)
	}
	for i, s := range sections {
		var r section
		b, a := s.B(), s.A()
		for k, v := range b {
			r.b[k] = int64(math.Round(v * one))
		}
		for k, v := range a {
			r.a[k] = int64(math.Round(v * one))
		}
		// Zeros at 0 Hz stay there: a high-pass lets nothing of the level through.
		if sum := b[0] + b[1] + b[2]; math.Abs(sum) < 1e-12*(math.Abs(b[0])+math.Abs(b[1])+math.Abs(b[2])) {
			r.b[1] = -r.b[0] - r.b[2]
		}
		unit := int64(1) << f.q
		if !(r.a[1] < unit && r.a[0] < unit+r.a[1] && -r.a[0] < unit+r.a[1]) {
			return nil, fmt.Errorf("firmware: section %d: rounded to %d fractional bits it is no longer stable: its corner lies too far below the rate of %g Hz; %s", i+1, f.q, cfg.RateHz, remedy)
		}
		r.gain = int64(math.Round(float64(r.b[0]+r.b[1]+r.b[2]) / float64(unit+r.a[0]+r.a[1]) * one))
		for _, v := range []int64{r.b[0], r.b[1], r.b[2], r.a[0], r.a[1], r.gain} {
			if v >= 2*unit || v < -2*unit {
				return nil, fmt.Errorf("firmware: section %d: a coefficient or gain of %g does not fit; it must lie between −2 and 2", i+1, float64(v)/one)
			}
		}
		f.sections = append(f.sections, r)
	}
	if at, db := f.Error(); db > MostErrorDB {
		return nil, fmt.Errorf("firmware: rounded to %d fractional bits gain and phase are %.2f dB off at %.3g Hz, more than %g dB: %s", f.q, db, at, MostErrorDB, remedy)
	}
	if err := f.fit(word); err != nil {
		return nil, err
	}
	return f, nil
}

// Fraction is how many fractional bits an output has: it is counts times 2^Fraction.
func (f *Filter) Fraction() int { return int(f.fraction) }

// Response is the complex gain of the rounded path.
func (f *Filter) Response(freqHz float64) complex128 {
	z := cmplx.Exp(complex(0, -2*math.Pi*freqHz/f.cfg.RateHz))
	unit := int64(1) << f.q
	h := complex(1, 0)
	for _, s := range f.sections {
		c := func(v int64) complex128 { return complex(float64(v), 0) }
		h *= (c(s.b[0]) + c(s.b[1])*z + c(s.b[2])*z*z) / (c(unit) + c(s.a[0])*z + c(s.a[1])*z*z)
	}
	return h
}

// Error is the frequency at which rounded coefficients move the path's response most, gain
// and phase together, and by how many decibels of the pass band's gain.
func (f *Filter) Error() (freqHz, db float64) {
	top, worst := 0.0, 0.0
	const steps = 600
	for i := range steps {
		hz := f.cfg.RateHz / 2 * math.Pow(1e-5, 1-float64(i)/(steps-1))
		want := f.wanted.Response(hz, f.cfg.RateHz)
		top = max(top, cmplx.Abs(want))
		if e := cmplx.Abs(f.Response(hz) - want); e > worst || math.IsNaN(e) {
			worst, freqHz = e, hz
		}
	}
	if top == 0 {
		return 0, 0
	}
	return freqHz, 20 * math.Log10(1+worst/top)
}

// Process filters counts; a count outside the converter's range is taken as its end.
// Outputs are counts times 2^Fraction. The first sample is taken as if it had stood for
// ever. dst and src have one length, or Process panics; they may be the same.
func (f *Filter) Process(dst, src []int32) {
	if len(dst) != len(src) {
		panic(fmt.Sprintf("firmware: Process: dst has %d samples, src %d; must be equal", len(dst), len(src)))
	}
	mask := int64(1)<<f.q - 1
	for i, count := range src {
		x := min(max(int64(count), f.low), f.high)
		if f.cfg.Invert {
			x = f.low + f.high - x
		}
		x <<= f.guard
		if !f.started {
			f.started = true
			v := x
			for k := range f.sections {
				s := &f.sections[k]
				s.x = [2]int64{v, v}
				v = v * s.gain >> f.q
				s.y = [2]int64{v, v}
				s.e = 0
			}
		}
		for k := range f.sections {
			s := &f.sections[k]
			acc := s.b[0]*x + s.b[1]*s.x[0] + s.b[2]*s.x[1] - s.a[0]*s.y[0] - s.a[1]*s.y[1] + s.e
			s.e = acc & mask
			y := acc >> f.q
			s.x[1], s.x[0] = s.x[0], x
			s.y[1], s.y[0] = s.y[0], y
			x = y
		}
		dst[i] = int32(x >> (f.guard - f.fraction))
	}
}

// Reset forgets the past: the next sample starts in steady state.
func (f *Filter) Reset() { f.started = false }
