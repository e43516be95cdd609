// Package dsptest checks that a streaming processor keeps the contract of dsp.Stream
// and that a filter does what it declares. It is used by tests only.
package dsptest

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"pulsewright/dsp"
	"pulsewright/dsp/filter"
)

// Signal is a test signal: an offset, a slow and a fast sine and noise, the same
// for the same seed.
func Signal(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		t := float64(i)
		x[i] = 2.5 + math.Sin(0.013*t+float64(seed)) + 0.2*math.Sin(0.7*t) + 0.1*r.NormFloat64()
	}
	return x
}

// Stream checks what every dsp.Stream keeps: split-invariance, in place as out of
// place, Reset as fresh, no allocation, panic on wrong lengths, an empty call does
// nothing, no step at the start of a constant.
func Stream(t *testing.T, make_ func() dsp.Stream) {
	t.Helper()
	const n = 9001 // crosses the inner blocks of 4096
	src := Signal(n, 7)
	want := make([]float64, n)
	make_().Process(want, src)

	t.Run("split-invariance", func(t *testing.T) {
		for _, size := range []int{1, 2, 3, 4, 5, 7, 16, 31, 64, 255, 1000, 4095, 4096, 4097} {
			s, got := make_(), make([]float64, n)
			for i := 0; i < n; i += size {
				j := min(i+size, n)
				s.Process(got[i:j], src[i:j])
			}
			same(t, fmt.Sprintf("blocks of %d", size), got, want)
		}
		r := rand.New(rand.NewPCG(3, 4))
		s, got := make_(), make([]float64, n)
		for i := 0; i < n; {
			j := min(i+r.IntN(300), n)
			s.Process(got[i:j], src[i:j])
			i = j
		}
		same(t, "random blocks, some empty", got, want)
	})
	t.Run("in place", func(t *testing.T) {
		got := append([]float64(nil), src...)
		make_().Process(got, got)
		same(t, "in place", got, want)
		if again := Signal(n, 7); !equal(src, again) {
			t.Error("Process changed src")
		}
	})
	t.Run("reset", func(t *testing.T) {
		s, got := make_(), make([]float64, n)
		s.Process(got, Signal(n, 9))
		s.Reset()
		s.Process(got, src)
		same(t, "after Reset", got, want)
	})
	t.Run("no allocation", func(t *testing.T) {
		s, dst := make_(), make([]float64, 512)
		if a := testing.AllocsPerRun(50, func() { s.Process(dst, src[:512]) }); a != 0 {
			t.Errorf("Process allocates %g times", a)
		}
	})
	t.Run("wrong lengths", func(t *testing.T) {
		for _, l := range [][2]int{{3, 4}, {4, 3}, {0, 1}, {1, 0}} {
			func() {
				defer func() {
					if recover() == nil {
						t.Errorf("dst of %d for src of %d: no panic", l[0], l[1])
					}
				}()
				make_().Process(make([]float64, l[0]), make([]float64, l[1]))
			}()
		}
	})
	t.Run("no step at the start", func(t *testing.T) {
		for _, level := range []float64{0, 2.5, -1e6, 1e-9} {
			x, y := make([]float64, 3000), make([]float64, 3000)
			for i := range x {
				x[i] = level
			}
			make_().Process(y, x)
			for i := range y {
				if d := math.Abs(y[i] - y[0]); d > 1e-9*math.Abs(level) {
					t.Fatalf("constant %g: output %g at first, %g at sample %d", level, y[0], y[i], i)
				}
			}
		}
	})
}

// Options of Filter.
type Options struct {
	// AtHz are the frequencies at which the response is measured with a sine.
	AtHz []float64
	// DelayAtHz are those at which the group delay is measured as well: where the
	// gain is not small.
	DelayAtHz []float64
}

// Filter checks Stream, and further that the filter is linear and that response
// (also at 0 Hz and near half the rate), group delay and settling are as declared.
func Filter(t *testing.T, make_ func() filter.Filter, o Options) {
	t.Helper()
	Stream(t, func() dsp.Stream { return make_() })
	f := make_()
	rate := f.RateHz()

	t.Run("linear", func(t *testing.T) {
		const n = 3000
		x, y := Signal(n, 1), Signal(n, 2)
		mix, fx, fy, fm := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range mix {
			mix[i] = 3*x[i] - 0.5*y[i]
		}
		make_().Process(fx, x)
		make_().Process(fy, y)
		make_().Process(fm, mix)
		for i := range fm {
			if want := 3*fx[i] - 0.5*fy[i]; math.Abs(fm[i]-want) > 1e-9 {
				t.Fatalf("sample %d: %g, want %g", i, fm[i], want)
			}
		}
	})
	t.Run("gain at 0 Hz", func(t *testing.T) {
		want := f.Response(0)
		y := []float64{2, 2, 2, 2, 2}
		make_().Process(y, y)
		if d := cmplx.Abs(complex(y[4]/2, 0) - want); d > 1e-9 {
			t.Errorf("measured %g, declared %g", y[4]/2, want)
		}
	})
	// How long a sine must have stood.
	settle := int(math.Ceil(f.SettlingSeconds(1e-8)*rate)) + 10
	for _, hz := range append([]float64{0.499 * rate}, o.AtHz...) {
		t.Run(fmt.Sprintf("response at %g Hz", hz), func(t *testing.T) {
			got, want := measure(make_(), hz, settle), f.Response(hz)
			if d := cmplx.Abs(got - want); !(d <= 1e-6) {
				t.Errorf("measured %.9g, declared %.9g", got, want)
			}
		})
	}
	for _, hz := range o.DelayAtHz {
		t.Run(fmt.Sprintf("delay at %g Hz", hz), func(t *testing.T) {
			df := 0.002 * math.Min(hz, rate/2-hz)
			turn := cmplx.Phase(measure(make_(), hz+df, settle) / measure(make_(), hz-df, settle))
			got := -turn / (2 * math.Pi * 2 * df) * rate
			want := f.GroupDelaySamples(hz)
			if !(math.Abs(got-want) <= 0.005*math.Abs(want)+0.002) {
				t.Errorf("measured %.6g samples, declared %.6g", got, want)
			}
		})
	}
	t.Run("settling", func(t *testing.T) {
		for _, fraction := range []float64{0.3, 0.05, 0.01, 0.001} {
			want := f.SettlingSeconds(fraction)
			n := int(3*f.SettlingSeconds(fraction/10)*rate) + 50
			x := make([]float64, n)
			for i := 1; i < n; i++ { // sample 0 is the level before
				x[i] = 5
			}
			make_().Process(x, x)
			final := 5 * real(f.Response(0))
			last := 0
			for i := 1; i < n; i++ {
				if math.Abs(x[i]-final) > fraction*5 {
					last = i
				}
			}
			// last counts from the sample before the step: that is the number of samples.
			if got := float64(last) / rate; math.Abs(got-want) > 1.5/rate {
				t.Errorf("within %g: measured %g s, declared %g s", fraction, got, want)
			}
		}
	})
}

// measure is the complex gain for a sine, by a least-squares fit of cosine and sine
// after settle samples.
func measure(f filter.Filter, hz float64, settle int) complex128 {
	rate := f.RateHz()
	n := max(2000, int(8*rate/hz))
	n = min(n, 4_000_000)
	w := 2 * math.Pi * hz / rate
	x := make([]float64, settle+n)
	for i := range x {
		x[i] = math.Sin(w * float64(i))
	}
	f.Process(x, x)
	var cc, cs, ss, yc, ys float64
	for i := settle; i < len(x); i++ {
		s, c := math.Sincos(w * float64(i))
		cc += c * c
		cs += c * s
		ss += s * s
		yc += x[i] * c
		ys += x[i] * s
	}
	det := cc*ss - cs*cs
	// y = p cos + q sin for an input sin: the gain is q + jp.
	p := (yc*ss - ys*cs) / det
	q := (ys*cc - yc*cs) / det
	return complex(q, p)
}

func equal(a, b []float64) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return len(a) == len(b)
}

func same(t *testing.T, what string, got, want []float64) {
	t.Helper()
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("%s: sample %d is %v, in one call %v", what, i, got[i], want[i])
		}
	}
}
