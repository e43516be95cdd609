package beat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pulsewright/acquire/simulate"
)

// finger is an invented finger's signal with its true systolic peaks, in volts.
type finger struct {
	rate  float64
	x     []float64
	peak  []int64
	moved []simulate.Span // samples
}

// fingerOf runs the simulation, whose waveform is the two Gaussians of Tang et al.
// 2020 and stretches with the R–R interval.
func fingerOf(t testing.TB, c simulate.Config, seconds float64) finger {
	t.Helper()
	g, err := simulate.New(c)
	if err != nil {
		t.Fatal(err)
	}
	counts := [][]int32{make([]int32, int(seconds*c.RateHz))}
	g.Next(counts)
	ch := g.Channels()[0]
	f := finger{rate: c.RateHz, x: make([]float64, len(counts[0]))}
	ch.Values(f.x, counts[0])
	for _, b := range g.Truth().Beats[0] {
		f.peak = append(f.peak, b.Sample)
	}
	f.moved = g.Truth().Motion
	return f
}

// pulseWave is a pulse of fixed width: a systolic wave that rises with 55 ms and
// falls with 110 ms standard deviation, its peak at 0, and a dicrotic wave of a share
// of its height some time later.
func pulseWave(t, dicrotic, later float64) float64 {
	s := 0.11
	if t < 0 {
		s = 0.055
	}
	u := (t - later) / 0.07
	return math.Exp(-t*t/(2*s*s)) + dicrotic*math.Exp(-u*u/2)
}

// fingerAt puts such waves at the given times; height and dicrotic share may change
// from beat to beat.
func fingerAt(rate float64, times []float64, seconds, later float64, of func(i int) (height, dicrotic float64)) finger {
	f := finger{rate: rate, x: make([]float64, int(seconds*rate))}
	for i, t := range times {
		h, d := of(i)
		f.peak = append(f.peak, int64(math.Round(t*rate)))
		for k := max(0, int((t-0.4)*rate)); k < min(len(f.x), int((t+1)*rate)); k++ {
			f.x[k] += h * pulseWave(float64(k)/rate-t, d, later)
		}
	}
	return f
}

func same(height, dicrotic float64) func(int) (float64, float64) {
	return func(int) (float64, float64) { return height, dicrotic }
}

func pulses(t testing.TB, f finger) []Beat {
	t.Helper()
	d, err := NewPulse(f.rate)
	if err != nil {
		t.Fatal(err)
	}
	return d.Process(nil, f.x)
}

// errors gives how many true beats after learning are missed, how many found are
// none, and the greatest distance of the others' marks in seconds. The last 1.5 s
// cannot be known.
func (f finger) errors(beats []Beat, learning float64) (missed, extra int, worst float64) {
	from, to := int64(learning*f.rate), int64(len(f.x))-int64(1.5*f.rate)
	window := int64(0.15 * f.rate)
	used := map[int64]bool{}
	for _, p := range f.peak {
		if p < from || p >= to {
			continue
		}
		best := int64(math.MaxInt64)
		at := int64(-1)
		for _, b := range beats {
			if d := max(b.Sample-p, p-b.Sample); d < best && !used[b.Sample] {
				best, at = d, b.Sample
			}
		}
		if best > window {
			missed++
			continue
		}
		used[at] = true
		worst = max(worst, float64(best)/f.rate)
	}
	for _, b := range beats {
		if b.Sample >= from+window && b.Sample < to-window && !used[b.Sample] {
			extra++
		}
	}
	return missed, extra, worst
}

func (f finger) expect(t *testing.T, beats []Beat, learning, tolerance float64) {
	t.Helper()
	missed, extra, worst := f.errors(beats, learning)
	if missed > 0 || extra > 0 || worst > tolerance {
		t.Errorf("%d of %d beats missed, %d found that are none, marks up to %.0f ms off; want none, none, %.0f ms",
			missed, len(f.peak), extra, 1000*worst, 1000*tolerance)
	}
}

func inverse(x []float64) []float64 {
	y := slices.Clone(x)
	for i := range y {
		y[i] = -y[i]
	}
	return y
}

func TestPulsePieces(t *testing.T) {
	c := simulate.Finger()
	c.MotionPerMinute = 4
	f := fingerOf(t, c, 60)
	whole := pulses(t, f)
	if len(whole) < 60 {
		t.Fatalf("%d beats in a minute", len(whole))
	}
	for _, size := range []int{1, 2, 7, 64, 1000, 4097} {
		d, _ := NewPulse(f.rate)
		for round := range 2 { // Reset is as fresh
			var got []Beat
			for i := 0; i < len(f.x); i += size {
				got = d.Process(got, f.x[i:min(i+size, len(f.x))])
			}
			if !slices.Equal(got, whole) {
				t.Errorf("blocks of %d, round %d: %d beats differ from the %d of one call", size, round, len(got), len(whole))
			}
			d.Reset()
		}
	}
}

func TestPulseAllocation(t *testing.T) {
	f := fingerOf(t, simulate.Finger(), 40)
	d, _ := NewPulse(f.rate)
	m, err := NewMonitor(MonitorConfig{Kind: Pulse, RateHz: f.rate})
	if err != nil {
		t.Fatal(err)
	}
	beats, at := make([]Beat, 0, 1024), 0
	n := testing.AllocsPerRun(300, func() {
		x := f.x[at : at+25]
		beats = d.Process(beats[:0], x)
		beats = m.Process(beats[:0], x)
		at += 25
	})
	if n != 0 {
		t.Errorf("%g allocations per block", n)
	}
}

func TestPulseRates(t *testing.T) {
	t.Parallel()
	for _, rate := range []float64{25, 50, 125, 250, 333, 1000} {
		for _, bpm := range []float64{25, 40, 72, 120, 180, 250} {
			t.Run(fmt.Sprintf("%g Hz, %g bpm", rate, bpm), func(t *testing.T) {
				c := simulate.Finger().Clean()
				c.RateHz, c.BPM = rate, bpm
				c.Channels[0].NoiseVolts = 0.006
				c.Channels[0].BreathVolts, c.Channels[0].BreathDepth, c.Channels[0].DriftVolts = 0.04, 0.1, 0.04
				f := fingerOf(t, c, 40)
				f.expect(t, pulses(t, f), 12, max(0.05, 1/rate))
				f.x = inverse(f.x)
				f.expect(t, pulses(t, f), 12, max(0.05, 1/rate))
			})
		}
	}
}

// Whatever the offset and the unit, the same beats.
func TestPulseScale(t *testing.T) {
	f := fingerOf(t, simulate.Finger(), 40)
	want := pulses(t, f)
	for _, k := range []float64{-1, 1e-6, 4096} {
		g := finger{rate: f.rate}
		for _, x := range f.x {
			g.x = append(g.x, k*x+17*k)
		}
		got := pulses(t, g)
		if len(got) != len(want) {
			t.Fatalf("times %g: %d beats, want %d", k, len(got), len(want))
		}
		for i, b := range got {
			if d := b.Sample - want[i].Sample; d < -1 || d > 1 || math.Abs(b.Amplitude-math.Abs(k)*want[i].Amplitude) > 1e-6*math.Abs(k) {
				t.Errorf("times %g: beat %d at %d of height %g, want %d, %g", k, i, b.Sample, b.Amplitude, want[i].Sample, math.Abs(k)*want[i].Amplitude)
			}
		}
	}
}

// A sensor turned round while it runs is followed.
func TestPulseTurnedRound(t *testing.T) {
	f := fingerOf(t, simulate.Finger(), 120)
	for i := len(f.x) / 2; i < len(f.x); i++ {
		f.x[i] = 5 - f.x[i]
	}
	d, _ := NewPulse(f.rate)
	beats := d.Process(nil, f.x[:len(f.x)/2])
	if d.Polarity() != 1 {
		t.Errorf("polarity %d, want 1", d.Polarity())
	}
	beats = d.Process(beats, f.x[len(f.x)/2:])
	if d.Polarity() != -1 {
		t.Errorf("polarity %d after a minute upside down, want -1", d.Polarity())
	}
	f.expect(t, beats, 95, 0.06)
}

// A pulse of 20 mV in drift and hum ten times as large.
func TestPulseWeak(t *testing.T) {
	for _, hz := range []float64{50, 60} {
		c := simulate.Finger()
		c.MotionPerMinute, c.Bits, c.MainsHz = 0, 16, hz
		ch := &c.Channels[0]
		ch.SignalVolts, ch.BreathVolts, ch.DriftVolts = 0.02, 0.1, 0.1
		ch.HumVolts, ch.FlickerVolts, ch.NoiseVolts, ch.TrimmerHz = 0.07, 0.02, 0.001, 0
		f := fingerOf(t, c, 120)
		missed, extra, worst := f.errors(pulses(t, f), 10)
		t.Logf("%g Hz: %d of %d missed, %d extra, marks up to %.0f ms off", hz, missed, len(f.peak), extra, 1000*worst)
		if missed > 1 || extra > 1 {
			t.Errorf("%g Hz: %d of %d beats missed, %d found that are none; want at most one of each", hz, missed, len(f.peak), extra)
		}
	}
}

// A dicrotic wave of up to half the pulse is not counted; it comes about 0.3 s after
// the peak (Elgendi 2012, "On the analysis of fingertip photoplethysmogram signals"
// shows 0.25 to 0.4 s), sooner in a fast rhythm.
func TestPulseDicrotic(t *testing.T) {
	for _, share := range []float64{0, 0.2, 0.35, 0.5} {
		for _, bpm := range []float64{40, 60, 80, 100} {
			t.Run(fmt.Sprintf("%g of the pulse, %g bpm", share, bpm), func(t *testing.T) {
				f := fingerAt(200, steady(bpm, 0.6, 60), 60, min(0.33, 0.45*60/bpm), same(1, share))
				noise(f.x, 0.005, 3)
				f.expect(t, pulses(t, f), 12, 0.05)
			})
		}
	}
}

// A knock and a step of thirty pulses' height (the finger shifts, a lamp is switched)
// spoil the beats they cover, none after.
func TestPulseJerks(t *testing.T) {
	const rate, seconds = 250, 120
	f := fingerAt(rate, steady(72, 0.6, seconds), seconds, 0.33, same(1, 0.2))
	noise(f.x, 0.005, 3)
	jerks := []float64{20, 40, 60, 80, 100} // seconds
	for i := range f.x {
		at := float64(i) / rate
		for k, j := range jerks {
			u := (at - j) / 0.04
			switch k % 2 {
			case 0:
				f.x[i] += 30 * math.Exp(-u*u/2)
			default:
				f.x[i] += 30 / (1 + math.Exp(-4*u)) * float64(k-2) // up at 80 s, down at 40
			}
		}
	}
	// What lies within half a second of a jerk counts neither way.
	covered := func(at int64) bool {
		return slices.ContainsFunc(jerks, func(j float64) bool { return math.Abs(float64(at)/rate-j) < 0.5 })
	}
	f.peak = slices.DeleteFunc(f.peak, covered)
	f.expect(t, slices.DeleteFunc(pulses(t, f), func(b Beat) bool { return covered(b.Sample) }), 8, 0.05)
}

// Strong and weak waves in turn: beat and dicrotic wave if the weak ones come soon after the
// strong ones, or are much weaker; in the middle a pulse of alternating strength.
func TestPulseDoubled(t *testing.T) {
	for _, c := range []struct {
		weak    float64
		at      int64   // of the weak one, of 100
		limit   float64 // for one soon after
		doubled bool
	}{
		{0.5, 50, 100, false},
		{0.3, 50, 100, false},
		{0.9, 40, 100, true},
		{0.9, 40, 30, false},
		{0.3, 40, 30, true},
		{1, 40, 100, false},
	} {
		var k takes
		d := defaultPulseParams()
		d.doubleSeconds = c.limit
		for i := range int64(takesKept) {
			s := swing{steep: 100 * (i / 2), weight: 1}
			if i%2 == 1 {
				s = swing{steep: s.steep + c.at, weight: c.weak}
			}
			k.add(s)
		}
		if got := k.doubled(&d, 1) > 0; got != c.doubled {
			t.Errorf("%+v: doubled %t", c, got)
		}
	}
}

func TestPulseSilence(t *testing.T) {
	const rate = 250
	n := 60 * rate
	r := rand.New(rand.NewPCG(5, 5))
	signals := map[string][]float64{"flat": nil, "noise": nil, "ramp": nil, "hum": nil, "rail": nil}
	for i := range n {
		s := float64(i) / rate
		hum := 0.3 * math.Sin(2*math.Pi*50*s)
		signals["flat"] = append(signals["flat"], 2.5)
		signals["ramp"] = append(signals["ramp"], s/60)
		signals["noise"] = append(signals["noise"], 0.01*r.NormFloat64())
		signals["hum"] = append(signals["hum"], hum)
		signals["rail"] = append(signals["rail"], min(3.6, 3.5+hum))
	}
	for name, x := range signals {
		m, err := NewMonitor(MonitorConfig{Kind: Pulse, RateHz: rate, Low: -1, High: 3.6})
		if err != nil {
			t.Fatal(err)
		}
		var beats []Beat
		claimed := 0
		for i := 0; i < n; i += rate {
			beats = m.Process(beats, x[i:i+rate])
			if m.Reading().State == StateReading {
				claimed++
			}
		}
		t.Logf("%s: %d beats, %d s claimed, at the end %v", name, len(beats), claimed, m.Reading())
		if claimed > 0 {
			t.Errorf("%s: a rate is claimed in %d s of 60", name, claimed)
		}
		// Of white noise, in which some waves resemble a pulse by chance, fewer than
		// every second; of the rail the step at the very start may be one.
		most := map[string]int{"noise": 45, "rail": 1}[name]
		if len(beats) > most {
			t.Errorf("%s: %d beats, want at most %d", name, len(beats), most)
		}
	}
}

func TestPulseLatency(t *testing.T) {
	for _, rate := range []float64{25, 125, 250, 1000} {
		for _, bpm := range []float64{40, 72, 180} {
			c := simulate.Finger().Clean()
			c.RateHz, c.BPM, c.Variation = rate, bpm, 0.02
			f := fingerOf(t, c, 30)
			d, _ := NewPulse(rate)
			worst := int64(0)
			for i := range f.x {
				for _, b := range d.Process(nil, f.x[i:i+1]) {
					if i > int(10*rate) {
						worst = max(worst, int64(i)-b.Sample)
					}
				}
			}
			t.Logf("%g Hz, %g bpm: reported up to %.0f ms after the peak, %.0f ms declared", rate, bpm, 1000*float64(worst)/rate, 1000*float64(d.LatencySamples())/rate)
			if worst == 0 || worst > int64(d.LatencySamples()) {
				t.Errorf("%g Hz, %g bpm: reported up to %d samples after the peak, %d declared", rate, bpm, worst, d.LatencySamples())
			}
		}
	}
}

// Foot and height on a wave whose truth is known: the foot lies on the rise's start,
// the height is the wave's.
func TestPulseFootAndHeight(t *testing.T) {
	f := fingerAt(500, steady(72, 0.6, 40), 40, 0.33, same(0.8, 0.2))
	for i, b := range pulses(t, f) {
		if i < 6 {
			continue
		}
		// A Gaussian flank's tangent at its steepest point, one standard deviation
		// before the peak, meets the base two before it.
		foot := float64(b.Sample-b.Foot) / f.rate
		if math.Abs(foot-2*0.055) > 0.015 || math.Abs(b.Amplitude-0.8) > 0.02 || b.Quality < 0.9 {
			t.Fatalf("beat %d: foot %.0f ms before the peak, height %.3f V, quality %.2f; want 110 ms, 0.8 V, near 1", i, 1000*foot, b.Amplitude, b.Quality)
		}
	}
}

func TestPulseBadConfig(t *testing.T) {
	for _, hz := range []float64{0, 24.9, -250, 1e6, math.NaN(), math.Inf(1)} {
		if _, err := NewPulse(hz); err == nil {
			t.Errorf("%g Hz is taken", hz)
		}
	}
}

func BenchmarkPulse(b *testing.B) {
	for _, hz := range []float64{250, 8000} {
		b.Run(fmt.Sprintf("%g Hz", hz), func(b *testing.B) {
			const seconds = 20
			c := simulate.Finger()
			c.RateHz = hz
			f := fingerOf(b, c, seconds)
			d, _ := NewPulse(f.rate)
			beats := make([]Beat, 0, 1024)
			b.ReportAllocs()
			for b.Loop() {
				beats = d.Process(beats[:0], f.x)
			}
			b.ReportMetric(seconds*float64(b.N)/b.Elapsed().Seconds(), "s/s")
		})
	}
}
