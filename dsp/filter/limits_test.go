package filter_test

import (
	"math"
	"testing"

	"pulsewright/dsp/filter"
)

// TestFadeOnAFade: half way through, a half cosine has half of a jump left; another jump
// comes on top of it.
func TestFadeOnAFade(t *testing.T) {
	c := cascade(nil, 1000)
	half := make([]float64, int(filter.FadeSeconds*1000/2))
	c.Process(half[:1], half[:1])
	c.Fade(1)
	c.Process(half, half)
	c.Fade(1)
	one := []float64{0}
	if c.Process(one, one); math.Abs(one[0]-1.5) > 1e-12 {
		t.Errorf("after half a fade and another jump %g, want 1.5", one[0])
	}
}

// TestGroupDelayOnAZero is the limit from both sides.
func TestGroupDelayOnAZero(t *testing.T) {
	for name, c := range map[string]struct {
		s  filter.Sections
		hz float64
	}{
		"notch":                   {must(filter.Notch(250, 50, 5, 1)), 50},
		"low-pass, half rate":     {must(filter.ButterworthLowPass(250, 40, 2)), 125},
		"low-pass 1, half rate":   {must(filter.RCLowPass(250, 40)), 125},
		"high-pass, 0 Hz":         {must(filter.ButterworthHighPass(250, 0.5, 2)), 0},
		"high-pass 1, 0 Hz":       {must(filter.RCHighPass(250, 0.5)), 0},
		"low-pass 3, half a rate": {must(filter.ButterworthLowPass(250, 40, 3)), 125},
	} {
		got := c.s.GroupDelaySamples(c.hz, 250)
		want := (c.s.GroupDelaySamples(c.hz+1e-4, 250) + c.s.GroupDelaySamples(c.hz-1e-4, 250)) / 2
		if !(math.Abs(got-want) < 1e-3*math.Abs(want)+1e-6) {
			t.Errorf("%s: %g samples at %g Hz, beside it %g", name, got, c.hz, want)
		}
	}
}

// TestTimeConstants: a pole at z = p falls to 1/e in −1/ln|p| samples, on either side of 0.
func TestTimeConstants(t *testing.T) {
	for p, want := range map[float64]float64{0.5: 1 / math.Ln2, -0.5: 1 / math.Ln2, -0.9: -1 / math.Log(0.9), 0.999: -1 / math.Log(0.999)} {
		s := filter.Sections{filter.NewSection([3]float64{1, 0, 0}, [2]float64{-p, 0})}
		if got := s.TimeConstantSamples(); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("a pole at %g: %g samples, want %g", p, got, want)
		}
	}
}

// TestUncoupleNoiseIsTheMean of (f² + c²)/(f² + f0²) over the band, by the midpoint rule,
// also where floor and corner are near each other.
func TestUncoupleNoiseIsTheMean(t *testing.T) {
	for _, c := range [][4]float64{{1, 0.5, 0.5, 10}, {5, 4, 0, 40}, {20, 0.05, 0.5, 40}} {
		const n = 100_000
		sum := 0.0
		for i := range n {
			f := c[2] + (float64(i)+0.5)/n*(c[3]-c[2])
			sum += (f*f + c[0]*c[0]) / (f*f + c[1]*c[1])
		}
		if got, want := filter.UncoupleNoise(c[0], c[1], c[2], c[3]), math.Sqrt(sum/n); math.Abs(got/want-1) > 1e-6 {
			t.Errorf("%v: %g times, want %g", c, got, want)
		}
	}
}
