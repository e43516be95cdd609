package meter

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/mains"
)

// Seconds of an ECG's typical beat before and after its peak, and where its rest
// lies: the PR segment, 60 to 100 ms before the peak.
const (
	beforeSeconds, afterSeconds     = 0.35, 0.45
	restFromSeconds, restToSeconds  = 0.1, 0.06
	peakReachSeconds                = 0.012
	fitSeconds                      = 2.0 // in which the mains' frequency is known well enough
	leastTypicalBeats, upsampleECGs = 3, 4
)

// typical is the mean ECG beat of a window, the hum taken out: values at rateHz, the
// R (or S) peak at peak, of the sign of the beat's main wave.
type typical struct {
	rateHz float64
	values []float64
	peak   int
	sign   float64
	beats  int
}

// typicalECG averages the beats, each shifted to its own peak. Beats whose
// surroundings are not in the stretch are left out.
func (s stretch) typicalECG() typical {
	rateHz := s.cfg.RateHz
	t := typical{rateHz: rateHz, peak: int(beforeSeconds * rateHz)}
	after, reach := int(afterSeconds*rateHz), int(peakReachSeconds*rateHz)
	clean := humFree(rateHz, s.x, s.hum)
	t.values = make([]float64, t.peak+after+1)
	up := 0
	for _, b := range s.beats {
		if b.Amplitude > 0 {
			up++
		} else {
			up--
		}
	}
	t.sign = 1
	if up < 0 {
		t.sign = -1
	}
	for _, b := range s.beats {
		i := int(b.Sample - s.first)
		if b.Kind != beat.ECG || i-reach-t.peak < 0 || i+reach+after >= len(s.x) {
			continue
		}
		best := i
		for k := i - reach; k <= i+reach; k++ {
			if t.sign*clean[k] > t.sign*clean[best] {
				best = k
			}
		}
		for k := range t.values {
			t.values[k] += clean[best-t.peak+k]
		}
		t.beats++
	}
	for k := range t.values {
		t.values[k] /= float64(max(1, t.beats))
	}
	return t
}

// height is the peak's, over the rest before it; the peak is looked for up to
// lateSeconds after its place.
func (t typical) height(lateSeconds float64) float64 {
	best := t.peak
	reach := int(peakReachSeconds * t.rateHz)
	for k := t.peak - reach; k <= min(len(t.values)-1, t.peak+reach+int(lateSeconds*t.rateHz)); k++ {
		if t.sign*t.values[k] > t.sign*t.values[best] {
			best = k
		}
	}
	from, to := best-int(restFromSeconds*t.rateHz), best-int(restToSeconds*t.rateHz)
	rest := 0.0
	for _, v := range t.values[max(0, from) : to+1] {
		rest += v / float64(to+1-max(0, from))
	}
	return t.sign * (t.values[best] - rest)
}

// through is the beat after a change of the board's response. The beat is taken as
// one of many alike: the line from its first to its last value goes first, so that
// its ends meet. Values come at four times the rate: a peak between samples counts.
func (t typical) through(change func(freqHz float64) complex128) typical {
	n := len(t.values)
	slope := (t.values[n-1] - t.values[0]) / float64(n-1)
	level := make([]float64, n)
	for i, v := range t.values {
		level[i] = v - slope*float64(i)
	}
	c := fourier.NewFFT(n).Coefficients(nil, level)
	big := fourier.NewFFT(upsampleECGs * n)
	wide := make([]complex128, upsampleECGs*n/2+1)
	for i, v := range c {
		wide[i] = v * change(float64(i)*t.rateHz/float64(n)) / complex(float64(n), 0)
	}
	return typical{rateHz: upsampleECGs * t.rateHz, values: big.Sequence(nil, wide), peak: upsampleECGs * t.peak, sign: t.sign, beats: t.beats}
}

// humFree is x less the found hum's sinusoids, each fitted anew every two seconds
// (least squares over whole samples; at whole cycles sine and cosine do not mix).
func humFree(rateHz float64, x []float64, hum mains.Measure) []float64 {
	clean := slices.Clone(x)
	if !hum.Found {
		return clean
	}
	step := int(fitSeconds * rateHz)
	for from := 0; from < len(x); from += step {
		if from+2*step > len(x) { // the last piece takes the rest
			step = len(x) - from
		}
		part := clean[from : from+step]
		for h := range hum.AmplitudeVoltsRMS {
			f := hum.FreqHz * float64(h+1)
			if f >= 0.5*rateHz {
				break
			}
			subtractSine(part, 2*math.Pi*f/rateHz)
		}
	}
	return clean
}

// subtractSine takes the sinusoid of angle radians a sample out of part, in place,
// over the largest whole number of its cycles.
func subtractSine(part []float64, angle float64) {
	cycle := 2 * math.Pi / angle
	n := int(math.Round(math.Floor(float64(len(part))/cycle) * cycle))
	if n == 0 {
		return
	}
	mean := 0.0
	for _, v := range part[:n] {
		mean += v / float64(n)
	}
	var c, s float64
	for i, v := range part[:n] {
		c += (v - mean) * math.Cos(angle*float64(i)) * 2 / float64(n)
		s += (v - mean) * math.Sin(angle*float64(i)) * 2 / float64(n)
	}
	for i := range part {
		part[i] -= c*math.Cos(angle*float64(i)) + s*math.Sin(angle*float64(i))
	}
}
