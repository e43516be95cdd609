package beat

import (
	"math"
	"slices"
)

// medianOf sorts v and gives its median, 0 for none.
func medianOf(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// add takes a finished rise.
func (c *decider) add(d *PulseDetector, s swing) {
	if !c.started {
		if c.heldN == len(c.held) { // hash: keep the later half
			c.heldN = copy(c.held[:], c.held[len(c.held)/2:])
		}
		c.held[c.heldN] = s
		c.heldN++
		return
	}
	c.judge(d, s)
}

// tick starts the decider when enough is heard and looks for missed beats.
func (c *decider) tick(d *PulseDetector) {
	if !c.started {
		c.started = true
		var w [64]float64
		for i, s := range c.held[:c.heldN] {
			w[i] = s.weight
		}
		// The typical beat of the start: the (upper) median of the rises at least
		// startShare as strong as the strongest but one.
		if c.heldN > 0 {
			v := w[:c.heldN]
			slices.Sort(v)
			ref := v[max(0, len(v)-2)]
			i := 0
			for v[i] < d.p.startShare*ref {
				i++
			}
			c.weights.add(v[i+(len(v)-i)/2])
		}
		for _, s := range c.held[:c.heldN] {
			c.judge(d, s)
		}
	}
	if rr := c.expected(); rr > 0 && float64(d.k-c.last.steep) >= d.p.searchAt*rr {
		c.searchBack(d)
	}
}

// expected is the usual R–R in work samples, 0 when unknown.
func (c *decider) expected() float64 { return c.rr.evenMedian }

// regularity is 1 when most of the last intervals are within a share of their median,
// 0 when not even within twice that.
func (c *decider) regularity(within float64) float64 {
	if c.rr.len() < 4 {
		return 0
	}
	med := c.rr.median
	var off ring8
	for _, x := range c.rr.v[:c.rr.len()] {
		off.add(math.Abs(x-med) / med)
	}
	return unitClamp(2 - off.median/within)
}

// level is the weight of the usual beat, fallen when nothing has come for long.
func (c *decider) level(d *PulseDetector, at int64) float64 {
	l := c.weights.median
	since := float64(at)
	if c.haveLast {
		since = float64(at - c.last.steep)
	}
	rr := c.expected()
	if rr == 0 {
		rr = d.workHz
	}
	if late := since - d.p.decayAfter*rr; late > 0 {
		l *= math.Exp(-late / (d.p.decaySeconds * d.workHz))
	}
	return l
}

// judge decides on one rise.
func (c *decider) judge(d *PulseDetector, s swing) {
	l := c.level(d, s.steep)
	if !c.haveLast {
		s.need = d.p.threshold * l
		if s.weight > s.need && s.weight > 0 {
			c.take(d, s, false)
		} else {
			c.refuse(d, s, "below the threshold")
		}
		return
	}
	rr := c.expected()
	gap := float64(s.steep - c.last.steep)
	if gap <= 0 {
		return
	}
	share := 1.0
	if rr > 0 {
		share = gap / rr
	}
	tooSoon := share < d.p.refractory && s.weight < d.p.stronger*l
	s.need = d.p.threshold * l
	if share < d.p.timely {
		early := d.p.early + d.p.regular*c.regularity(d.p.regularNear)
		s.need = l * (early + (d.p.threshold-early)*(share-d.p.refractory)/(d.p.timely-d.p.refractory))
	}
	if c.double > 0 && gap < c.doubleReach && s.weight < d.p.doubleHeld*c.last.weight {
		c.double = doubleLasts
		c.refuse(d, s, "dicrotic wave, as after the beats before")
		return
	}
	switch {
	case tooSoon:
		c.refuse(d, s, "too soon after a beat")
	case s.weight > s.need:
		// An interval nearer to two than to one: was one missed in it?
		if share > d.p.searchLate {
			c.searchBack(d)
		}
		c.take(d, s, false)
		return
	default:
		c.refuse(d, s, "below the threshold")
	}
	if c.missedN < len(c.missed) && share > d.p.searchFrom {
		c.missed[c.missedN] = s
		c.missedN++
	}
}

// reports tells whether c is of the polarity that is reported.
func (d *PulseDetector) reports(c *decider) bool {
	return (c == &d.deciders[0]) == (d.polarity.sign > 0)
}

// refuse explains a rise that is no beat, of the polarity that is reported.
func (c *decider) refuse(d *PulseDetector, s swing, reason string) {
	if d.explain == nil || !d.reports(c) {
		return
	}
	d.explain(Candidate{Sample: max(d.at(s.peak), 0), Feature: s.weight, Threshold: s.need, Reason: reason})
}

// take accepts a rise as a beat.
func (c *decider) take(d *PulseDetector, s swing, back bool) {
	if c.haveLast {
		if rr := float64(s.steep - c.last.steep); rr < d.p.longest*d.workHz {
			c.rr.add(rr)
		}
	}
	c.weights.add(s.weight)
	c.slopes.add(d.steepest(s, c == &d.deciders[1]))
	c.last, c.haveLast = s, true
	if c.double > 0 {
		c.double--
	}
	c.takes.add(s)
	if reach := c.takes.doubled(&d.p, d.workHz); reach > 0 {
		c.doubleReach = reach
		// Every second one was a dicrotic wave: keep the others.
		c.double = doubleLasts
		c.rr.reset()
		c.weights.reset()
		for i := range takesKept / 2 {
			c.weights.add(max(c.takes.s[2*i].weight, c.takes.s[2*i+1].weight))
		}
		for i := range takesKept/2 - 1 {
			c.rr.add(float64(c.takes.s[2*i+2].steep - c.takes.s[2*i].steep))
		}
		c.takes.n = 0
	}
	if d.reports(c) && c.rr.len() >= 4 {
		d.trend = d.trendFor(c.expected())
	}
	c.missedN = 0
	if c.pendingN == len(c.pending) {
		copy(c.pending[:], c.pending[1:])
		c.pendingN--
	}
	c.pending[c.pendingN] = pendingBeat{swing: s, back: back}
	c.pendingN++
}

// searchBack looks for a missed beat when one is overdue: the strongest rise.
func (c *decider) searchBack(d *PulseDetector) {
	rr := c.expected()
	if !c.haveLast || c.missedN == 0 || c.rr.len() < 4 {
		return
	}
	best, most := -1, d.p.searchShare*c.weights.median
	for i, s := range c.missed[:c.missedN] {
		if s.weight > most {
			best, most = i, s.weight
		}
	}
	if best < 0 {
		return
	}
	s := c.missed[best]
	n := 0
	var rest [8]swing
	for _, m := range c.missed[:c.missedN] {
		if float64(m.steep-s.steep) > d.p.searchFrom*rr {
			rest[n] = m
			n++
		}
	}
	c.take(d, s, true)
	c.missed, c.missedN = rest, n
}

// steepest is the slope of a rise, or of a fall, before it was limited.
func (d *PulseDetector) steepest(s swing, fall bool) float64 {
	most, sign, lag := 0.0, 1.0, int64(d.trendLag)
	if fall {
		sign = -1
	}
	for k := max(1, s.foot-lag); k <= s.peak-lag; k++ {
		most = max(most, sign*(d.free[k&d.workMask]-d.free[(k-1)&d.workMask]))
	}
	return most
}

// emit reports the beats whose tail has been seen.
func (d *PulseDetector) emit(dst []Beat) []Beat {
	for i := range d.deciders {
		c := &d.deciders[i]
		mine := d.reports(c)
		for c.pendingN > 0 && d.k >= c.pending[0].steep+int64(d.tail) {
			p := c.pending[0]
			copy(c.pending[:], c.pending[1:c.pendingN])
			c.pendingN--
			if !mine {
				continue
			}
			q := d.shape.judge(d, c, p.swing)
			if e, ok := d.locate(p.swing, d.polarity.sign); ok && e.Sample > d.lastOut {
				e.Quality = q
				d.lastOut = e.Sample
				if d.explain != nil {
					reason := reasonTaken
					if p.back {
						reason = "found looking back"
					}
					d.explain(Candidate{Sample: e.Sample, Feature: p.weight, Threshold: p.need, Agreement: q, Taken: true, Reason: reason})
				}
				dst = append(dst, e)
			}
		}
	}
	return dst
}

// at is the input sample of a work sample.
func (d *PulseDetector) at(k int64) int64 {
	return int64(math.Round(float64(k)*float64(d.ratio) - d.lag))
}

// drift is what was taken for drift at an input sample.
func (d *PulseDetector) drift(at int64) float64 {
	back := int64(d.trendLag)
	x := (float64(at) + d.lag) / float64(d.ratio)
	k := int64(math.Floor(x))
	v := [2]float64{}
	for i := range v {
		j := min(k+int64(i), d.k)
		if j >= back {
			v[i] = d.smooth[(j-back)&d.workMask] - d.y[j&d.workMask]
		}
	}
	return v[0] + (x-float64(k))*(v[1]-v[0])
}

// upstrokeEnd is the work sample where the upstroke of a rise ends.
func (d *PulseDetector) upstrokeEnd(s swing, polarity float64) int64 {
	for k := s.steep + 1; k < s.peak; k++ {
		if polarity*(d.y[k&d.workMask]-d.y[(k-1)&d.workMask]) < d.p.upstrokeEnd*s.slope {
			return k
		}
	}
	return s.peak
}

// locate finds peak and foot at the input's rate.
func (d *PulseDetector) locate(s swing, polarity float64) (Beat, bool) {
	half := int64(math.Round(d.p.triangleSeconds * d.rateHz))
	reach := int64(math.Round(d.p.reachSeconds * d.rateHz))
	steep, foot := d.at(s.steep), d.at(s.foot)
	top := d.at(d.upstrokeEnd(s, polarity))
	lo := max(foot-reach, steep-int64(0.6*d.rateHz), d.n-int64(len(d.raw))+half, half)
	hi := min(top+reach, steep+int64(0.6*d.rateHz), d.n-1-half)
	n := int(hi - lo + 1)
	if n < 3 || n+int(half) > len(d.scratch[1]) {
		return Beat{}, false
	}
	v := d.scratch[0][:n]
	d.triangles(v, lo, half)
	for i := range v {
		v[i] = (v[i] - d.drift(lo+int64(i))) * polarity
	}
	// Steepest point again, at this rate.
	ks := int(min(max(steep-lo, 1), int64(n-2)))
	st := ks
	for i := max(1, ks-int(reach)); i < min(n-1, ks+int(reach)+1); i++ {
		if v[i+1]-v[i-1] > v[st+1]-v[st-1] {
			st = i
		}
	}
	// Peak: highest around the upstroke's end. Foot: lowest before.
	pk := min(max(st, int(top-lo-reach)), n-1)
	for i := pk; i < n; i++ {
		if v[i] > v[pk] {
			pk = i
		}
	}
	height := v[pk] - v[st]
	// The foot is looked for in the input as it is.
	for i := range v {
		v[i] += d.drift(lo+int64(i)) * polarity
	}
	ft := st
	for i := st; i >= 0; i-- {
		if v[i] < v[ft] {
			ft = i
		}
	}
	b := Beat{Kind: Pulse, Sample: lo + int64(pk), Foot: lo + int64(ft)}
	if slope := (v[st+1] - v[st-1]) / 2; slope > 0 {
		f := float64(st) - (v[st]-v[ft])/slope
		if f > float64(ft) && f < float64(st) {
			b.Foot = lo + int64(math.Round(f))
		}
	}
	// The height is that of the input, from the lowest point before the steepest,
	// unless drift has turned it round. A triangle of two cycles of 50 Hz lowers a
	// peak less and still takes out the hum.
	d.triangles(v, lo, max(0, int64(math.Round(0.02*d.rateHz))-1))
	low := math.Inf(1)
	for _, x := range v[:st+1] {
		low = min(low, polarity*x)
	}
	b.Amplitude = polarity*v[pk] - low
	if !(b.Amplitude > 0) {
		b.Amplitude = height
	}
	if !(b.Amplitude > 0) || b.Sample < 0 {
		return Beat{}, false
	}
	return b, true
}

// triangles fills v with the input from sample lo on, smoothed by a triangle of
// 2·half+1 samples: two running sums of half+1.
func (d *PulseDetector) triangles(v []float64, lo, half int64) {
	box := d.scratch[1][:int64(len(v))+half]
	sum := 0.0
	for i := range half {
		sum += d.raw[(lo-half+i)&d.rawMask]
	}
	for i := range box {
		sum += d.raw[(lo+int64(i))&d.rawMask]
		box[i] = sum
		sum -= d.raw[(lo-half+int64(i))&d.rawMask]
	}
	sum = 0
	for _, x := range box[:half] {
		sum += x
	}
	norm := 1 / float64((half+1)*(half+1))
	for i := range v {
		sum += box[half+int64(i)]
		v[i] = sum * norm
		sum -= box[i]
	}
}

const (
	takesKept   = 6
	doubleLasts = 4 // beats without a dicrotic wave until it is no longer expected
)

// takes are the last beats taken, oldest first.
type takes struct {
	s [takesKept]swing
	n int
}

func (t *takes) add(s swing) {
	if t.n == takesKept {
		copy(t.s[:], t.s[1:])
		t.n--
	}
	t.s[t.n] = s
	t.n++
}

// rateSteady is the share of their mean within which intervals are steady.
const rateSteady = 0.12

// steady tells that those taken in turn, from first on, come in a steady rhythm.
func (t *takes) steady(first int) bool {
	var rr [takesKept / 2]float64
	k := 0
	for i := first; i+2 < t.n; i += 2 {
		rr[k] = float64(t.s[i+2].steep - t.s[i].steep)
		k++
	}
	_, worst := spread(rr[:k])
	return worst <= rateSteady
}

// doubled tells whether strong and weak ones have alternated, each weak one sooner
// after the strong one than before the next, and gives then within how many samples
// the weak ones come; 0 if not. That is beat and dicrotic wave, both counted, when
// the weak one comes soon in a steady rhythm (it may be nearly as strong, as behind a
// coupling capacitor), or is much weaker. A rhythm in which the weak wave comes in the
// middle is left alone: pulses may alternate in strength.
func (t *takes) doubled(p *pulseParams, workHz float64) (reach float64) {
	if t.n < takesKept {
		return 0
	}
	first := 0 // where the strong ones are
	if t.s[1].weight > t.s[0].weight {
		first = 1
	}
	steady := t.steady(first)
	for i := first; i+2 < takesKept; i += 2 {
		a, b, c := t.s[i], t.s[i+1], t.s[i+2]
		before, after := float64(b.steep-a.steep), float64(c.steep-b.steep)
		most := p.doubleSmall
		if steady && before <= p.doubleSeconds*workHz {
			most = p.doubleMost
		}
		if before > p.doubleSooner*after || b.weight > most*min(a.weight, c.weight) {
			return 0
		}
		reach = max(reach, p.doubleReach*before)
	}
	return reach
}
