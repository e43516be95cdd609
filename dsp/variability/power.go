package variability

import "math"

// bandEdges of VLF, LF and HF in hertz.
var bandEdges = [4]float64{1.0 / segment, 0.04, 0.15, 0.40}

// segmentPoints are the normal intervals of five minutes at the times they end.
type segmentPoints struct {
	at, x []float64
}

func (p *segmentPoints) add(at, x float64) {
	p.at, p.x = append(p.at, at), append(p.x, x)
}

func (p *segmentPoints) reset() { p.at, p.x = p.at[:0], p.x[:0] }

func (p *segmentPoints) clone() segmentPoints {
	return segmentPoints{append([]float64(nil), p.at...), append([]float64(nil), p.x...)}
}

// oversampling of the frequency grid, whose natural step is one over the length.
const oversampling = 2

// bands are the powers in s² in the three bands.
func (p *segmentPoints) bands() (power [3]float64) {
	n := len(p.at)
	if n < 3 {
		return [3]float64{math.NaN(), math.NaN(), math.NaN()}
	}
	s := newPeriodogram(p.at, p.x)
	step := 1 / (oversampling * s.seconds)
	if !(step > 0) || math.IsInf(step, 1) {
		return [3]float64{math.NaN(), math.NaN(), math.NaN()}
	}
	// Each line of the grid stands for a step's width, as far as it lies in the band.
	for k := 1; ; k++ {
		f := float64(k) * step
		if f-step/2 >= bandEdges[3] {
			return power
		}
		d := s.density(f)
		for i := range power {
			if w := math.Min(bandEdges[i+1], f+step/2) - math.Max(bandEdges[i], f-step/2); w > 0 {
				power[i] += d * w
			}
		}
	}
}

// periodogram is a power spectral density of points at uneven times, without
// resampling, so that a beat left out is simply not there.
//
// The points' least-squares line is taken off and a Hann window of their times
// is put on. The one-sided density at f is 2T|Σ wᵢxᵢe^(−i2πft)|²/Σwᵢ² with T the
// mean time a point stands for: white noise of variance σ² shows 2Tσ², a sine of
// amplitude a has the power a²/2 in its line. That is the Lomb–Scargle periodogram
// (Lomb 1976; Scargle 1982, Astrophys. J. 263: 835–853) of the windowed points but
// for its phase, which matters for a few points only.
type periodogram struct {
	at, x   []float64 // windowed
	seconds float64
	scale   float64
}

func newPeriodogram(at, x []float64) periodogram {
	n := len(at)
	p := periodogram{at: make([]float64, n), x: make([]float64, n)}
	first := at[0]
	var st, sx, stt, stx float64
	for i := range at {
		t := at[i] - first
		p.at[i] = t
		st += t
		sx += x[i]
		stt += t * t
		stx += t * x[i]
	}
	// The points stand for the time from one half a mean interval before the first
	// to one after the last.
	mean := p.at[n-1] / float64(n-1)
	p.seconds = mean * float64(n)
	slope := 0.0
	if det := float64(n)*stt - st*st; det > 0 {
		slope = (float64(n)*stx - st*sx) / det
	}
	level := (sx - slope*st) / float64(n)
	var ww float64
	for i, t := range p.at {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(t+mean/2)/p.seconds)
		p.x[i] = w * (x[i] - level - slope*t)
		ww += w * w
	}
	p.scale = 2 * mean / ww
	return p
}

// density in s²/Hz.
func (p *periodogram) density(freqHz float64) float64 {
	var re, im float64
	for i, t := range p.at {
		s, c := math.Sincos(2 * math.Pi * freqHz * t)
		re += p.x[i] * c
		im += p.x[i] * s
	}
	return p.scale * (re*re + im*im)
}
