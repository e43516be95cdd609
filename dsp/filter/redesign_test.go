package filter_test

import (
	"math"
	"testing"

	"pulsewright/dsp/filter"
)

// TestRedesignHasNoClick changes between filters while a heartbeat-like signal on
// an offset runs, and compares the largest step from sample to sample with that of
// the same signal in the two filters left alone. The bound: the larger of the two,
// plus the fade's own share, at most |jump| π/(2·0.1 s·rate) a sample.
func TestRedesignHasNoClick(t *testing.T) {
	const rate = 1000
	lp := func(f float64, n int) filter.Sections { return must(filter.ButterworthLowPass(rate, f, n)) }
	hp := func(f float64, n int) filter.Sections { return must(filter.ButterworthHighPass(rate, f, n)) }
	notch := func(f, b float64, n int) filter.Sections { return must(filter.Notch(rate, f, b, n)) }
	x := make([]float64, 6000)
	for i := range x {
		s := float64(i) / rate
		beat := math.Mod(s, 0.8) - 0.3
		x[i] = 2.5 + math.Exp(-beat*beat/(2*0.02*0.02)) + 0.05*math.Sin(2*math.Pi*50*s)
	}
	for _, c := range []struct {
		name     string
		from, to filter.Sections
	}{
		{"low-pass 40 to 15", lp(40, 2), lp(15, 2)},
		{"low-pass 15 to 40", lp(15, 2), lp(40, 2)},
		{"low-pass 40 to 1", lp(40, 2), lp(1, 2)},
		{"low-pass order 2 to 7", lp(40, 2), lp(40, 7)},
		{"low-pass order 8 to 1", lp(40, 8), lp(40, 1)},
		{"low-pass on", nil, lp(15, 2)},
		{"low-pass off", lp(15, 2), nil},
		{"rc to butterworth", lp(10, 1), lp(10, 4)},
		{"high-pass 0.5 to 0.05", hp(0.5, 1), hp(0.05, 1)},
		{"high-pass 0.05 to 0.5", hp(0.05, 2), hp(0.5, 2)},
		{"high-pass on", nil, hp(0.5, 2)},
		{"high-pass off", hp(0.5, 2), nil},
		{"notch 50 to 60", notch(50, 5, 3), notch(60, 5, 3)},
		{"notch 50 to 50.1", notch(50, 5, 3), notch(50.1, 5, 3)},
		{"notch narrower", notch(50, 10, 1), notch(50, 1, 1)},
		{"notch on", nil, notch(50, 5, 3)},
		{"notch off", notch(50, 5, 3), nil},
	} {
		// On the rise, at the peak and at rest.
		for _, at := range []int{3080, 3100, 3500} {
			before, after := make([]float64, len(x)), make([]float64, len(x))
			cascade(c.from, rate).Process(before, x)
			cascade(c.to, rate).Process(after, x)
			f, y := cascade(c.from, rate), make([]float64, len(x))
			f.Process(y[:at], x[:at])
			if err := f.Redesign(c.to); err != nil {
				t.Fatal(err)
			}
			f.Process(y[at:], x[at:])

			step := func(y []float64) (m float64) {
				for i := 1; i < len(y); i++ {
					m = math.Max(m, math.Abs(y[i]-y[i-1]))
				}
				return m
			}
			natural := math.Max(step(before), step(after))
			jump := math.Abs(before[at-1]-after[at-1]) + 2.5
			bound := 1.1*natural + 1e-9
			if len(c.from) != len(c.to) {
				bound += jump * math.Pi / (2 * filter.FadeSeconds * rate)
			}
			if got := step(y[at-2 : at+200]); got > bound {
				t.Errorf("%s at %d: step %.4g, bound %.4g (natural %.4g)", c.name, at, got, bound, natural)
			}
			// The swing stays within that of the two filters.
			for i := at; i < len(y); i++ {
				if lo, hi := -1.2, 3.7; y[i] < lo || y[i] > hi {
					t.Fatalf("%s at %d: swings to %g at %d", c.name, at, y[i], i)
				}
			}
			// And ends as the new filter.
			settle := int(rate * f.SettlingSeconds(1e-3))
			for i := at + settle + 200; i < len(y); i++ {
				if d := math.Abs(y[i] - after[i]); d > 0.02 {
					t.Fatalf("%s at %d: %g from the new filter at %d", c.name, at, d, i)
				}
			}
		}
	}
}

// TestRedesignToItself changes nothing but rounding.
func TestRedesignToItself(t *testing.T) {
	const rate = 250
	s := filter.Join(must(filter.ButterworthHighPass(rate, 0.5, 3)), must(filter.Notch(rate, 50, 5, 2)), must(filter.ButterworthLowPass(rate, 40, 3)))
	x := offsetNoise(2000)
	want, got := make([]float64, len(x)), make([]float64, len(x))
	cascade(s, rate).Process(want, x)
	f := cascade(s, rate)
	for i := 0; i < len(x); i += 100 {
		f.Process(got[i:i+100], x[i:i+100])
		if err := f.Redesign(s); err != nil {
			t.Fatal(err)
		}
	}
	for i := range want {
		if math.Abs(got[i]-want[i]) > 1e-11 {
			t.Fatalf("sample %d: %v, without redesign %v", i, got[i], want[i])
		}
	}
}

// TestVanishedStates: after a signal ends in exact zeros, states must not linger
// as subnormal numbers; they end at zero.
func TestVanishedStates(t *testing.T) {
	const rate = 250
	f := cascade(must(filter.Notch(rate, 50, 5, 2)), rate)
	x := offsetNoise(4096)
	f.Process(x, x)
	x = make([]float64, 40960)
	f.Process(x, x)
	for i := len(x) - 4096; i < len(x); i++ {
		if x[i] != 0 {
			t.Fatalf("sample %d is still %g", i, x[i])
		}
	}
}
