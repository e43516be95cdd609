package simulate

import (
	"math"
	"math/rand/v2"
)

// heart makes the times of the R peaks, a few seconds ahead of the signal.
type heart struct {
	bpm       float64
	rates     []RateStep
	variation float64
	low, high []line
	peaks     []float64 // times in seconds of the R peaks still needed, rising
}

// line is one cosine of a random spectrum.
type line struct{ freqHz, phase, amplitude float64 }

// spectralLines makes cosines whose powers follow a Gaussian of the given mean
// and deviation and add up to variance; phases are random and so are, within
// their cells, the frequencies, so that the sum does not repeat.
func spectralLines(rng *rand.Rand, meanHz, sdHz, variance float64) []line {
	const n = 24
	lines := make([]line, n)
	total := 0.0
	for i := range lines {
		// Cells cover ±3 standard deviations.
		f := -3 + 6*(float64(i)+rng.Float64())/float64(n)
		p := math.Exp(-f * f / 2)
		lines[i] = line{meanHz + sdHz*f, 2 * math.Pi * rng.Float64(), p}
		total += p
	}
	for i := range lines {
		lines[i].amplitude = math.Sqrt(2 * variance * lines[i].amplitude / total)
	}
	return lines
}

func sum(lines []line, t float64) float64 {
	s := 0.0
	for _, l := range lines {
		s += l.amplitude * math.Cos(2*math.Pi*l.freqHz*t+l.phase)
	}
	return s
}

func newHeart(c Config) *heart {
	rng := stream(c.Seed, streamHeart, 0)
	h := &heart{bpm: c.BPM, rates: c.Rates, variation: c.Variation}
	// McSharry et al. 2003, section II: bands at 0.1 and 0.25 Hz, 0.01 Hz wide,
	// with a power ratio of 0.5. Ours: the upper one follows BreathsPerMinute.
	const share = 1.0 / 3
	h.low = spectralLines(rng, 0.1, 0.01, share)
	h.high = spectralLines(rng, c.BreathsPerMinute/60, 0.01, 1-share)
	// The first peak lies before the start, far enough for a pulse on its way.
	h.peaks = append(h.peaks, -2-h.interval(0)*rng.Float64())
	return h
}

func (h *heart) interval(t float64) float64 {
	bpm := h.bpm
	for _, r := range h.rates {
		if r.AtSeconds <= t {
			bpm = r.BPM
		}
	}
	v := h.variation * (sum(h.low, t) + sum(h.high, t))
	// The bound is far out: 4 deviations at the default.
	v = max(-0.5, min(v, 0.5))
	return 60 / bpm * (1 + v)
}

// reach makes peaks until one lies after t.
func (h *heart) reach(t float64) {
	for h.peaks[len(h.peaks)-1] <= t {
		last := h.peaks[len(h.peaks)-1]
		h.peaks = append(h.peaks, last+h.interval(last))
	}
}

// forget drops the peaks whose interval ended before t.
func (h *heart) forget(t float64) {
	n := 0
	for n+1 < len(h.peaks) && h.peaks[n+1] < t {
		n++
	}
	h.peaks = h.peaks[:copy(h.peaks, h.peaks[n:])]
}

// around returns the last peak at or before t and the first after it.
func (h *heart) around(t float64) (from, to float64) {
	h.reach(t)
	i := len(h.peaks) - 1
	for i > 0 && h.peaks[i] > t {
		i--
	}
	return h.peaks[i], h.peaks[i+1]
}

// pulseAt is the pulse at an angle from 0 (start) to 2π, with zero mean over a
// beat and height 1 from foot to peak.
//
// Tang et al. 2020: Σ aᵢ exp(−(θ−θᵢ)²/2bᵢ²) over −π…π. Ours: the Gaussians wrap
// round, so that one beat joins the next without a step.
func pulseAt(angle float64) float64 {
	return (pulseShape(angle-math.Pi) - pulseMean) * pulseScale
}

func pulseShape(theta float64) float64 {
	s := 0.0
	for _, g := range [2][3]float64{{1, -1.5161, 0.6303}, {0.1999, 0.8186, 1.0225}} {
		for _, turn := range [3]float64{-2 * math.Pi, 0, 2 * math.Pi} {
			d := (theta + turn - g[1]) / g[2]
			s += g[0] * math.Exp(-d*d/2)
		}
	}
	return s
}

// Mean and height of pulseShape over a beat; TestPulseConstants derives them.
const (
	pulseMean  = (1*0.6303 + 0.1999*1.0225) / 2.5066282746310002 // Σ aᵢbᵢ√(2π) / 2π
	pulseScale = 1 / 0.97753758469
)

// McSharry et al. 2003, table I: P, Q, R, S, T.
var (
	ecgTheta = [5]float64{-70 * math.Pi / 180, -15 * math.Pi / 180, 0, 15 * math.Pi / 180, 100 * math.Pi / 180}
	ecgA     = [5]float64{1.2, -5, 30, -7.5, 0.75}
	ecgB     = [5]float64{0.25, 0.1, 0.1, 0.1, 0.4}
)

// ecgSlope is the forcing of z at an angle from the R peak for a beat of the
// given interval: −Σ aᵢ Δθᵢ exp(−Δθᵢ²/2bᵢ²), with widths and places scaled by
// the heart rate as in the paper.
func ecgSlope(angle, intervalSeconds float64) float64 {
	h := math.Sqrt(1 / intervalSeconds) // √(HR/60)
	root := math.Sqrt(h)
	place := [5]float64{root, h, 1, h, root}
	s := 0.0
	for i := range ecgTheta {
		d := math.Remainder(angle-ecgTheta[i]*place[i], 2*math.Pi)
		b := ecgB[i] * h
		q := d * d / (2 * b * b)
		if q < 40 {
			s -= ecgA[i] * d * math.Exp(-q)
		}
	}
	return s
}

// ecg integrates z′ = slope − z, the third of the model's equations; the other
// two are on their limit cycle, so the angle is stepped exactly.
type ecg struct {
	z, slope float64
	started  bool
}

// step goes on by h seconds from t with one step of the classical Runge–Kutta method.
func (e *ecg) step(hr *heart, t, h float64) float64 {
	f := func(t float64) float64 {
		from, to := hr.around(t)
		return ecgSlope(2*math.Pi*(t-from)/(to-from), to-from)
	}
	if !e.started {
		e.slope, e.started = f(t), true
	}
	s0, s1, s2 := e.slope, f(t+h/2), f(t+h)
	k1 := s0 - e.z
	k2 := s1 - (e.z + h/2*k1)
	k3 := s1 - (e.z + h/2*k2)
	k4 := s2 - (e.z + h*k3)
	e.z += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
	e.slope = s2
	return e.z
}

// calibrateECG runs a steady heart of 60 per minute and returns z's level
// between beats and the height of the R peak over it.
func calibrateECG() (rest, height float64) {
	hr := &heart{bpm: 60, peaks: []float64{-0.25}}
	var e ecg
	const h = 1.0 / 4000
	peak, mean, n := math.Inf(-1), 0.0, 0
	for i := 0; i < 12*4000; i++ {
		t := float64(i) * h
		hr.forget(t - 3)
		z := e.step(hr, t, h)
		if t < 8 { // z relaxes with 1 s
			continue
		}
		peak = max(peak, z)
		// From the end of T to the start of P.
		if from, _ := hr.around(t + h); t+h-from > 0.55 && t+h-from < 0.65 {
			mean += z
			n++
		}
	}
	rest = mean / float64(n)
	return rest, peak - rest
}
