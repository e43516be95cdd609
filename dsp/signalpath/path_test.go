package signalpath_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"pulsewright/dsp"
	"pulsewright/dsp/dsptest"
	"pulsewright/dsp/signalpath"
)

func path(t testing.TB, s signalpath.Settings, rateHz float64) *signalpath.Path {
	t.Helper()
	p, err := signalpath.New(s, rateHz)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func outputs(n int) *[signalpath.Points][]float64 {
	var out [signalpath.Points][]float64
	for i := range out {
		out[i] = make([]float64, n)
	}
	return &out
}

// run is the signal at every point, in pieces of size.
func run(p *signalpath.Path, x []float64, size int) *[signalpath.Points][]float64 {
	out := outputs(len(x))
	for i := 0; i < len(x); i += size {
		j := min(i+size, len(x))
		var piece [signalpath.Points][]float64
		for k := range piece {
			piece[k] = out[k][i:j]
		}
		p.Process(&piece, x[i:j])
	}
	return out
}

func sine(n int, hz, rateHz, amplitude, offset float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = offset + amplitude*math.Sin(2*math.Pi*hz*float64(i)/rateHz)
	}
	return x
}

// asStream shows one point as a dsp.Stream for the conformance suite.
type asStream struct {
	path  *signalpath.Path
	point int
	out   [signalpath.Points][]float64
}

func (a *asStream) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("lengths")
	}
	var out [signalpath.Points][]float64
	for i := range out {
		out[i] = a.out[i][:len(src)]
	}
	a.path.Process(&out, src)
	copy(dst, out[a.point])
}

func (a *asStream) Reset() { a.path.Reset() }

func TestConformance(t *testing.T) {
	for _, c := range []struct {
		kind   string
		rateHz float64
	}{{"pulse", 250}, {"ecg", 500}, {"other", 1000}, {"pulse", 25}} {
		for point := range signalpath.Points {
			t.Run(fmt.Sprintf("%s at %g Hz, point %d", c.kind, c.rateHz, point), func(t *testing.T) {
				dsptest.Stream(t, func() dsp.Stream {
					return &asStream{path(t, signalpath.Preset(c.kind, c.rateHz), c.rateHz), point, *outputs(10000)}
				})
			})
		}
	}
}

func TestWrongLengths(t *testing.T) {
	p := path(t, signalpath.Preset("ecg", 250), 250)
	for point := range signalpath.Points {
		out := outputs(10)
		out[point] = out[point][:9]
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("out[%d] of 9 for src of 10: no panic", point)
				}
			}()
			p.Process(out, make([]float64, 10))
		}()
	}
}

// TestPresets are valid at every rate, and what they do to a sine at each point is
// what Response says; Whole is the product.
func TestPresets(t *testing.T) {
	for _, rate := range []float64{25, 50, 99, 100, 101, 120, 125, 250, 360, 500, 1000, 44100. / 44, 4000, 48000, 192000} {
		for _, kind := range []string{"pulse", "ecg", "other", ""} {
			p := path(t, signalpath.Preset(kind, rate), rate)
			for _, hz := range []float64{0, 1, 5, 11, 50, 0.49 * rate} {
				if hz >= rate/2 {
					continue
				}
				want := complex(1, 0)
				for point := range signalpath.Points {
					h := p.Response(point, hz)
					want *= h
					if g := cmplx.Abs(h); !(g <= 1+1e-9) {
						t.Errorf("%s at %g Hz: gain %g at point %d, %g Hz", kind, rate, g, point, hz)
					}
					if d := p.GroupDelaySeconds(point, hz); math.IsNaN(d) || math.IsInf(d, 0) {
						t.Errorf("%s at %g Hz: delay %g at point %d, %g Hz", kind, rate, d, point, hz)
					}
				}
				if d := cmplx.Abs(p.Whole(hz) - want); d > 1e-12 {
					t.Errorf("%s at %g Hz: Whole(%g) is not the product", kind, rate, hz)
				}
			}
		}
	}
	const rate = 500
	for _, hz := range []float64{1, 8, 30, 47, 50, 100} {
		p := path(t, signalpath.Preset("ecg", rate), rate)
		out := run(p, sine(20*rate, hz, rate, 1, 2.5), 333)
		h := complex(1, 0)
		for point := range signalpath.Points {
			h *= p.Response(point, hz)
			var c, s float64 // the last ten seconds hold whole cycles
			for i := 10 * rate; i < 20*rate; i++ {
				si, co := math.Sincos(2 * math.Pi * hz * float64(i) / rate)
				s += out[point][i] * si / (5 * rate)
				c += out[point][i] * co / (5 * rate)
			}
			if d := cmplx.Abs(complex(s, c) - h); d > 1e-6 {
				t.Errorf("%g Hz at point %d: measured %v, declared %v", hz, point, complex(s, c), h)
			}
		}
	}
}

// TestPulsePasses: a two-Gaussian pulse (Tang et al. 2020, their mean parameters) at 72
// beats a minute on a 2.5 V offset keeps its height within 10 % through the pulse
// preset, with 0.5 V of hum taken down below 1 % of the pulse.
func TestPulsePasses(t *testing.T) {
	for _, rate := range []float64{100, 125, 250, 500, 1000} {
		clean := make([]float64, int(30*rate))
		for i := range clean {
			a := 2*math.Pi*math.Mod(float64(i)/rate*1.2, 1) - math.Pi
			g := func(a1, th, b float64) float64 { return a1 * math.Exp(-(a-th)*(a-th)/(2*b*b)) }
			clean[i] = 2.5 + g(1, -1.5161, 0.6303) + g(0.1999, 0.8186, 1.0225)
		}
		loss, left := through(t, "pulse", rate, clean)
		t.Logf("pulse at %g Hz: height changes by %+.2f %%, hum left %.2g of the pulse", rate, 100*loss, left)
		if math.Abs(loss) > 0.10 || left > 0.01 {
			t.Errorf("at %g Hz: height changes by %.3g, hum left %.3g", rate, loss, left)
		}
	}
}

// TestQRSPasses: Q, R and S waves of 10 ms Gaussians (McSharry et al. 2003: b 0.1 rad of
// a 1 s beat is 16 ms) lose at most 15 % of their height in the ecg preset.
func TestQRSPasses(t *testing.T) {
	for _, rate := range []float64{250, 360, 500, 1000} {
		clean := make([]float64, int(30*rate))
		for i := range clean {
			s := math.Mod(float64(i)/rate, 1) - 0.4
			g := func(a, at, w float64) float64 { return a * math.Exp(-(s-at)*(s-at)/(2*w*w)) }
			clean[i] = 2.5 + g(-0.12, -0.042, 0.016) + g(1, 0, 0.016) + g(-0.25, 0.042, 0.016) + g(0.25, 0.28, 0.06)
		}
		loss, left := through(t, "ecg", rate, clean)
		t.Logf("QRS at %g Hz: height changes by %+.2f %%, hum left %.2g of it", rate, 100*loss, left)
		if math.Abs(loss) > 0.15 || left > 0.01 {
			t.Errorf("at %g Hz: height changes by %.3g, hum left %.3g", rate, loss, left)
		}
	}
}

// through gives the change of the peak-to-peak height by a preset, and the largest
// remainder of a 50 Hz hum of 0.5, both as shares of the height, once settled.
func through(t *testing.T, kind string, rate float64, clean []float64) (change, hum float64) {
	with := append([]float64(nil), clean...)
	for i := range with {
		with[i] += 0.5 * math.Sin(2*math.Pi*50*float64(i)/rate)
	}
	a := run(path(t, signalpath.Preset(kind, rate), rate), clean, 100)[signalpath.PointSmooth]
	b := run(path(t, signalpath.Preset(kind, rate), rate), with, 100)[signalpath.PointSmooth]
	height := func(x []float64) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range x[len(x)/2:] {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
		return hi - lo
	}
	for i := len(a) / 2; i < len(a); i++ {
		hum = math.Max(hum, math.Abs(a[i]-b[i]))
	}
	h := height(clean)
	if rate <= 100 {
		hum = 0 // 50 Hz cannot be seen at half of 100 Hz
	}
	return height(a)/h - 1, hum / h
}

// TestHumIsFound: 60 Hz hum beside a larger heartbeat moves the notches from 50 to
// 60 Hz within four seconds, and back; a heartbeat alone does not.
func TestHumIsFound(t *testing.T) {
	for _, rate := range []float64{125, 250, 500, 1000} {
		n := int(10 * rate)
		beat := make([]float64, n)
		for i := range beat {
			s := math.Mod(float64(i)/rate, 0.83) - 0.4
			beat[i] = 2.5 + math.Exp(-s*s/(2*0.016*0.016))
		}
		add := func(hz, amplitude float64) []float64 {
			x := append([]float64(nil), beat...)
			for i := range x {
				x[i] += amplitude * math.Sin(2*math.Pi*hz*float64(i)/rate)
			}
			return x
		}
		p := path(t, signalpath.Preset("ecg", rate), rate)
		if p.HumHz() != 50 {
			t.Errorf("starts at %g Hz", p.HumHz())
		}
		for _, c := range []struct {
			x    []float64
			want float64
		}{{beat, 50}, {add(60.1, 0.05), 60}, {beat, 60}, {add(49.9, 0.05), 50}, {beat, 50}, {add(60, 0.5), 60}} {
			run(p, c.x, 97)
			if p.HumHz() != c.want {
				t.Errorf("at %g Hz: found %g Hz, want %g", rate, p.HumHz(), c.want)
			}
		}
		if g := cmplx.Abs(p.Response(signalpath.PointHum, 60)); rate > 120 && g > 1e-9 {
			t.Errorf("at %g Hz: gain %g at 60 Hz after finding it", rate, g)
		}
		p.Reset()
		if p.HumHz() != 60 {
			t.Errorf("Reset forgets the mains")
		}
	}
	// Both mains at once: four times the power, twice the amplitude, is what sways it.
	for _, c := range []struct{ amplitude, want float64 }{{1.9, 50}, {2.1, 60}} {
		p := path(t, signalpath.Preset("ecg", 500), 500)
		both := sine(5000, 50, 500, 0.1, 0)
		for i, v := range sine(5000, 60, 500, 0.1*c.amplitude, 0) {
			both[i] += v
		}
		run(p, both, 100)
		if p.HumHz() != c.want {
			t.Errorf("60 Hz of %g times the amplitude: found %g Hz, want %g", c.amplitude, p.HumHz(), c.want)
		}
	}
	// Two windows running, with no gap between them.
	gap := path(t, signalpath.Preset("ecg", 500), 500)
	for range 4 {
		run(gap, sine(750, 60, 500, 0.5, 0), 100)
		gap.Reset()
	}
	if gap.HumHz() != 50 {
		t.Errorf("found %g Hz from windows with gaps between them", gap.HumHz())
	}
	// One second of 60 Hz, a lamp switched on and off, does not sway it.
	p := path(t, signalpath.Preset("ecg", 500), 500)
	burst := make([]float64, 5000)
	copy(burst[1000:], sine(500, 60, 500, 0.5, 0))
	run(p, burst, 100)
	if p.HumHz() != 50 {
		t.Errorf("a second of 60 Hz moves the notches")
	}
	// Finding it does not depend on the blocks.
	x := sine(5000, 60, 500, 0.1, 2.5)
	want := run(path(t, signalpath.Preset("pulse", 500), 500), x, len(x))
	for _, size := range []int{1, 13, 999, 1000, 1001} {
		got := run(path(t, signalpath.Preset("pulse", 500), 500), x, size)
		for point := range got {
			for i := range x {
				if got[point][i] != want[point][i] {
					t.Fatalf("blocks of %d: point %d differs at sample %d", size, point, i)
				}
			}
		}
	}
}

// TestSetHasNoClick switches every stage on, over and off while a pulse runs; no step
// from sample to sample is larger than the pulse's own steepest, 0.02 V a sample,
// and the fade's of the 2.5 V offset, π/2·2.5 V/0.1 s = 0.16 V a sample at 250 Hz.
func TestSetHasNoClick(t *testing.T) {
	const rate = 250.0
	type S = signalpath.Settings
	on := signalpath.Preset("pulse", rate)
	for i, c := range []struct {
		from, to func(*S)
		bound    float64
	}{
		{func(s *S) {}, func(s *S) { s.Drift.On = false }, 0.19},
		{func(s *S) { s.Drift.On = false }, func(s *S) {}, 0.19},
		{func(s *S) {}, func(s *S) { s.Drift.CutoffHz = 1 }, 0.04},
		{func(s *S) {}, func(s *S) { s.Drift.Order = 2 }, 0.04},
		{func(s *S) {}, func(s *S) { s.Hum.Mode = "off" }, 0.04},
		{func(s *S) { s.Hum.Mode = "off" }, func(s *S) {}, 0.04},
		{func(s *S) {}, func(s *S) { s.Hum.FreqHz = 60 }, 0.04},
		{func(s *S) {}, func(s *S) { s.Hum.BandwidthHz = 1 }, 0.04},
		{func(s *S) {}, func(s *S) { s.Smooth.Shape = "off" }, 0.04},
		{func(s *S) { s.Smooth.Shape = "off" }, func(s *S) {}, 0.04},
		{func(s *S) {}, func(s *S) { s.Smooth.Shape = "rc" }, 0.04},
		{func(s *S) {}, func(s *S) { s.Smooth.CutoffHz = 4 }, 0.04},
		{func(s *S) {}, func(s *S) { s.Smooth.Order = 6 }, 0.04},
	} {
		x := make([]float64, 4000)
		for i := range x {
			x[i] = 2.5 + 0.5*math.Sin(2*math.Pi*1.2*float64(i)/rate) + 0.1*math.Sin(2*math.Pi*2.4*float64(i)/rate)
		}
		from, to := on, on
		c.from(&from)
		c.to(&to)
		p := path(t, from, rate)
		out := outputs(len(x))
		half := func(a, b int) {
			var o [signalpath.Points][]float64
			for k := range o {
				o[k] = out[k][a:b]
			}
			p.Process(&o, x[a:b])
		}
		half(0, 2000)
		if err := p.Set(to); err != nil {
			t.Fatal(err)
		}
		half(2000, 4000)
		for point := range out {
			for k := 1500; k < 4000; k++ {
				if d := math.Abs(out[point][k] - out[point][k-1]); d > c.bound {
					t.Fatalf("case %d, point %d: step of %.3g V at sample %d", i, point, d, k)
				}
			}
		}
	}
}

func TestSettings(t *testing.T) {
	type S = signalpath.Settings
	p := path(t, S{}, 250)
	want := `{"drift":{"on":false,"cutoffHz":0,"order":1},"hum":{"mode":"off","freqHz":0,"bandwidthHz":5,"harmonics":1},"smooth":{"shape":"off","cutoffHz":0,"order":2}}`
	if got, _ := json.Marshal(p.Settings()); string(got) != want {
		t.Errorf("defaults %s, want %s", got, want)
	}
	if p.HumHz() != 0 {
		t.Errorf("off, but works at %g Hz", p.HumHz())
	}
	good := signalpath.Preset("ecg", 250)
	if err := p.Set(good); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		change func(*S)
		want   []string
	}{
		{func(s *S) { s.Drift.CutoffHz = 0 }, []string{"drift", "cutoff 0 Hz", "choose"}},
		{func(s *S) { s.Drift.CutoffHz = 125 }, []string{"drift", "cutoff 125 Hz", "below 125 Hz"}},
		{func(s *S) { s.Drift.CutoffHz = math.NaN() }, []string{"drift", "NaN"}},
		{func(s *S) { s.Drift.On, s.Drift.CutoffHz = false, math.Inf(1) }, []string{"drift", "+Inf"}},
		{func(s *S) { s.Drift.Order = 9 }, []string{"drift", "order 9", "1 to 8"}},
		{func(s *S) { s.Drift.Order = -1 }, []string{"drift", "order -1"}},
		{func(s *S) { s.Hum.Mode = "loud" }, []string{"hum", `"loud"`, "notch"}},
		{func(s *S) { s.Hum.BandwidthHz = 130 }, []string{"hum", "bandwidth 130 Hz", "below 125 Hz"}},
		{func(s *S) { s.Hum.BandwidthHz = -1 }, []string{"hum", "bandwidth -1 Hz"}},
		{func(s *S) { s.Hum.Harmonics = -1 }, []string{"hum", "-1 harmonics"}},
		{func(s *S) { s.Hum.FreqHz = 2 }, []string{"hum", "frequency 2 Hz", "0 to have"}},
		{func(s *S) { s.Smooth.Shape = "round" }, []string{"smooth", `"round"`, "butterworth"}},
		{func(s *S) { s.Smooth.CutoffHz = 500 }, []string{"smooth", "cutoff 500 Hz", "choose a lower one"}},
		{func(s *S) { s.Smooth.Order = 12 }, []string{"smooth", "order 12"}},
	} {
		s := good
		c.change(&s)
		err := p.Set(s)
		if err == nil {
			t.Errorf("%+v: no error", s)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%q does not say %q", err, w)
			}
		}
		if p.Settings() != good {
			t.Errorf("after an error the settings are %+v", p.Settings())
		}
	}
	for _, rate := range []float64{0, 24, 192001, math.NaN(), math.Inf(1)} {
		if _, err := signalpath.New(good, rate); err == nil {
			t.Errorf("rate %g: no error", rate)
		}
	}
	// Harmonics above half the rate, and a fundamental above it, are left out.
	s := good
	s.Hum.Harmonics = 9
	if err := p.Set(s); err != nil {
		t.Error(err)
	}
	q := path(t, signalpath.Preset("ecg", 60), 60)
	if g := q.Response(signalpath.PointHum, 20); g != 1 {
		t.Errorf("50 Hz at 60 Hz sampling: gain %v at 20 Hz", g)
	}
}

// TestCancel: the canceller takes the mains out without a preset frequency, is told of
// beats, keeps the contract, and may be switched in and out without a click.
func TestCancel(t *testing.T) {
	const rate = 500.0
	s := signalpath.Preset("ecg", rate)
	s.Smooth.Shape = signalpath.Off
	notch := s
	s.Hum.Mode = signalpath.Cancel
	dsptest.Stream(t, func() dsp.Stream { return &asStream{path(t, s, rate), signalpath.PointHum, *outputs(10000)} })
	x := make([]float64, 20*int(rate))
	clean := make([]float64, len(x))
	for i := range x {
		at := math.Mod(float64(i)/rate, 0.9) - 0.4
		clean[i] = 2.5 + math.Exp(-at*at/(2*0.012*0.012))
		x[i] = clean[i] + 0.3*math.Sin(2*math.Pi*60.05*float64(i)/rate)
	}
	p := path(t, s, rate)
	if p.HumReason() == "" || p.HumHz() != 0 {
		t.Errorf("works at %g Hz before the first sample, reason %q", p.HumHz(), p.HumReason())
	}
	out := run(p, x, 50)
	if math.Abs(p.HumHz()-60.05) > 0.02 || p.HumReason() != "" {
		t.Errorf("works at %g Hz, not 60.05; %q", p.HumHz(), p.HumReason())
	}
	off := s
	off.Hum.Mode = signalpath.Off
	want := run(path(t, off, rate), clean, 50)
	for i := len(x) / 2; i < len(x); i++ {
		if d := math.Abs(out[signalpath.PointHum][i] - want[signalpath.PointHum][i]); d > 0.01 {
			t.Fatalf("hum of 0.3 leaves %.3g at sample %d", d, i)
		}
	}
	// Steps: the hum itself moves by up to 0.3·2π·60/500 = 0.23 a sample, the QRS by
	// 0.6/0.012/500 = 0.1, the fade of a jump of 0.6 by π/2·0.6/0.1/500 = 0.02.
	for _, to := range []signalpath.Settings{off, notch, func() signalpath.Settings { h := s; h.Hum.Harmonics = 2; return h }(), s} {
		for _, at := range []int{3000, 3002, 3005} {
			p := path(t, s, rate)
			y := outputs(at + 500)
			for _, r := range [][2]int{{0, at}, {at, at + 500}} {
				var o [signalpath.Points][]float64
				for k := range o {
					o[k] = y[k][r[0]:r[1]]
				}
				if r[0] > 0 {
					if err := p.Set(to); err != nil {
						t.Fatal(err)
					}
				}
				p.Process(&o, x[r[0]:r[1]])
			}
			h := y[signalpath.PointHum]
			for i := at; i < at+500; i++ {
				if d := math.Abs(h[i] - h[i-1]); d > 0.36 {
					t.Fatalf("to %+v at %d: step of %.3g at sample %d", to.Hum, at, d, i)
				}
			}
			if d := math.Abs(h[at] - h[at-1]); d > 0.26 {
				t.Errorf("to %+v at %d: step of %.3g", to.Hum, at, d)
			}
		}
	}
	s.Hum.Harmonics = 9
	if err := p.Set(s); err == nil || !strings.Contains(err.Error(), "signal path: hum") {
		t.Errorf("9 harmonics: %v", err)
	}
}

func BenchmarkPath(b *testing.B) {
	p := path(b, signalpath.Preset("ecg", 1000), 1000)
	x, out := sine(1000, 50, 1000, 1, 2.5), outputs(1000)
	b.ReportAllocs()
	for b.Loop() {
		p.Process(out, x)
	}
}
