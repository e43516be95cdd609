package mains

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestTotalIsOfWhatStandsOut: the fundamental and those harmonics that stand three
// standard deviations above the noise.
func TestTotalIsOfWhatStandsOut(t *testing.T) {
	tr, err := NewTracker(Config{RateHz: 1000, NominalHz: 50, Harmonics: 5})
	if err != nil {
		t.Fatal(err)
	}
	noise := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 4000)
	for i := range x {
		at := 2 * math.Pi * 50 * float64(i) / 1000
		x[i] = 0.1*math.Sin(at) + 0.05*math.Sin(3*at) + 0.01*noise.NormFloat64()
	}
	tr.Process(x)
	m := tr.Measure()
	sum, left := 0.0, 0
	for h, a := range m.AmplitudeVoltsRMS {
		if h == 0 || a > 3*m.UncertaintyVoltsRMS[h] {
			sum += a * a
		} else {
			left++
		}
	}
	// By the two lines alone: √(0.1² + 0.05²)/√2.
	if left < 2 || math.Abs(m.TotalVoltsRMS-math.Sqrt(sum)) > 1e-12 || math.Abs(m.TotalVoltsRMS/math.Sqrt((0.01+0.0025)/2)-1) > 0.01 {
		t.Errorf("total %g of %v ± %v", m.TotalVoltsRMS, m.AmplitudeVoltsRMS, m.UncertaintyVoltsRMS)
	}
}

// TestCancellerStopsAfterThreeMisses, not at the first.
func TestCancellerStopsAfterThreeMisses(t *testing.T) {
	c, err := NewCanceller(Config{RateHz: 500, NominalHz: 50})
	if err != nil {
		t.Fatal(err)
	}
	noise := rand.New(rand.NewPCG(3, 4))
	seen := 0
	for i := range 15 * 500 {
		x := 0.001 * noise.NormFloat64()
		if i < 5*500 {
			x += 0.1 * math.Sin(2*math.Pi*50*float64(i)/500)
		}
		was := c.active
		c.Process([]float64{0}, []float64{x})
		seen = max(seen, c.misses)
		if was && !c.active {
			if c.misses != 3 || i < 5*500 {
				t.Errorf("stopped after %d misses at %.1f s", c.misses, float64(i)/500)
			}
			return
		}
	}
	t.Errorf("ten seconds after the hum went it is still subtracted, %d misses", seen)
}

// TestHoldReachesAsFarAsTheFarthest of those asked for while it runs.
func TestHoldReachesAsFarAsTheFarthest(t *testing.T) {
	c, err := NewCanceller(Config{RateHz: 500})
	if err != nil {
		t.Fatal(err)
	}
	c.Hold(100)
	c.Process(make([]float64, 10), make([]float64, 10))
	for _, h := range []struct {
		samples  int
		from, to int64
	}{{20, 0, 100}, {200, 0, 210}, {0, 0, 210}} {
		if c.Hold(h.samples); c.holdFrom != h.from || c.holdTo != h.to {
			t.Errorf("held from %d to %d, want %d to %d", c.holdFrom, c.holdTo, h.from, h.to)
		}
	}
}
