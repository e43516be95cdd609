package beat

import "math"

// rateMeter makes a heart rate of R–R intervals.
//
// It averages the last twelve intervals, as is common for heart-rate meters, or
// the last four after three of more than 1200 ms. A lasting change (the newest
// intervals agree among themselves and differ from those before) is followed at
// once: the older ones are forgotten. When the rhythm is regular, single intervals
// far from the median (a beat missed or one too many) are left out; an irregular
// rhythm is averaged whole, which is what makes bigeminy right.
type rateMeter struct {
	rr [rateKept]float64 // seconds, newest last
	n  int
}

const (
	rateKept = 12
	// Intervals within this share of their median are alike.
	rateAlike = 0.12
	// A change is followed when it is greater than this.
	rateChange = 0.15
	// Rates outside are said to be outside (EC13 asks for 30 to 200 at least).
	minRateBPM = 20
	maxRateBPM = 300
)

func (m *rateMeter) reset() { m.n = 0 }

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

// follow forgets the past when the newest intervals say that the rate has changed.
func (m *rateMeter) follow() {
	v := m.rr[:m.n]
	// Two intervals are enough when they are long and the past was steady; else
	// three, or four in a short rhythm.
	for _, k := range []int{2, 3, 4} {
		if len(v) < k+2 {
			return
		}
		fresh, old := v[len(v)-k:], v[max(0, len(v)-k-4):len(v)-k]
		fm, fs := spread(fresh)
		om, os := spread(old)
		change := math.Abs(math.Log(fm / om))
		steady := os < rateAlike
		enough := k >= 3 || fm > 1.2
		if !steady {
			enough = k >= 4
		}
		if enough && fs < rateAlike && change > rateChange && far(fresh, om) {
			m.keep(k)
			return
		}
	}
	// After three R–R over 1200 ms, the last four.
	if n := len(v); n > 4 && v[n-1] > 1.2 && v[n-2] > 1.2 && v[n-3] > 1.2 {
		m.keep(4)
	}
}

// far tells whether all of v lie on one side of x, clear of it.
func far(v []float64, x float64) bool {
	up, down := true, true
	for _, y := range v {
		up = up && y > x*(1+rateAlike)
		down = down && y < x*(1-rateAlike)
	}
	return up || down
}

func (m *rateMeter) keep(k int) {
	copy(m.rr[:], m.rr[m.n-k:m.n])
	m.n = k
}

// longest is the longest of the last four intervals, 0 for none.
func (m *rateMeter) longest() float64 {
	l := 0.0
	for _, x := range m.rr[max(0, m.n-4):m.n] {
		l = max(l, x)
	}
	return l
}

// bpm is the rate and how many intervals it rests on; regular tells whether most
// intervals are alike.
func (m *rateMeter) bpm() (rate float64, n int, regular bool) {
	if m.n == 0 {
		return 0, 0, false
	}
	var s [rateKept]float64
	v := s[:copy(s[:], m.rr[:m.n])]
	med := medianOf(v)
	sum, in := 0.0, 0
	for _, x := range v {
		if math.Abs(x-med) < 0.2*med {
			sum += x
			in++
		}
	}
	if 4*in >= 3*len(v) {
		return 60 * float64(in) / sum, m.n, true
	}
	// An even number of intervals, so that long and short ones weigh alike.
	w := m.rr[m.n%2 : m.n]
	if len(w) == 0 {
		w = m.rr[:m.n]
	}
	mean, _ := spread(w)
	return 60 / mean, m.n, false
}
