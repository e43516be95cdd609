package simulate

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// run makes seconds of c and returns the generator and its counts.
func run(t testing.TB, c Config, seconds float64) (*Generator, [][]int32) {
	t.Helper()
	g, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	counts := make([][]int32, len(c.Channels))
	for i := range counts {
		counts[i] = make([]int32, int(seconds*c.RateHz))
	}
	g.Next(counts)
	return g, counts
}

// volts is channel 0 around the mid-rail.
func volts(g *Generator, counts []int32) []float64 {
	v := make([]float64, len(counts))
	g.Channels()[0].Values(v, counts)
	for i := range v {
		v[i] -= g.Config().MidRailVolts
	}
	return v
}

// quiet is a board of 24 bits and wide rails on which only the named parts act.
func quiet(c Config) Config {
	c = c.Clean()
	c.Bits, c.RailLowVolts, c.RailHighVolts = 24, -100, 100
	return c
}

// lockIn measures the amplitude at hz over whole cycles.
func lockIn(v []float64, rate, hz float64) float64 {
	n := int(math.Floor(float64(len(v))*hz/rate) * rate / hz)
	i, q := 0.0, 0.0
	for k := range n {
		s, c := math.Sincos(2 * math.Pi * hz * float64(k) / rate)
		i, q = i+v[k]*c, q+v[k]*s
	}
	return 2 / float64(n) * math.Hypot(i, q)
}

func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %g, want %g ± %g", what, got, want, tolerance)
	}
}

// TestPulseConstants derives mean and height by brute force (Tang et al. 2020's
// parameters, wrapped).
func TestPulseConstants(t *testing.T) {
	const n = 100000
	low, high, sum := math.Inf(1), math.Inf(-1), 0.0
	for i := range n {
		x := pulseAt(2 * math.Pi * float64(i) / n)
		low, high, sum = min(low, x), max(high, x), sum+x
	}
	within(t, "height", high-low, 1, 1e-8)
	within(t, "mean", sum/n, 0, 1e-8)
	within(t, "closing", pulseAt(2*math.Pi-1e-9), pulseAt(0), 1e-4)
}

// TestSplit: the same seed gives the same counts however they are asked for;
// another seed gives others.
func TestSplit(t *testing.T) {
	c := Both()
	c.MotionPerMinute, c.Off = 30, []Stretch{{4, 6}}
	whole, want := run(t, c, 20)
	for _, size := range []int{1, 7, 250, 1234} {
		g, err := New(c)
		if err != nil {
			t.Fatal(err)
		}
		got := make([][]int32, 2)
		for len(got[0]) < len(want[0]) {
			n := min(size, len(want[0])-len(got[0]))
			piece := [][]int32{make([]int32, n), make([]int32, n)}
			g.Next(piece)
			got[0], got[1] = append(got[0], piece[0]...), append(got[1], piece[1]...)
		}
		if !slices.Equal(got[0], want[0]) || !slices.Equal(got[1], want[1]) {
			t.Errorf("pieces of %d differ from the whole", size)
		}
		if !slices.Equal(g.Truth().Beats[1], whole.Truth().Beats[1]) {
			t.Errorf("pieces of %d: other truth", size)
		}
	}
	c.Seed++
	if _, other := run(t, c, 20); slices.Equal(other[0], want[0]) {
		t.Error("another seed gives the same counts")
	}
	// One part changed leaves the beats as they were.
	c.Seed--
	c.Channels[0].NoiseVolts, c.MainsHz = 0.05, 60
	if g, _ := run(t, c, 20); !slices.Equal(g.Truth().Beats[0], whole.Truth().Beats[0]) {
		t.Error("more noise moved the beats")
	}
}

// TestTruth: with nothing added, the samples named are the extremes of each
// beat, and the times agree with the model.
func TestTruth(t *testing.T) {
	for _, rate := range []float64{100, 250, 1000} {
		for _, trimmer := range []float64{0, 8} {
			c := quiet(Both())
			c.RateHz = rate
			for i := range c.Channels {
				c.Channels[i].TrimmerHz = trimmer
			}
			g, counts := run(t, c, 60)
			truth := g.Truth()
			if len(truth.Motion) != 0 || len(truth.Off) != 0 {
				t.Errorf("motion %v, off %v", truth.Motion, truth.Off)
			}
			for ch, beats := range truth.Beats {
				if len(beats) < 68 || len(beats) > 76 {
					t.Fatalf("channel %d: %d beats in 60 s at 72 per minute", ch, len(beats))
				}
				for i, b := range beats[1 : len(beats)-1] {
					// The highest sample between the middles of the intervals around it.
					half := int64(b.IntervalSeconds * rate * 0.4)
					from, to := b.Sample-half, b.Sample+half
					best, low := from, from
					for k := from; k < to; k++ {
						if counts[ch][k] > counts[ch][best] {
							best = k
						}
					}
					if best < b.Sample-1 || best > b.Sample+1 {
						t.Errorf("%g Hz, trimmer %g, channel %d beat %d: peak said at %d, is at %d", rate, trimmer, ch, i, b.Sample, best)
					}
					if ch == 0 {
						continue
					}
					for k := from; k <= b.Sample; k++ {
						if counts[ch][k] < counts[ch][low] {
							low = k
						}
					}
					// The foot is flat: its value counts.
					if d := counts[ch][b.Foot] - counts[ch][low]; float64(d) > 0.002/g.lsb {
						t.Errorf("%g Hz, trimmer %g, beat %d: foot said at %d is %d counts over the least, at %d", rate, trimmer, i, b.Foot, d, low)
					}
				}
			}
			if trimmer == 0 {
				for _, b := range truth.Beats[0] {
					within(t, "R sample against R time", float64(b.Sample)/rate, b.RSeconds, 0.003+0.5/rate)
				}
			}
		}
	}
}

// TestRhythm: mean, deviation and spectrum of the R–R intervals are those asked
// for; the power near 0.25 Hz is twice that near 0.1 Hz (McSharry et al. 2003).
func TestRhythm(t *testing.T) {
	c := quiet(Finger())
	c.RateHz = 25
	g, _ := run(t, c, 900)
	var intervals, times []float64
	for _, b := range g.Truth().Beats[0] {
		intervals, times = append(intervals, b.IntervalSeconds), append(times, b.RSeconds)
	}
	mean, sd := stat.MeanStdDev(intervals, nil)
	within(t, "mean interval", mean, 60.0/72, 0.01)
	within(t, "deviation", sd/mean, 0.04, 0.006)
	power := func(from, to float64) (p float64) {
		const n = 900
		for k := int(from * n); k < int(to*n); k++ {
			f, re, im := float64(k)/n, 0.0, 0.0
			for i, x := range intervals {
				s, co := math.Sincos(2 * math.Pi * f * times[i])
				re, im = re+(x-mean)*co, im+(x-mean)*s
			}
			p += re*re + im*im
		}
		return p
	}
	low, high, rest := power(0.06, 0.14), power(0.2, 0.3), power(0.31, 0.39)+power(0.15, 0.19)
	within(t, "low over high", low/high, 0.5, 0.15)
	if rest > 0.1*(low+high) {
		t.Errorf("power outside the bands: %g of %g", rest, low+high)
	}
}

// TestRates: the step comes with the first interval that begins after it.
func TestRates(t *testing.T) {
	c := quiet(Chest())
	c.Variation, c.BPM, c.Rates = 0, 80, []RateStep{{20, 120}, {40, 60}}
	g, _ := run(t, c, 60)
	for _, b := range g.Truth().Beats[0] {
		want := 0.75
		if b.RSeconds >= 40 {
			want = 1
		} else if b.RSeconds >= 20 {
			want = 0.5
		}
		within(t, "interval", b.IntervalSeconds, want, 1e-9)
	}
}

// TestHeights: the pulse and the R peak are as high as said whatever the heart
// rate, as long as P, S and T do not run together.
func TestHeights(t *testing.T) {
	for _, bpm := range []float64{40, 72, 100} {
		for ch, c := range []Config{Finger(), Chest()} {
			c = quiet(c)
			c.RateHz, c.BPM, c.Variation, c.Channels[0].SignalVolts = 1000, bpm, 0, 0.5
			g, counts := run(t, c, 20)
			v := volts(g, counts[0])[10000:]
			height := slices.Max(v) - slices.Min(v)
			if ch == 1 { // over the middle value, which is the baseline
				sorted := slices.Clone(v)
				slices.Sort(sorted)
				height = slices.Max(v) - sorted[len(v)/2]
			}
			// The ECG is calibrated at 60 per minute, and its middle value is not quite its baseline.
			within(t, c.Channels[0].Label+" height", height, 0.5, [2]float64{1e-4, 0.05}[ch])
			c.Channels[0].Invert = true
			h, upside := run(t, c, 20)
			for i, x := range volts(h, upside[0])[10000:] {
				if math.Abs(x+v[i]) > 1e-6 {
					t.Fatalf("inverted sample %d is %g, upright %g", i, x, v[i])
				}
			}
			if !slices.Equal(h.Truth().Beats[0], g.Truth().Beats[0]) {
				t.Error("inverted beats lie elsewhere")
			}
		}
	}
}

// TestHum: fundamental and harmonics as asked, and behind the trimmer as a single
// pole leaves them: 1/√(1+(f/fc)²).
func TestHum(t *testing.T) {
	for _, corner := range []float64{0, 5, 30, 200} {
		c := quiet(Finger())
		c.RateHz, c.Channels[0].SignalVolts = 1000, 0
		c.Channels[0].HumVolts, c.Channels[0].FlickerVolts = 0.2, 0
		c.Harmonics = []float64{0, 0.3}
		c.Channels[0].TrimmerHz = corner
		g, counts := run(t, c, 12)
		v := volts(g, counts[0])[2000:]
		pole := func(f float64) float64 {
			if corner == 0 {
				return 1
			}
			return 1 / math.Sqrt(1+f*f/corner/corner)
		}
		within(t, "50 Hz", lockIn(v, 1000, 50), 0.2*math.Sqrt2*pole(50), 0.003*0.2*math.Sqrt2*pole(50))
		// The trimmer is exact for straight pieces: 1.2 % at 150 Hz and 2 kHz.
		within(t, "150 Hz", lockIn(v, 1000, 150), 0.06*math.Sqrt2*pole(150), 0.03*0.06*math.Sqrt2*pole(150))
		within(t, "100 Hz", lockIn(v, 1000, 100), 0, 1e-4)
	}
}

// TestFlicker: 0.05 V rms at twice the mains; without a finger three times as much light
// comes in.
func TestFlicker(t *testing.T) {
	c := quiet(Finger())
	c.RateHz, c.Channels[0].SignalVolts, c.Channels[0].FlickerVolts = 1000, 0, 0.05
	c.Off = []Stretch{{10, 30}}
	g, counts := run(t, c, 30)
	v := volts(g, counts[0])
	on, off := 0.05*math.Sqrt2, 3*0.05*math.Sqrt2
	within(t, "100 Hz", lockIn(v[1000:9000], 1000, 100), on, 0.003*on)
	within(t, "100 Hz without a finger", lockIn(v[20000:30000], 1000, 100), off, 0.003*off)
}

// TestTurnTrimmer: turned live, the hum falls to what the new corner leaves.
func TestTurnTrimmer(t *testing.T) {
	c := quiet(Finger())
	c.RateHz, c.Channels[0].SignalVolts, c.Channels[0].HumVolts, c.Harmonics = 1000, 0, 0.2, nil
	g, _ := run(t, c, 5)
	if g.TrimmerHz() != 0 {
		t.Errorf("trimmer at %g", g.TrimmerHz())
	}
	if err := g.SetTrimmerHz(5); err != nil || g.TrimmerHz() != 5 {
		t.Fatalf("trimmer at %g, error %v", g.TrimmerHz(), err)
	}
	counts := [][]int32{make([]int32, 6000)}
	g.Next(counts)
	want := 0.2 * math.Sqrt2 / math.Sqrt(101)
	within(t, "hum", lockIn(volts(g, counts[0])[2000:], 1000, 50), want, 0.005*want)
	for _, bad := range []float64{-1, 0.01, math.NaN(), math.Inf(1)} {
		if g.SetTrimmerHz(bad) == nil {
			t.Errorf("trimmer at %g taken", bad)
		}
	}
}

// TestNoise: deviation as asked, plus the converter's LSB/√12.
func TestNoise(t *testing.T) {
	for _, bits := range []int{10, 16} {
		c := quiet(Finger())
		c.Bits, c.Channels[0].SignalVolts, c.Channels[0].NoiseVolts = bits, 0, 0.01
		g, counts := run(t, c, 120)
		_, sd := stat.MeanStdDev(volts(g, counts[0]), nil)
		lsb := 5 / math.Exp2(float64(bits))
		within(t, "noise", sd, math.Sqrt(0.01*0.01+lsb*lsb/12), 0.0002)
	}
}

// TestWander: the mains' frequency has the deviation asked for, and Truth tells it.
func TestWander(t *testing.T) {
	c := quiet(Finger())
	c.RateHz, c.MainsWanderHz = 25, 0.1
	g, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	var hz []float64
	counts := [][]int32{make([]int32, 25)}
	for range 1500 {
		g.Next(counts)
		hz = append(hz, g.Truth().MainsHz)
	}
	mean, sd := stat.MeanStdDev(hz, nil)
	within(t, "mean", mean, 50, 0.04)
	within(t, "deviation", sd, 0.1, 0.03)
}

// TestRails: gain drives the output flat against the amplifier's rail, before
// the converter's end; wide rails against the converter's.
func TestRails(t *testing.T) {
	c := Finger()
	c.Channels[0].Gain = 3
	_, counts := run(t, c, 30)
	rail := int32(math.Floor(3.6/5*1024 + 0.5))
	if top := slices.Max(counts[0]); top != rail {
		t.Errorf("highest count %d, want the rail's %d", top, rail)
	}
	flat := 0
	for _, x := range counts[0] {
		if x == rail {
			flat++
		}
	}
	if flat < len(counts[0])/50 {
		t.Errorf("%d samples of %d at the rail", flat, len(counts[0]))
	}
	c.RailLowVolts, c.RailHighVolts, c.Channels[0].Gain = -20, 20, 30
	_, counts = run(t, c, 30)
	if low, high := slices.Min(counts[0]), slices.Max(counts[0]); low != 0 || high != 1023 {
		t.Errorf("counts from %d to %d, want the converter's 0 to 1023", low, high)
	}
}

// TestOff: no beats and a flat line while the finger is off; beats around it.
func TestOff(t *testing.T) {
	c := quiet(Finger())
	c.Off = []Stretch{{20, 30}}
	g, counts := run(t, c, 60)
	truth := g.Truth()
	if want := []Span{{5000, 7500}}; !slices.Equal(truth.Off, want) {
		t.Errorf("off %v, want %v", truth.Off, want)
	}
	before, after := 0, 0
	for _, b := range truth.Beats[0] {
		switch {
		case b.Sample < 5000:
			before++
		case b.Foot >= 7500:
			after++
		default:
			t.Errorf("a beat at %d to %d", b.Foot, b.Sample)
		}
	}
	if before < 20 || after < 32 {
		t.Errorf("%d beats before, %d after", before, after)
	}
	// The step dies away with 0.6 s: after 6 s it is e⁻¹⁰ of 1.5 V.
	v := volts(g, counts[0])[6600:7400]
	if swing := slices.Max(v) - slices.Min(v); swing > 2e-4 {
		t.Errorf("swing of %g V without a finger", swing)
	}
}

// TestMotion: as many movements as asked for, each seen in the signal, none elsewhere.
func TestMotion(t *testing.T) {
	c := quiet(Finger())
	c.RateHz, c.MotionPerMinute = 50, 4
	c.Channels[0].SignalVolts, c.Channels[0].MotionVolts = 0, 0.8
	g, counts := run(t, c, 900)
	motion := g.Truth().Motion
	// Each waits 15 s on average and lasts 1.75 s: 54 in a quarter of an hour, SD below √54.
	if len(motion) < 32 || len(motion) > 76 {
		t.Errorf("%d movements in 15 minutes", len(motion))
	}
	v := volts(g, counts[0])
	at, largest := 0, 0.0
	for _, m := range motion {
		if m.From >= int64(len(v)) {
			break
		}
		for ; at < int(m.From); at++ {
			if math.Abs(v[at]) > 1e-5 {
				t.Fatalf("%g V at %d, outside a movement", v[at], at)
			}
		}
		high := 0.0
		for ; at < min(int(m.To), len(v)); at++ {
			high = max(high, math.Abs(v[at]))
		}
		if high < 0.05 {
			t.Errorf("movement %v of %g V", m, high)
		}
		largest = max(largest, high)
	}
	if largest > 0.8001 || largest < 0.5 {
		t.Errorf("largest excursion %g V", largest)
	}
}

// TestSlow: breathing and drift have the size asked for.
func TestSlow(t *testing.T) {
	c := quiet(Finger())
	c.RateHz, c.Channels[0].SignalVolts, c.Channels[0].BreathVolts = 25, 0, 0.1
	g, counts := run(t, c, 600)
	_, sd := stat.MeanStdDev(volts(g, counts[0]), nil)
	within(t, "breathing, rms", sd, 0.1/math.Sqrt2, 0.002)
	c.Channels[0].BreathVolts, c.Channels[0].DriftVolts = 0, 0.1
	g, counts = run(t, c, 2000)
	_, sd = stat.MeanStdDev(volts(g, counts[0]), nil)
	within(t, "drift, rms", sd, 0.1, 0.01)
	// Depth: pulses between 0.7 and 1.3 of their mean.
	c.Channels[0].DriftVolts, c.Channels[0].SignalVolts, c.Channels[0].BreathDepth = 0, 1, 0.3
	c.RateHz = 250
	g, counts = run(t, c, 120)
	v := volts(g, counts[0])
	low, high := 9.0, 0.0
	for _, b := range g.Truth().Beats[0] {
		h := v[b.Sample] - v[b.Foot]
		low, high = min(low, h), max(high, h)
	}
	within(t, "least pulse", low, 0.7, 0.06)
	within(t, "highest pulse", high, 1.3, 0.06)
}

// TestBothHeart: every pulse follows its R peak by the transit and the time from
// start to peak.
func TestBothHeart(t *testing.T) {
	c := quiet(Both())
	c.Variation, c.Channels[1].TransitSeconds = 0, 0.3
	g, _ := run(t, c, 30)
	beats := g.Truth().Beats
	pulses := map[float64]Beat{}
	for _, b := range beats[1] {
		pulses[b.RSeconds] = b
	}
	matched := 0
	for _, r := range beats[0] {
		if p, ok := pulses[r.RSeconds]; ok {
			matched++
			// The peak lies at −1.5029 rad (found by brute force over the formula) of −π…π.
			want := 0.3 + (math.Pi-1.5029)/(2*math.Pi)*60/72
			within(t, "delay", float64(p.Sample-r.Sample)/250, want, 0.006)
		}
	}
	if matched < len(beats[0])-3 {
		t.Errorf("%d of %d R peaks have a pulse", matched, len(beats[0]))
	}
}

func TestKeepTruth(t *testing.T) {
	c := Finger()
	c.KeepTruthSeconds, c.MotionPerMinute = 10, 20
	g, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	counts := [][]int32{make([]int32, 250)}
	for range 100 {
		g.Next(counts)
	}
	truth := g.Truth()
	if n := len(truth.Beats[0]); n < 10 || n > 13 || truth.Beats[0][0].Sample < 90*250 || len(truth.Motion) > 12 {
		t.Errorf("%d beats, %d movements kept", n, len(truth.Motion))
	}
}

func TestNoAllocation(t *testing.T) {
	c := Both()
	c.KeepTruthSeconds = 5
	g, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	counts := [][]int32{make([]int32, 500), make([]int32, 500)}
	for range 30 {
		g.Next(counts)
	}
	if n := testing.AllocsPerRun(50, func() { g.Next(counts) }); n > 0 {
		t.Errorf("%g allocations a call", n)
	}
}

func TestSource(t *testing.T) {
	for _, address := range []string{"demo:finger", "demo:both?rate=1000&bits=12&speed=20", "demo:chest?rate=25"} {
		t.Run(address, func(t *testing.T) {
			acquiretest.Source(t, func(t *testing.T) acquire.Source {
				s, err := acquire.Openers{"demo": Open}.Open(context.Background(), address)
				if err != nil {
					t.Fatal(err)
				}
				return s
			})
		})
	}
}

// TestSourceIsGenerator: what the source delivers is what the generator makes.
func TestSourceIsGenerator(t *testing.T) {
	a, err := acquire.ParseAddress("demo:both?speed=50&seed=7")
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	got, err := acquiretest.Check(t, s).Samples(context.Background(), 2000)
	if err != nil {
		t.Fatal(err)
	}
	c, _, err := FromAddress(a)
	if err != nil {
		t.Fatal(err)
	}
	_, want := run(t, c, 8)
	for ch := range got {
		if !slices.Equal(got[ch][:2000], want[ch]) {
			t.Errorf("channel %d differs", ch)
		}
	}
}

func TestAddress(t *testing.T) {
	read := func(s string) (Config, float64, error) {
		a, err := acquire.ParseAddress(s)
		if err != nil {
			t.Fatal(err)
		}
		return FromAddress(a)
	}
	c, speed, err := read("demo:both?rate=500&seed=9&speed=4&bpm=80,30:120,60:80&off=20:30,50:55&pulse=0.7&ecg=0.4&hum=0.3&mains=60&trimmer=12&invert=1&harmonics=0.1,0.2&bits=16&transit=0.25&high=4.9")
	if err != nil {
		t.Fatal(err)
	}
	want := Both()
	want.RateHz, want.Seed, want.BPM, want.MainsHz, want.Bits, want.RailHighVolts = 500, 9, 80, 60, 16, 4.9
	want.Rates, want.Off = []RateStep{{30, 120}, {60, 80}}, []Stretch{{20, 30}, {50, 55}}
	want.Harmonics = []float64{0.1, 0.2}
	for i := range want.Channels {
		ch := &want.Channels[i]
		ch.HumVolts, ch.TrimmerHz, ch.Invert = 0.3, 12, true
		ch.SignalVolts = [2]float64{0.4, 0.7}[i]
	}
	want.Channels[1].TransitSeconds = 0.25
	if speed != 4 || !slices.Equal(c.Channels, want.Channels) || !slices.Equal(c.Rates, want.Rates) || !slices.Equal(c.Off, want.Off) ||
		c.RateHz != 500 || c.Seed != 9 || c.BPM != 80 || c.MainsHz != 60 || c.Bits != 16 || c.RailHighVolts != 4.9 || !slices.Equal(c.Harmonics, want.Harmonics) {
		t.Errorf("got %+v at speed %g, want %+v", c, speed, want)
	}
	for _, bad := range []string{
		"demo:toe", "demo:finger?color=red", "demo:finger?rate=1", "demo:finger?bpm=fast", "demo:finger?bpm=80,120", "demo:finger?bpm=80,60:120,30:80",
		"demo:finger?bpm=NaN", "demo:finger?bpm=5", "demo:finger?off=20", "demo:finger?off=30:20", "demo:finger?bits=9.5", "demo:finger?seed=-1", "demo:finger?invert=perhaps",
		"demo:finger?trimmer=0.01", "demo:finger?low=4", "demo:finger?harmonics=x", "demo:finger?speed=0", "demo:finger?gain=NaN",
	} {
		if _, _, err := read(bad); err == nil {
			t.Errorf("%s taken", bad)
		}
	}
	var wrong *acquire.AddressError
	if _, _, err := read("demo:finger?color=red"); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "trimmer") {
		t.Errorf("unknown option: %v", err)
	}
}

// TestDemos: each can be opened, has its name, and is told apart.
func TestDemos(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range Demos() {
		s, err := acquire.Openers{"demo": Open}.Open(context.Background(), d.Address)
		if err != nil {
			t.Errorf("%s: %v", d.Address, err)
			continue
		}
		if s.Describe().Name != d.Name || seen[d.Name] || !strings.HasSuffix(d.What, ".") || strings.Count(d.What, ".") != 1 {
			t.Errorf("%s: name %q, described as %q, what %q", d.Address, d.Name, s.Describe().Name, d.What)
		}
		seen[d.Name] = true
		s.Close()
	}
}

// FuzzAddress: whatever is asked for, the answer is an error or a board that runs.
func FuzzAddress(f *testing.F) {
	for _, d := range Demos() {
		f.Add(strings.TrimPrefix(d.Address, "demo:"))
	}
	f.Add("both?bpm=80,30:120&off=1:2&harmonics=1,2&bits=24&trimmer=0.1")
	f.Fuzz(func(t *testing.T, rest string) {
		a, err := acquire.ParseAddress("demo:" + rest)
		if err != nil {
			return
		}
		c, _, err := FromAddress(a)
		if err != nil {
			return
		}
		g, err := New(c)
		if err != nil {
			t.Fatalf("%s: read but refused: %v", a, err)
		}
		counts := make([][]int32, len(c.Channels))
		for i := range counts {
			counts[i] = make([]int32, 100)
		}
		g.Next(counts)
		for i, ch := range g.Channels() {
			if low, high := slices.Min(counts[i]), slices.Max(counts[i]); low < ch.MinCount || high > ch.MaxCount {
				t.Fatalf("%s: counts %d to %d", a, low, high)
			}
		}
	})
}

func BenchmarkNext(b *testing.B) {
	for _, c := range []struct {
		name string
		conf Config
	}{{"finger", Finger()}, {"chest", Chest()}, {"both", Both()}} {
		b.Run(c.name, func(b *testing.B) {
			g, err := New(c.conf)
			if err != nil {
				b.Fatal(err)
			}
			counts := make([][]int32, len(c.conf.Channels))
			for i := range counts {
				counts[i] = make([]int32, 250)
			}
			for b.Loop() {
				g.Next(counts)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "×real-time")
		})
	}
}
