package beat

import "math"

// rateMeter makes a heart rate of the intervals between beats.
//
// It averages the last twelve intervals, as is common for heart-rate meters, or
// the last four while the newest three are longer than 1200 ms: beats over time, so
// that an irregular rhythm comes out right. In a regular rhythm an interval with a beat
// missed in it, or two with one too many between them, are mended first: they never
// enter the mean as they are. When a steady rhythm has given way to another, the intervals
// before are forgotten: the new rate shows as soon as three or four intervals (two long
// ones) agree on it.
type rateMeter struct {
	rr     [rateKept]float64 // seconds, newest last
	hidden [rateKept]float64 // the greatest wave in each, as a share of its beats'
	n      int
	// The intervals kept began with a step, so that two of them are believed.
	stepped bool
	mended  [3 * rateKept]float64 // rr as the heart's
	mendedN int
	repairs int // in it
	// Two waves sooner than this after one another may be one beat's; 0: none are.
	short float64
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

	// Intervals within this share of the middle one, or of a multiple of it, are near it;
	// where this share of them is, the rhythm is regular. A wave of this share of the
	// beats' height may be a missed beat.
	mendNear    = 0.12
	mendRegular = 0.7
	mendHidden  = 0.3
	// An interval is missed from the first share of the usual one on, and one too many below
	// the second; below the third it is broken, as none of a heart is.
	missedLong, missedShort, brokenShare = 1.7, 0.6, 0.5
	// Intervals that no short one is beside are the measure, from so many on.
	usualLeast = 3
)

func (m *rateMeter) reset() { m.n, m.mendedN, m.repairs, m.stepped = 0, 0, 0, false }

// add takes the newest interval in seconds and the greatest wave in it as a share of its
// beats'.
func (m *rateMeter) add(rr, hidden float64) {
	if m.n == rateKept {
		copy(m.rr[:], m.rr[1:])
		copy(m.hidden[:], m.hidden[1:])
		m.n--
	}
	m.rr[m.n], m.hidden[m.n] = rr, hidden
	m.n++
	m.follow()
	m.mend()
}

// keep forgets all but the last k intervals.
func (m *rateMeter) keep(k int) {
	copy(m.hidden[:], m.hidden[m.n-k:m.n])
	copy(m.rr[:], m.rr[m.n-k:m.n])
	m.n = k
	m.mend()
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
			m.keep(k)
			m.stepped = true
			return
		}
	}
}

// mend makes of the intervals those of the heart: in a regular rhythm one of twice or
// three times the usual length, with a wave in it, has missed beats, and two that together
// make a usual one have a beat too many between them.
func (m *rateMeter) mend() {
	m.mendedN, m.repairs = 0, 0
	v, med := m.rr[:m.n], m.usual()
	near, all := 0, m.n
	for i, x := range v {
		switch {
		case math.Abs(x-med) <= mendNear*med:
			near++
		case i == 0 && x < m.short:
			all--
		case i > 0 && min(x, v[i-1]) < m.short && max(x, v[i-1]) < (1-mendNear)*med && math.Abs(x+v[i-1]-med) <= mendNear*med:
			near += 2 // a P or T wave between
		}
	}
	regular := float64(near) >= mendRegular*float64(all)
	put := func(x float64, times int) {
		for range times {
			m.mended[m.mendedN] = x
			m.mendedN++
		}
	}
	for i := 0; i < len(v); i++ {
		k := math.Round(v[i] / med)
		switch {
		case regular && i == 0 && all < m.n: // a part of one from a P or T wave on
			m.repairs++
		case regular && k >= 2 && k <= 3 && math.Abs(v[i]-k*med) <= mendNear*k*med && m.hidden[i] >= mendHidden:
			put(v[i]/k, int(k))
			m.repairs++
		case regular && i+1 < len(v) && max(v[i], v[i+1]) < (1-mendNear)*med && math.Abs(v[i]+v[i+1]-med) <= mendNear*med:
			put(v[i]+v[i+1], 1)
			m.repairs++
			i++
		default:
			put(v[i], 1)
		}
	}
}

// usual is the median of the intervals that no short one is beside, where half are such;
// else of all.
func (m *rateMeter) usual() float64 {
	v := m.rr[:m.n]
	var apart [rateKept]float64
	n := 0
	for i, x := range v {
		if min(x, v[max(i-1, 0)], v[min(i+1, m.n-1)]) >= m.short {
			apart[n] = x
			n++
		}
	}
	if 2*n < m.n || n < usualLeast {
		return m.median()
	}
	return medianOf(apart[:n])
}

// broken is how many intervals, mended, are too short beside the usual one to be a heart's.
func (m *rateMeter) broken() int {
	n, med := 0, m.usual()
	for _, x := range m.mended[:m.mendedN] {
		if x < m.short && x < brokenShare*med {
			n++
		}
	}
	return n
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
	if m.n == 0 {
		return 0, 0
	}
	v := m.mended[:m.mendedN]
	if k := len(v); k > rateSlow && v[k-1] > rateLong && v[k-2] > rateLong && v[k-3] > rateLong {
		v = v[k-rateSlow:]
	}
	mean, _ := spread(v)
	return 60 / mean, m.n
}

// unsteady is by how much an interval differs from the nearer of the one before and the
// one before that, as a logarithm, in the mean: about 0 in a regular rhythm and in
// bigeminy, 0.1 to 0.2 in fibrillation, more where beats are missed and made up.
func (m *rateMeter) unsteady() float64 {
	v := m.mended[:m.mendedN]
	if len(v) < 3 {
		return 0
	}
	sum := 0.0
	for i := 2; i < len(v); i++ {
		sum += min(math.Abs(math.Log(v[i]/v[i-1])), math.Abs(math.Log(v[i]/v[i-2])))
	}
	return sum / float64(len(v)-2)
}

// missed is the share of intervals that were mended or that are, as they stand, about
// twice the middle one or more, or little more than half of it.
func (m *rateMeter) missed() float64 {
	med, n := m.median(), float64(m.repairs)
	for _, x := range m.mended[:m.mendedN] {
		if x > missedLong*med || x < missedShort*med {
			n++
		}
	}
	return n / float64(max(1, m.n))
}

// sum of the intervals, seconds.
func (m *rateMeter) sum() float64 {
	s := 0.0
	for _, x := range m.rr[:m.n] {
		s += x
	}
	return s
}

// median of the intervals, 0 for none.
func (m *rateMeter) median() float64 {
	v := m.rr // a copy
	return medianOf(v[:m.n])
}
