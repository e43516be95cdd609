package response

import "math"

const (
	// A latency changed where the phase turns, over a stretch of an octave, by this
	// much more than the gain explains, and as a delay of so much would turn it. Boards
	// of resistors, capacitors and op amps stay below 12° in the tests; one buffer of a
	// sound card is 3 to 25 ms.
	mostExcessDegrees = 40.0
	mostMovedSeconds  = 0.003
	// leastStretch of trusted points is judged: half an octave.
	leastStretch = pointsPerOctave / 2
)

// moved tells whether the two runs lie differently in time, or one of them from some
// frequency on. A board of resistors, capacitors and op amps has the least phase that its
// gain allows (Bode, Network Analysis and Feedback Amplifier Design, 1945, chapter
// 14); what its phase turns beyond that is a delay of the sound system. Only
// frequencies at which the sweep comes through are asked.
func moved(r Response) bool {
	at := make([]int, 0, len(r.Trust))
	for i, t := range r.Trust {
		if t >= leastTrust {
			at = append(at, i)
		}
	}
	if len(at) < leastStretch {
		return false
	}
	least := leastPhase(r, at)
	for k := range at {
		end := k
		for end+1 < len(at) && r.FreqHz[at[end+1]] <= 2*r.FreqHz[at[k]] {
			end++
		}
		if end-k < leastStretch || 3*(end-k) < 2*(at[end]-at[k]) { // too few, or noise that looked trusted here and there
			continue
		}
		slope := excessSlope(r, at[k:end+1], least[k:end+1])
		wide := r.FreqHz[at[end]] - r.FreqHz[at[k]]
		if turn := math.Abs(slope) * wide; turn > mostExcessDegrees && math.Abs(slope)/360 > mostMovedSeconds {
			return true
		}
	}
	return false
}

// excessSlope is the least-squares slope of measured minus least phase, degrees per hertz.
func excessSlope(r Response, at []int, least []float64) float64 {
	var n, sx, sy, sxx, sxy float64
	for k, i := range at {
		x, y := r.FreqHz[i], r.PhaseDegrees[i]-least[k]
		n++
		sx += x
		sy += y
		sxx += x * x
		sxy += x * y
	}
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

// leastPhase is Bode's relation at the points at, degrees: φ(f₀) = 1/π ∫ dA/du
// ln coth|u/2| du with u = ln(f/f₀) and the gain A in nepers. The gain is taken as
// straight between the points over ln f, beyond them with the slope of the last
// half octave, which at the lower end is held for a decade.
func leastPhase(r Response, at []int) []float64 {
	u := make([]float64, 0, len(at)+2)
	a := make([]float64, 0, len(at)+2)
	add := func(lnF, nepers float64) { u, a = append(u, lnF), append(a, nepers) }
	neper := func(k int) float64 { return r.GainDB[at[k]] * math.Ln10 / 20 }
	lnF := func(k int) float64 { return math.Log(r.FreqHz[at[k]]) }
	n, m := len(at)-1, min(len(at)-1, leastStretch)
	low := (neper(m) - neper(0)) / (lnF(m) - lnF(0))
	high := (neper(n) - neper(n-m)) / (lnF(n) - lnF(n-m))
	const decade = 2.302585
	add(lnF(0)-decade, neper(0)-low*decade)
	for k := range at {
		add(lnF(k), neper(k))
	}
	add(lnF(n)+3*decade, neper(n)+high*3*decade)
	phase := make([]float64, len(at))
	for k := range at {
		sum := 0.0
		for i := 1; i < len(u); i++ {
			slope := (a[i] - a[i-1]) / (u[i] - u[i-1])
			sum += slope * (bodeWeight(u[i]-lnF(k)) - bodeWeight(u[i-1]-lnF(k)))
		}
		phase[k] = sum / math.Pi * 180 / math.Pi
	}
	return phase
}

// bodeWeight is the integral of ln coth|x/2| from 0 to u: for u > 0
// 2 Σ (1 − e^(−nu))/n² over the odd n, from ln coth(x/2) = 2 Σ e^(−nx)/n; odd in u.
func bodeWeight(u float64) float64 {
	if u < 0 {
		return -bodeWeight(-u)
	}
	sum := 0.0
	for n := 1.0; n < 60; n += 2 {
		sum += -math.Expm1(-n*u) / (n * n)
	}
	return 2 * sum
}
