package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"pulsewright/dsp/beat"
)

// TestAverageBeat: the same wave under normal noise and a slow ramp comes out again;
// a tenth of a normal distribution lies beyond 1.2816 standard deviations (tables).
func TestAverageBeat(t *testing.T) {
	for _, c := range []struct {
		kind   beat.Kind
		rateHz float64
	}{{beat.Pulse, 250}, {beat.ECG, 1000}, {beat.Pulse, 8000}} {
		random := rand.New(rand.NewPCG(1, 2))
		const n, sigma = 400, 0.01
		period := int(1.1 * c.rateHz)
		// Nothing near the level's own stretch, so that the level is the ramp's alone.
		wave := func(seconds float64) float64 {
			return math.Exp(-(seconds - 0.25) * (seconds - 0.25) / 0.005)
		}
		values := make([]float64, period*(n+2))
		var beats []beat.Beat
		for i := range values {
			phase := float64(i%period) / c.rateHz
			values[i] = 3 + 1e-7*float64(i)/c.rateHz + wave(phase) + wave(phase-float64(period)/c.rateHz) + sigma*random.NormFloat64()
		}
		for k := 1; k <= n; k++ {
			beats = append(beats, beat.Beat{Sample: int64(k * period), Foot: int64(k * period), Kind: c.kind})
		}
		a := averageBeat(values, beats, c.rateHz, c.kind)
		if a.Beats != n {
			t.Fatalf("%s at %g Hz: %d beats, want %d", c.kind, c.rateHz, a.Beats, n)
		}
		step := math.Round(max(1, c.rateHz/averagePoints))
		each := sigma / math.Sqrt(step) // of a mean of step values
		worst, width := 0.0, 0.0
		for i := range a.Median {
			seconds := a.FromSeconds + float64(i)*a.StepSeconds
			worst = max(worst, math.Abs(a.Median[i]-wave(seconds)-wave(seconds+1.1)-wave(seconds-1.1)))
			width += (a.High[i] - a.Low[i]) / float64(len(a.Median))
		}
		// The median of n normal values has √(π/2n) of their deviation.
		if limit := 5*each*math.Sqrt(math.Pi/2/n) + 2e-3; worst > limit {
			t.Errorf("%s at %g Hz: the median beat is off by %g, at most %g expected", c.kind, c.rateHz, worst, limit)
		}
		// The level's own scatter adds to it.
		levels := 0.04*c.rateHz + 1
		want := 2 * 1.2816 * math.Sqrt(each*each+sigma*sigma/levels)
		if math.Abs(width/want-1) > 0.06 {
			t.Errorf("%s at %g Hz: eight in ten beats lie within %g, want %g", c.kind, c.rateHz, width, want)
		}
		if first := a.FromSeconds; first < -0.31 || first > -0.19 || math.Abs(a.StepSeconds-step/c.rateHz) > 1e-12 {
			t.Errorf("%s at %g Hz: begins at %g s in steps of %g s", c.kind, c.rateHz, first, a.StepSeconds)
		}
	}
	if a := averageBeat(make([]float64, 100), []beat.Beat{{Sample: 5, Foot: 5}}, 250, beat.Pulse); a.Beats != 0 || len(a.Median) != 0 {
		t.Errorf("a beat at the very edge is averaged: %+v", a)
	}
}

// TestECGIsCountedFromBeforeTheR: from the mean of 80 to 40 ms before the R peak.
func TestECGIsCountedFromBeforeTheR(t *testing.T) {
	values := make([]float64, 2000)
	for i := 920; i <= 960; i++ {
		values[i] = 1
	}
	values[1000] = 5
	a := averageBeat(values, []beat.Beat{{Sample: 1000, Foot: 1000, Kind: beat.ECG}}, 1000, beat.ECG)
	at := int(math.Round(-a.FromSeconds / a.StepSeconds))
	if a.Beats != 1 || a.Median[at] != 4 || a.Median[at-60] != 0 || a.Median[at-100] != -1 {
		t.Errorf("%d beats, R %g, level %g, before it %g; want 1, 4, 0 and -1", a.Beats, a.Median[at], a.Median[at-60], a.Median[at-100])
	}
}

// TestMedianRateOfAnEvenNumber: between the middle two, 1 and 0.5 s: 60/0.75 s.
func TestMedianRateOfAnEvenNumber(t *testing.T) {
	for want, samples := range map[float64][]int64{80: {0, 100, 150}, 60: {0, 100, 150, 350}, 0: {100}} {
		var at []float64
		for _, s := range samples {
			at = append(at, float64(s)/100)
		}
		if got := MedianBPM(at); math.Abs(got-want) > 1e-12 {
			t.Errorf("beats at %v: %g a minute, want %g", samples, got, want)
		}
	}
}
