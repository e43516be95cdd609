package beat

import (
	"math"
	"slices"
)

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
	p      rateParams
	rr     [rateKept]float64 // seconds, newest last
	hidden [rateKept]float64 // the greatest wave in each, as a share of its beats'
	n      int
	// The intervals kept began with a step, so that two of them are believed.
	stepped bool
	mended  [mendTimes * rateKept]float64 // rr as the heart's
	mendedN int
	repairs int // in it
	// Two waves sooner than this after one another may be one beat's; 0: none are.
	short float64
}

const (
	rateKept  = 12 // intervals
	mendTimes = 3  // the longest that is mended, in usual intervals
)

// rateParams are the rate meter's numbers: counts of intervals, seconds, and shares of an
// interval. METHOD.md tells what the rules are for.
type rateParams struct {
	least, most float64 // bpm: rates outside are said to be outside (EC13 asks for 30 to 200 at least)

	slow int     // the rate is of so many intervals where
	long float64 // all but the first of them are longer than this

	fresh        int     // so many intervals at most are a new rhythm's,
	old, oldMost int     // so many at least, and at most, that of before
	steady       float64 // both are steady where intervals are within this share of their mean,
	steadyTwo    float64 // two alone within this
	change       float64 // and the step, a logarithm, is greater than this
	recent       int     // the longest of so many is how long to wait for the next
	near         float64 // intervals within this share of the usual one, or of a multiple of it, are near it
	regular      float64 // where this share of them is, the rhythm is regular
	hidden       float64 // a wave of this share of the beats' height may be a missed beat
	missedLong   float64 // an interval is missed from this share of the usual one on,
	missedShort  float64 // and one too many below this;
	broken       float64 // below this it is broken, as none of a heart is
	apartLeast   int     // intervals that no short one is beside are the measure, from so many on
}

func defaultRateParams() rateParams {
	return rateParams{
		least: 20, most: 300, slow: 4, long: 1.2,
		fresh: 4, old: 3, oldMost: 6, steady: 0.12, steadyTwo: 0.05, change: 0.3, recent: 4,
		near: 0.12, regular: 0.7, hidden: 0.3, missedLong: 1.7, missedShort: 0.6, broken: 0.5, apartLeast: 3,
	}
}

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
	for k := 2; k <= m.p.fresh && len(v) >= k+m.p.old; k++ {
		old, fresh := v[max(0, len(v)-k-m.p.oldMost):len(v)-k], v[len(v)-k:]
		oldMean, oldWorst := spread(old)
		mean, worst := spread(fresh)
		steady := m.p.steady
		if k == 2 {
			steady = m.p.steadyTwo
			if mean < m.p.long {
				continue
			}
		}
		if oldWorst < m.p.steady && worst < steady && math.Abs(math.Log(mean/oldMean)) > m.p.change {
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
	v, med, share := m.rr[:m.n], m.usual(), m.p.near
	near, all := 0, m.n
	for i, x := range v {
		switch {
		case math.Abs(x-med) <= share*med:
			near++
		case i == 0 && x < m.short:
			all--
		case i > 0 && min(x, v[i-1]) < m.short && max(x, v[i-1]) < (1-share)*med && math.Abs(x+v[i-1]-med) <= share*med:
			near += 2 // a P or T wave between
		}
	}
	regular := float64(near) >= m.p.regular*float64(all)
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
		case regular && k >= 2 && k <= mendTimes && math.Abs(v[i]-k*med) <= share*k*med && m.hidden[i] >= m.p.hidden:
			put(v[i]/k, int(k))
			m.repairs++
		case regular && i+1 < len(v) && max(v[i], v[i+1]) < (1-share)*med && math.Abs(v[i]+v[i+1]-med) <= share*med:
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
	if 2*n < m.n || n < m.p.apartLeast {
		return m.median()
	}
	return medianOf(apart[:n])
}

// broken is how many intervals, mended, are too short beside the usual one to be a heart's.
func (m *rateMeter) broken() int {
	n, med := 0, m.usual()
	for _, x := range m.mended[:m.mendedN] {
		if x < m.short && x < m.p.broken*med {
			n++
		}
	}
	return n
}

// even tells that the intervals are near to one another. Where they are not, so few that short
// and long ones in turn give a wrong mean are no rate yet.
func (m *rateMeter) even() bool {
	_, worst := spread(m.mended[:m.mendedN])
	return worst <= m.p.steady
}

// longest is the longest of the last few intervals, 0 for none.
func (m *rateMeter) longest() float64 {
	l := 0.0
	for _, x := range m.rr[max(0, m.n-m.p.recent):m.n] {
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
	if k := len(v) - m.p.slow; k > 0 && slices.Min(v[k+1:]) > m.p.long {
		v = v[k:]
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
		if x > m.p.missedLong*med || x < m.p.missedShort*med {
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
