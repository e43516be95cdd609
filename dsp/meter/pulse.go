package meter

import (
	"math"
	"slices"

	"pulsewright/dsp/mains"
)

// cycle is one period of the mains in samples: 2·half + 1 whole ones and a share edge
// of the one before and of the one after, so that the mean over it takes the hum out
// at any rate.
type cycle struct {
	half int
	edge float64
}

func mainsCycle(cfg Config, hum mains.Measure) cycle {
	f := 50.0
	if hum.Found {
		f = hum.FreqHz
	} else if cfg.MainsHz != 0 {
		f = cfg.MainsHz
	}
	width := cfg.RateHz / f
	half := max(0, int((width-1)/2))
	return cycle{half, max(0, (width-float64(2*half+1))/2)}
}

// reach is how far the mean looks to either side.
func (c cycle) reach() int { return c.half + 1 }

// mean is about i, which lies reach or more from both ends of x.
func (c cycle) mean(x []float64, i int) float64 {
	var s float64
	for _, v := range x[i-c.half : i+c.half+1] {
		s += v
	}
	return c.level(x, i, s)
}

// level is the mean, from the sum of the whole samples.
func (c cycle) level(x []float64, i int, sum float64) float64 {
	return (sum + c.edge*(x[i-c.half-1]+x[i+c.half+1])) / (float64(2*c.half+1) + 2*c.edge)
}

// pulse is the height of a heartbeat.
func (s stretch) pulse() Pulse {
	cfg, x := s.cfg, s.x
	if cfg.Kind == "ecg" {
		t := s.typicalECG()
		if t.beats < leastTypicalBeats {
			return Pulse{Reason: whyFewBeats}
		}
		h := t.height(0)
		return Pulse{Known: h > 0, HeightVolts: h, Beats: t.beats, ecg: t}
	}
	c := mainsCycle(cfg, s.hum)
	half := c.reach()
	var h []float64
	for _, b := range s.beats {
		i, f := int(b.Sample-s.first), int(b.Foot-s.first)
		if f-half < 0 || i+half >= len(x) || f >= i {
			continue
		}
		h = append(h, c.swing(x, f, i))
	}
	if len(h) >= 3 {
		slices.Sort(h)
		return Pulse{Known: h[len(h)/2] > 0, HeightVolts: h[len(h)/2], Beats: len(h)}
	}
	// Without beats: the swing of each two seconds with the mains cycle averaged out.
	step := int(2 * cfg.RateHz)
	for i := 0; i+step <= len(x); i += step {
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := i + half; k < i+step-half; k += max(1, half/4) {
			v := c.mean(x, k)
			lo, hi = min(lo, v), max(hi, v)
		}
		h = append(h, hi-lo)
	}
	if len(h) < 2 {
		return Pulse{Reason: whyFewBeats}
	}
	slices.Sort(h)
	return Pulse{Known: h[len(h)/2] > 0, HeightVolts: h[len(h)/2], Reason: whyNoBeats}
}

// swing is the height of a pulse with its foot at f and its peak at i, both as a
// detector places them: the foot, where tangents meet, lies above the lowest value,
// which comes before it, and hum moves the peak. So both extremes are looked for
// within a rise's length, the mains cycle averaged out.
func (c cycle) swing(x []float64, f, i int) float64 {
	rise := i - f
	up := c.mean(x, i) > c.mean(x, f)
	extreme := func(from, to int, highest bool) float64 {
		from, to = max(from, c.reach()), min(to, len(x)-1-c.reach())
		sum := 0.0
		for _, v := range x[from-c.half : from+c.half+1] {
			sum += v
		}
		best := c.level(x, from, sum)
		for k := from + 1; k <= to; k++ {
			sum += x[k+c.half] - x[k-1-c.half]
			if v := c.level(x, k, sum); highest == (v > best) {
				best = v
			}
		}
		return best
	}
	return math.Abs(extreme(i-rise/2, i+rise/2, up) - extreme(f-rise, f+rise/2, !up))
}
