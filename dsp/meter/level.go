package meter

import (
	"math"
	"slices"
)

func level(cfg Config, x []float64) Level {
	l := Level{Known: true, LowVolts: x[0], HighVolts: x[0]}
	for _, v := range x {
		l.MeanVolts += (v - x[0]) / float64(len(x))
		l.LowVolts, l.HighVolts = min(l.LowVolts, v), max(l.HighVolts, v)
	}
	l.MeanVolts += x[0]
	l.SwingVolts = l.HighVolts - l.LowVolts
	// A converter's step to either side is no movement; without one, rounding is not.
	l.Stuck = l.SwingVolts <= max(2.01*cfg.VoltsPerCount, 1e-9*max(math.Abs(l.HighVolts), math.Abs(l.LowVolts)))
	if span := cfg.SupplyHigh - cfg.SupplyLow; span > 0 {
		l.RailKnown, l.RailShare = true, l.SwingVolts/span
	} else if span := cfg.ConverterHigh - cfg.ConverterLow; span > 0 {
		l.RailKnown, l.RailShare, l.RailReason = true, l.SwingVolts/span, whyShare
	} else {
		l.RailReason = whyRails
	}
	if !math.IsNaN(cfg.MidRail) {
		l.MidRailKnown, l.MidRailOffsetVolts = true, l.MeanVolts-cfg.MidRail
	}
	return l
}

// thin is a sorted copy of at most some thousand values.
func thin(x []float64) []float64 {
	step := 1 + len(x)/8192
	s := make([]float64, 0, len(x)/step+1)
	for i := 0; i < len(x); i += step {
		s = append(s, x[i])
	}
	slices.Sort(s)
	return s
}

// clipping counts samples at the converter's ends, and looks for flat tops: many
// samples crowd at the extreme within a tolerance, far more than in the next bands
// of the same width, in runs. A parabola's top stays 1 : 0.41 : 0.32 of its time in
// successive bands from the top; a clipped one much more in the first.
func clipping(cfg Config, x []float64, l Level) Clipping {
	c := Clipping{Known: true}
	n := float64(len(x))
	atLow, atHigh := math.Inf(-1), math.Inf(1)
	if span := cfg.ConverterHigh - cfg.ConverterLow; span > 0 {
		c.ConverterKnown = true
		tol := max(cfg.VoltsPerCount/2, 1e-6*span)
		atLow, atHigh = cfg.ConverterLow+tol, cfg.ConverterHigh-tol
		for _, v := range x {
			if v <= atLow {
				c.ConverterLowShare += 1 / n
			} else if v >= atHigh {
				c.ConverterHighShare += 1 / n
			}
		}
	} else {
		c.ConverterReason = whyRange
	}
	if l.Stuck {
		c.Known, c.Reason = false, whyStill
		return c
	}
	// Noise of the quiet parts: the lower decile of the deviation in short blocks.
	block := min(8, max(3, int(0.08*cfg.RateHz))) // 80 ms, in which a pulse hardly moves at its foot
	var dev []float64
	for i := 0; i+block <= len(x); i += block * (1 + len(x)/(block*4096)) {
		var s, s2 float64
		for _, v := range x[i : i+block] {
			d := v - x[i]
			s += d
			s2 += d * d
		}
		dev = append(dev, math.Sqrt(max(0, s2/float64(block)-s*s/float64(block*block))))
	}
	slices.Sort(dev)
	quiet := 0.0
	if len(dev) > 0 {
		quiet = dev[len(dev)/10]
	}
	tol := max(1.5*cfg.VoltsPerCount, 0.006*l.SwingVolts, 6*quiet)
	if tol > l.SwingVolts/8 {
		return c // all noise: no top to speak of
	}
	run := max(3, int(0.004*cfg.RateHz))
	sorted := thin(x)
	mid := sorted[len(sorted)/2]
	if share := flat(x, tol, run); l.HighVolts < atHigh && mid < l.HighVolts-tol {
		c.FlatHighShare, c.FlatHighVolts = share(1, l.HighVolts)
	}
	if share := flat(x, tol, run); l.LowVolts > atLow && mid > l.LowVolts+tol {
		c.FlatLowShare, c.FlatLowVolts = share(-1, -l.LowVolts)
		c.FlatLowVolts = -c.FlatLowVolts
	}
	return c
}

// Flat tops of a sample or two, as at 25 to 100 Hz, are told by their number: at least
// so many tops and such a share of the samples. Chosen on invented pulses of 25 to 250 Hz
// against a rail 70 to 95 % of their height (TestShortFlatTops).
const (
	shortTops  = 6
	shortShare = 0.01
)

// flat returns a function that gives the share of samples in flat runs below the
// extreme top of sign·x, and their mean.
func flat(x []float64, tol float64, run int) func(sign, top float64) (share, mean float64) {
	return func(sign, top float64) (float64, float64) {
		var first, second, third, inRuns, sum, firstSum float64
		runs, longest, length, tops := 0, 0, 0, 0
		end := func(i int) {
			if length >= run {
				runs++
				longest = max(longest, length)
				for _, v := range x[i-length : i] {
					inRuns++
					sum += sign * v
				}
			}
			if length > 0 {
				tops++
			}
			length = 0
		}
		for i, v := range x {
			d := top - sign*v
			switch {
			case d < tol:
				first++
				firstSum += sign * v
				length++
				continue
			case d < 2*tol:
				second++
			case d < 3*tol:
				third++
			}
			end(i)
		}
		end(len(x))
		// Sampled slowly, a cut top lasts a sample or two: many of one height, next to none below.
		if runs < 2 && tops >= shortTops && first >= shortShare*float64(len(x)) && first >= 8*second && first >= 8*third {
			return first / float64(len(x)), firstSum / first
		}
		if runs < 2 && longest < 20*run || first < 5*second || first < 6*third || inRuns < 0.002*float64(len(x)) {
			return 0, 0
		}
		return inRuns / float64(len(x)), sum / inRuns
	}
}
