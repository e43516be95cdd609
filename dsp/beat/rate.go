package beat

import "math"

// rateMeter makes a heart rate of R–R intervals.
//
// It averages the last twelve intervals, as is common for heart-rate meters, or
// the last four while the newest three are longer than 1200 ms: beats over time, so
// that an irregular rhythm comes out right and one beat missed or too many moves it
// by a twelfth. When a steady rhythm has given way to another, the intervals before
// are forgotten: the new rate shows as soon as three or four intervals (two long
// ones) agree on it.
type rateMeter struct {
	rr [rateKept]float64 // seconds, newest last
	n  int
	// The intervals kept began with a step, so that two of them are believed.
	stepped bool
}

const (
	rateKept = 12
	rateSlow = 4   // and so many of
	rateLong = 1.2 // seconds
	// Intervals within this share of their mean are steady.
	rateSteady = 0.12
	// And two that are to be believed alone, within this.
	rateTwo = 0.05
	// A change is followed when it is greater than this.
	rateChange = 0.3
	// Rates outside are said to be outside (EC13 asks for 30 to 200 at least).
	minRateBPM = 20
	maxRateBPM = 300
)

func (m *rateMeter) reset() { m.n, m.stepped = 0, false }

// add takes the newest interval in seconds.
func (m *rateMeter) add(rr float64) {
	if m.n == rateKept {
		copy(m.rr[:], m.rr[1:])
		m.n--
	}
	m.rr[m.n] = rr
	m.n++
	m.follow()
}

// spread gives mean and the greatest distance from it, relative to it.
func spread(v []float64) (mean, worst float64) {
	for _, x := range v {
		mean += x
	}
	mean /= float64(len(v))
	for _, x := range v {
		worst = max(worst, math.Abs(x-mean)/mean)
	}
	return mean, worst
}

// follow forgets the past when a steady rhythm has given way to another.
func (m *rateMeter) follow() {
	v := m.rr[:m.n]
	for k := 2; k <= 4 && len(v) >= k+3; k++ {
		old, fresh := v[max(0, len(v)-k-6):len(v)-k], v[len(v)-k:]
		oldMean, oldWorst := spread(old)
		mean, worst := spread(fresh)
		steady := rateSteady
		if k == 2 {
			steady = rateTwo
			if mean < rateLong {
				continue
			}
		}
		if oldWorst < rateSteady && worst < steady && math.Abs(math.Log(mean/oldMean)) > rateChange {
			copy(m.rr[:], fresh)
			m.n, m.stepped = k, true
			return
		}
	}
}

// longest is the longest of the last four intervals, 0 for none.
func (m *rateMeter) longest() float64 {
	l := 0.0
	for _, x := range m.rr[max(0, m.n-4):m.n] {
		l = max(l, x)
	}
	return l
}

// bpm is the rate and how many intervals are known.
func (m *rateMeter) bpm() (rate float64, n int) {
	v := m.rr[:m.n]
	if k := len(v); k > rateSlow && v[k-1] > rateLong && v[k-2] > rateLong && v[k-3] > rateLong {
		v = v[k-rateSlow:]
	}
	if len(v) == 0 {
		return 0, 0
	}
	mean, _ := spread(v)
	return 60 / mean, m.n
}

// unsteady is by how much an interval differs from the nearer of the one before and the
// one before that, as a logarithm, in the mean: about 0 in a regular rhythm and in
// bigeminy, 0.1 to 0.2 in fibrillation, more where beats are missed and made up.
func (m *rateMeter) unsteady() float64 {
	if m.n < 3 {
		return 0
	}
	sum := 0.0
	for i := 2; i < m.n; i++ {
		sum += min(math.Abs(math.Log(m.rr[i]/m.rr[i-1])), math.Abs(math.Log(m.rr[i]/m.rr[i-2])))
	}
	return sum / float64(m.n-2)
}

// lopsided is how far the mean of the intervals is from the middle one (of an even number,
// so that short and long ones in turn are no matter), as a logarithm: 0.08 for each beat
// in twelve that is missed or too many.
func (m *rateMeter) lopsided() float64 {
	v := m.rr // a copy
	n := m.n
	if n < 3 {
		return 0
	}
	mean, _ := spread(v[n%2 : n])
	return math.Abs(math.Log(mean / medianOf(v[n%2:n])))
}

// median of the intervals, 0 for none.
func (m *rateMeter) median() float64 {
	v := m.rr // a copy
	return medianOf(v[:m.n])
}
