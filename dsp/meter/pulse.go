package meter

import (
	"math"
	"slices"

	"pulsewright/dsp/beat"
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
	var whole []beat.Beat
	for _, b := range s.beats {
		i, f := int(b.Sample-s.first), int(b.Foot-s.first)
		if f-half < 0 || i+half >= len(x) || f >= i {
			continue
		}
		h = append(h, c.swing(x, f, i))
		whole = append(whole, b)
	}
	if len(h) >= 3 {
		slices.Sort(h)
		return Pulse{Known: h[len(h)/2] > 0, HeightVolts: h[len(h)/2], Beats: len(h), sure: sure(whole)}
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

// Limits of a signal without a heartbeat, our own, chosen on noise alone, white and behind low-passes of 5 to 16 Hz, and on
// weak pulses in it: TestNoPulse, TestWeakPulseIsJudged.
const (
	noiseIsAll   = 15.0 // what a finder sees in noise is at most so many times the noise in 15 Hz high
	doubtful     = 0.5  // the middle quality of what it takes for beats there, at most
	alike        = 0.8  // more is a heart
	evenly       = 0.2  // the middle half of the intervals over the middle one: less is a heart
	uneven       = 0.35 // more is none
	sureBeats    = 8    // fewer come evenly by chance
	leastBendHz  = 75.0 // from which a mains cycle has more than one sample
	bendOfNoise  = 2.13 // median of white noise's bend over its rms in 15 Hz: 0.6745·√6·√(25/15)
	beatsSeconds = 8.0  // after which a finder has found heartbeats, where there are any
)

// pulseOrNone is the pulse, or none where what is measured is no heartbeat. A hum that rules is left to its own verdict.
func (s stretch) pulseOrNone(r *Report) Pulse {
	cfg, p, h := s.cfg, s.pulse(), &r.Hum
	humRules := h.Found && 20*math.Log10(2*math.Sqrt2*h.VoltsRMS/p.HeightVolts) > humIsAllDB
	switch {
	case cfg.Kind == "ecg" && !p.Known && r.Seconds >= beatsSeconds:
		return Pulse{None: true, Reason: whyFewBeats}
	case cfg.Kind == "ecg" || !p.Known || p.sure || humRules:
		return p
	case p.HeightVolts < noiseIsAll*s.noiseInBand():
		return Pulse{None: true, Reason: whyNoise}
	case cfg.Kind == "pulse" && p.Beats == 0 && r.Seconds >= beatsSeconds:
		return Pulse{None: true, Reason: whyFewBeats}
	}
	return p
}

// sure tells beats that look alike, or come evenly, from what is found in noise.
func sure(beats []beat.Beat) bool {
	var quality, apart []float64
	for i, b := range beats {
		quality = append(quality, b.Quality)
		if i > 0 {
			apart = append(apart, float64(b.Sample-beats[i-1].Sample))
		}
	}
	slices.Sort(quality)
	slices.Sort(apart)
	n, q := len(apart), quality[len(quality)/2]
	spread := (apart[3*n/4] - apart[n/4]) / apart[n/2]
	return q > alike || len(beats) >= sureBeats && (spread < evenly || spread < uneven && q > doubtful)
}

// noiseInBand is the noise in the heartbeat's band, by how the signal bends from one mains cycle to the next: noise does,
// a pulse hardly does. Unlike the density it tells of noise that the board's low-pass has passed, at a low rate too.
func (s stretch) noiseInBand() float64 {
	c := mainsCycle(s.cfg, s.hum)
	if s.cfg.RateHz < leastBendHz {
		return 0
	}
	step := 2*c.half + 2
	var bends []float64
	for i := c.reach() + step; i+step+c.reach() < len(s.x); i++ {
		bends = append(bends, math.Abs(c.mean(s.x, i-step)-2*c.mean(s.x, i)+c.mean(s.x, i+step)))
	}
	if len(bends) == 0 {
		return 0
	}
	slices.Sort(bends)
	return bends[len(bends)/2] / bendOfNoise
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
