package filter_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"pulsewright/dsp/filter"
)

// TestButterworthClosedForm: |H|² = 1/(1 + (Ω/Ωc)^2N) with Ω = tan(π f/fs), which the
// bilinear transform keeps exactly, also where no double-precision b and a could.
func TestButterworthClosedForm(t *testing.T) {
	for _, rate := range []float64{25, 250, 1000, 44100. / 44, 48000, 192000} {
		for _, fc := range []float64{0.05, 0.5, 5, 0.3 * rate, 0.499 * rate} {
			for order := 1; order <= filter.MaxOrder; order++ {
				lp := must(filter.ButterworthLowPass(rate, fc, order))
				hp := must(filter.ButterworthHighPass(rate, fc, order))
				for _, f := range []float64{0, fc / 100, fc / 3, fc, (fc + rate/2) / 2} {
					ratio := math.Tan(math.Pi*f/rate) / math.Tan(math.Pi*fc/rate)
					p := math.Pow(ratio, float64(2*order))
					for _, c := range []struct {
						s    filter.Sections
						want float64
					}{{lp, math.Sqrt(1 / (1 + p))}, {hp, math.Sqrt(p / (1 + p))}} {
						got := cmplx.Abs(c.s.Response(f, rate))
						if f > 0 && c.want > 0 && math.Abs(got-c.want) > 1e-9*math.Max(c.want, 1e-6) || !(math.Abs(got-c.want) <= 1e-9) {
							t.Errorf("order %d, %g Hz at %g Hz: gain %.12g at %g Hz, closed form %.12g", order, fc, rate, got, f, c.want)
						}
					}
				}
			}
		}
	}
}

// TestSectionQ: handbook table of Butterworth section Q.
func TestSectionQ(t *testing.T) {
	for order, want := range map[int][]float64{
		1: {}, 2: {0.7071}, 3: {1.0000}, 4: {0.5412, 1.3066}, 5: {0.6180, 1.6180}, 6: {0.5176, 0.7071, 1.9319},
		8: {0.5098, 0.6013, 0.9000, 2.5629},
	} {
		got := filter.ButterworthQ(order)
		if len(got) != len(want) {
			t.Fatalf("order %d: %v, table %v", order, got, want)
		}
		for i := range want {
			if math.Abs(got[i]-want[i]) > 5.1e-5 {
				t.Errorf("order %d: Q %v, table %v", order, got, want)
			}
		}
		// The section has that Q: the gain at the cutoff of a second-order low-pass is Q.
		lp := must(filter.ButterworthLowPass(1000, 40, order))
		for i, q := range want {
			s := filter.Sections{lp[len(lp)-len(want)+i]}
			if g := cmplx.Abs(s.Response(40, 1000)); math.Abs(g-q) > 5.1e-5 {
				t.Errorf("order %d section %d: gain at the cutoff %g, Q %g", order, i, g, q)
			}
		}
	}
}

// TestRCCorner: at the corner −3.0103 dB and 45°, by f = 1/(2πRC) = 15.915 Hz for
// 10 kΩ and 1 µF.
func TestRCCorner(t *testing.T) {
	corner := 1 / (2 * math.Pi * 10e3 * 1e-6)
	for _, rate := range []float64{50, 250, 1000, 192000} {
		for _, c := range []struct {
			s     filter.Sections
			angle float64
		}{{must(filter.RCLowPass(rate, corner)), -45}, {must(filter.RCHighPass(rate, corner)), 45}} {
			h := c.s.Response(corner, rate)
			if g := 20 * math.Log10(cmplx.Abs(h)); math.Abs(g+3.0103) > 1e-4 {
				t.Errorf("at %g Hz: %g dB", rate, g)
			}
			if a := cmplx.Phase(h) * 180 / math.Pi; math.Abs(a-c.angle) > 1e-6 {
				t.Errorf("at %g Hz: %g°, want %g°", rate, a, c.angle)
			}
		}
	}
	// Step response of a capacitor: within 1 % after RC ln 100.
	c := cascade(must(filter.RCLowPass(192000, corner)), 192000)
	if got, want := c.SettlingSeconds(0.01), 0.01*math.Log(100); math.Abs(got-want) > 2e-5 {
		t.Errorf("settling %g s, RC ln 100 = %g s", got, want)
	}
}

// TestNotchClosedForm: gain 0 at the centre, −3 dB points bandwidthHz apart, ringing
// with τ = Q/(πf₀) = 1/(πB): 32, 64, 191 ms for Q 5, 10, 30 at 50 Hz (FACTS of the
// trade: Q 5 / 10 / 30 leave −28 / −22 / −13 dB when the mains is 0.2 Hz off).
func TestNotchClosedForm(t *testing.T) {
	for _, c := range []struct{ q, tauSeconds, leakDB float64 }{{5, 0.0318, -28}, {10, 0.0637, -22}, {30, 0.191, -13}} {
		const rate = 1000
		s := must(filter.Notch(rate, 50, 50/c.q, 1))
		if g := cmplx.Abs(s.Response(50, rate)); g > 1e-12 {
			t.Errorf("Q %g: gain %g at the centre", c.q, g)
		}
		if g := s.GainDB(50.2, rate); math.Abs(g-c.leakDB) > 0.5 {
			t.Errorf("Q %g: %.2f dB 0.2 Hz off, want %g", c.q, g, c.leakDB)
		}
		if tau := s.TimeConstantSamples() / rate; math.Abs(tau-c.tauSeconds) > 0.01*c.tauSeconds {
			t.Errorf("Q %g: τ %g s, want %g", c.q, tau, c.tauSeconds)
		}
		// −3 dB points by bisection on either side.
		edge := func(lo, hi float64) float64 {
			for range 60 {
				mid := (lo + hi) / 2
				if (cmplx.Abs(s.Response(mid, rate)) < math.Sqrt(0.5)) == (lo < hi) {
					lo = mid
				} else {
					hi = mid
				}
				if math.Abs(hi-lo) < 1e-12 {
					break
				}
			}
			return (lo + hi) / 2
		}
		if b := edge(50, 499) - edge2(s, rate); math.Abs(b-50/c.q) > 1e-6*b {
			t.Errorf("Q %g: bandwidth %.9g Hz, want %g", c.q, b, 50/c.q)
		}
	}
	// Harmonics at and above half the rate are left out.
	for _, c := range []struct {
		rate float64
		n    int
	}{{250, 2}, {500, 4}, {501, 5}, {1000, 7}} {
		if s := must(filter.Notch(c.rate, 50, 5, 7)); len(s) != c.n {
			t.Errorf("at %g Hz: %d notches, want %d", c.rate, len(s), c.n)
		}
	}
}

// edge2 is the lower −3 dB point of a notch at 50 Hz.
func edge2(s filter.Sections, rate float64) float64 {
	lo, hi := 1.0, 50.0
	for range 80 {
		mid := (lo + hi) / 2
		if cmplx.Abs(s.Response(mid, rate)) > math.Sqrt(0.5) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// TestZeroPhaseCorner: forward-backward squares the gain and moves the −3 dB point
// to (√2 − 1)^(1/2N): 0.644, 0.802, 0.896 for order 1, 2, 4. Measured on sines.
func TestZeroPhaseCorner(t *testing.T) {
	for _, c := range []struct {
		order int
		ratio float64
	}{{1, 0.644}, {2, 0.802}, {4, 0.896}} {
		const rate, fc, n = 1000, 10, 20000
		s := must(filter.ButterworthLowPass(rate, fc, c.order))
		x, y := make([]float64, n), make([]float64, n)
		w := 2 * math.Pi * c.ratio * fc / rate
		for i := range x {
			x[i] = math.Sin(w * float64(i))
		}
		if err := filter.ZeroPhase(y, x, s); err != nil {
			t.Fatal(err)
		}
		var in, quad, ref float64
		for i := n / 4; i < 3*n/4; i++ {
			si, co := math.Sincos(w * float64(i))
			in += y[i] * si
			quad += y[i] * co
			ref += si * si
		}
		if g := 20 * math.Log10(in/ref); math.Abs(g+3.0103) > 0.02 {
			t.Errorf("order %d: %g dB at %g of the cutoff", c.order, g, c.ratio)
		}
		if math.Abs(quad/ref) > 1e-3 {
			t.Errorf("order %d: a phase shift of %g rad", c.order, quad/in)
		}
	}
}

func TestZeroPhaseSmall(t *testing.T) {
	s := must(filter.ButterworthHighPass(250, 0.5, 2))
	for n := range 5 {
		x := offsetNoise(n)
		for i := range x {
			x[i] = 2.5
		}
		if err := filter.ZeroPhase(x, x, s); err != nil {
			t.Fatal(err)
		}
		for _, v := range x {
			if math.Abs(v) > 1e-12 {
				t.Errorf("%d constant samples give %v", n, x)
			}
		}
	}
}

func TestDesignErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	one := func(s filter.Sections, err error) error { return err }
	for i, c := range []struct {
		err  error
		want []string // thing, value, rule
	}{
		{one(filter.ButterworthLowPass(250, 0, 2)), []string{"low-pass", "cutoff 0 Hz", "at least", "choose"}},
		{one(filter.ButterworthLowPass(250, -3, 2)), []string{"cutoff -3 Hz"}},
		{one(filter.ButterworthLowPass(250, nan, 2)), []string{"cutoff NaN Hz"}},
		{one(filter.ButterworthLowPass(250, inf, 2)), []string{"cutoff +Inf Hz", "below 125 Hz"}},
		{one(filter.ButterworthLowPass(250, 125, 2)), []string{"cutoff 125 Hz", "below 125 Hz", "choose a lower one or sample faster"}},
		{one(filter.ButterworthLowPass(250, 40, 0)), []string{"order 0", "1 to 8"}},
		{one(filter.ButterworthHighPass(250, 40, 9)), []string{"high-pass", "order 9", "1 to 8"}},
		{one(filter.ButterworthHighPass(24, 1, 1)), []string{"sample rate 24 Hz", "25 to 192000"}},
		{one(filter.ButterworthHighPass(192001, 1, 1)), []string{"sample rate 192001 Hz"}},
		{one(filter.ButterworthHighPass(nan, 1, 1)), []string{"sample rate NaN Hz"}},
		{one(filter.RCLowPass(100, 50)), []string{"RC low-pass", "below 50 Hz"}},
		{one(filter.RCHighPass(100, 0)), []string{"RC high-pass"}},
		{one(filter.Notch(100, 50, 5, 1)), []string{"notch", "frequency 50 Hz"}},
		{one(filter.Notch(250, 50, 0, 1)), []string{"bandwidth 0 Hz"}},
		{one(filter.Notch(250, 50, 5, 0)), []string{"0 harmonics"}},
		{func() error { _, err := filter.NewCascade(nil, 0); return err }(), []string{"sample rate 0 Hz"}},
		{func() error {
			_, err := filter.NewCascade(filter.Sections{filter.NewSection([3]float64{1}, [2]float64{-2, 1})}, 250)
			return err
		}(), []string{"section 0", "inside the unit circle"}},
		{func() error {
			_, err := filter.NewCascade(filter.Sections{filter.NewSection([3]float64{nan}, [2]float64{})}, 250)
			return err
		}(), []string{"section 0", "finite"}},
		{func() error { _, err := filter.NewDecimator(48000, 0); return err }(), []string{"ratio 0", "1 to"}},
		{func() error { _, err := filter.NewDecimator(1, 2); return err }(), []string{"decimator", "sample rate 1 Hz"}},
	} {
		if c.err == nil {
			t.Errorf("case %d: no error", i)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(c.err.Error(), w) {
				t.Errorf("%q does not say %q", c.err, w)
			}
		}
	}
}

// TestCheckStability compares Check with the poles themselves over a grid about the
// stability triangle.
func TestCheckStability(t *testing.T) {
	for a1 := -2.55; a1 < 2.6; a1 += 0.1 {
		for a2 := -1.45; a2 < 1.5; a2 += 0.1 {
			d := cmplx.Sqrt(complex(a1*a1-4*a2, 0))
			r := math.Max(cmplx.Abs((complex(-a1, 0)+d)/2), cmplx.Abs((complex(-a1, 0)-d)/2))
			err := filter.Sections{filter.NewSection([3]float64{1, 0, 0}, [2]float64{a1, a2})}.Check()
			if (r < 1) != (err == nil) {
				t.Errorf("a1 %g a2 %g: pole radius %g, Check says %v", a1, a2, r, err)
			}
		}
	}
}

func TestSectionCoefficients(t *testing.T) {
	for _, c := range []struct {
		b [3]float64
		a [2]float64
	}{{[3]float64{0.2, 0.5, 0.1}, [2]float64{-0.9, 0.4}}, {[3]float64{0.3, 0.1, 0}, [2]float64{-0.5, 0}}, {[3]float64{0, 0, 1}, [2]float64{}}} {
		s := filter.NewSection(c.b, c.a)
		b, a := s.B(), s.A()
		if fmt.Sprintf("%.12f %.12f", b, a) != fmt.Sprintf("%.12f %.12f", c.b, c.a) {
			t.Errorf("%v %v come back as %v %v", c.b, c.a, b, a)
		}
	}
}
