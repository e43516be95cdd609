package meter

import (
	"math"
	"testing"

	"pulsewright/dsp/mains"
)

// TestShortFlatTops: a pulse cut at 70 to 95 % of its height has flat tops also where
// they last only a sample or two; the same pulse uncut has none.
func TestShortFlatTops(t *testing.T) {
	for _, rateHz := range []float64{25, 50, 100, 250} {
		for _, rail := range []float64{0.7, 0.85, 0.95, 9} {
			x := make([]float64, int(10*rateHz))
			for i := range x {
				phase := math.Mod(1.17*float64(i)/rateHz, 1) // 70 bpm
				x[i] = 2 + min(rail, math.Exp(-math.Pow((phase-0.3)/0.08, 2))+0.3*math.Exp(-math.Pow((phase-0.6)/0.12, 2)))
			}
			cfg := Config{RateHz: rateHz, VoltsPerCount: 5.0 / 1024, ConverterHigh: 5, MidRail: math.NaN()}
			c := clipping(cfg, x, level(cfg, x))
			if cut := rail < 1; (c.FlatHighShare > 0) != cut {
				t.Errorf("%g Hz, cut at %g: flat share %.3g", rateHz, rail, c.FlatHighShare)
			}
		}
	}
}

// TestHumAtHalfTheRate: sampled at 100 Hz, hum of 50 Hz lies at half the rate and may
// vanish altogether (Shannon 1949): the answer is not known, whatever 60 Hz would show.
func TestHumAtHalfTheRate(t *testing.T) {
	tracker, err := mains.NewTracker(mains.Config{RateHz: 100})
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 3000)
	for i := range x {
		x[i] = 0.001*math.Sin(2.1*float64(i)) + 0.3*math.Sqrt2*math.Sin(math.Pi*float64(i)+0.2)
	}
	tracker.Process(x)
	if h := humOf(tracker.Measure()); h.Known || h.Found || h.Reason == "" {
		t.Errorf("at 100 Hz with 300 mV of 50 Hz: %+v", h)
	}
}
