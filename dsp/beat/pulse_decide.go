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

// ratioMedian is the median of the last steepness ratios; above 0 the rises are
// the steeper ones.
func (d *PulseDetector) ratioMedian() (m float64, n int) {
	v := d.ratios
	n = min(d.ratioN, len(v))
	return medianOf(v[:n]), n
}

// decidePolarity settles it after the start, up when nothing is known.
func (d *PulseDetector) decidePolarity() {
	d.polarity = 1
	if m, n := d.ratioMedian(); n >= 3 && m < 0 {
		d.polarity = -1
	}
}

// reconsider turns the polarity over against clear evidence only.
func (d *PulseDetector) reconsider() {
	const clear = 0.2 // the other slope is steeper by a fifth
	if d.polarity == 0 {
		return
	}
	if m, n := d.ratioMedian(); n == len(d.ratios) && m*d.polarity < -clear {
		d.polarity = -d.polarity
		d.shape.reset()
	}
}

// chosen is the decider of the present polarity.
func (d *PulseDetector) chosen() *decider {
	if d.polarity < 0 {
		return &d.deciders[1]
	}
	return &d.deciders[0]
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
		// The typical beat of the start: the median of the rises at least half as
		// strong as the strongest but one.
		if c.heldN > 0 {
			v := w[:c.heldN]
			slices.Sort(v)
			ref := v[max(0, len(v)-2)]
			i := 0
			for v[i] < 0.5*ref {
				i++
			}
			c.weights.add((v[i+(len(v)-i-1)/2] + v[i+(len(v)-i)/2]) / 2)
		}
		for _, s := range c.held[:c.heldN] {
			c.judge(d, s)
		}
	}
	c.searchBack(d)
}

// expected is the usual R–R in work samples, 0 when unknown.
func (c *decider) expected() float64 { return c.rr.median() }

// level is the weight of the usual beat, fallen when nothing has come for long.
func (c *decider) level(d *PulseDetector, at int64) float64 {
	l := c.weights.median()
	since := float64(at)
	if c.haveLast {
		since = float64(at - c.last.steep)
	}
	rr := c.expected()
	if rr == 0 {
		rr = d.workHz
	}
	if late := since - 2*rr; late > 0 {
		l *= math.Exp(-late / (d.p.decaySeconds * d.workHz))
	}
	return l
}

// judge decides on one rise.
func (c *decider) judge(d *PulseDetector, s swing) {
	l := c.level(d, s.steep)
	if !c.haveLast {
		if s.weight > d.p.threshold*l && s.weight > 0 {
			c.take(d, s, false)
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
	seconds := gap / d.workHz
	// A dicrotic wave: soon after the beat, smaller, from a shallow notch.
	notch := seconds < d.p.notchSeconds && s.depth < d.p.notchShare*c.last.height && s.weight < 0.8*c.last.weight
	need := d.p.threshold
	switch {
	case rr > 0 && share < d.p.refractory, seconds < 0.18:
		need = 1.5
	case rr > 0 && share < 0.75:
		need = d.p.early + (d.p.threshold-d.p.early)*(share-d.p.refractory)/(0.75-d.p.refractory)
	}
	// What follows closely and is much stronger was the beat, the one before not.
	if seconds < 0.3 && s.weight > 1.6*c.last.weight && c.last.weight < 0.6*l && c.untake() {
		c.take(d, s, false)
		return
	}
	if !notch && s.weight > need*l {
		c.take(d, s, false)
		return
	}
	if !notch && c.missedN < len(c.missed) && share > 0.5 {
		c.missed[c.missedN] = s
		c.missedN++
	}
}

// untake withdraws the last beat while it has not been reported.
func (c *decider) untake() bool {
	if c.pendingN == 0 {
		return false
	}
	p := &c.pending[c.pendingN-1]
	if p.steep != c.last.steep || p.before.steep == 0 && p.before.peak == 0 {
		return false
	}
	c.last = p.before
	c.pendingN--
	return true
}

// take accepts a rise as a beat.
func (c *decider) take(d *PulseDetector, s swing, back bool) {
	p := pendingBeat{swing: s, back: back}
	if c.haveLast {
		p.before = c.last
		rr := float64(s.steep - c.last.steep)
		if rr < 3*d.workHz {
			c.rr.add(rr)
		}
		if rr > 3*d.workHz {
			c.weights.reset() // a new start
		}
	}
	c.weights.add(s.weight)
	c.last, c.haveLast = s, true
	c.missedN = 0
	if c.pendingN == len(c.pending) {
		copy(c.pending[:], c.pending[1:])
		c.pendingN--
	}
	c.pending[c.pendingN] = p
	c.pendingN++
}

// searchBack looks for a missed beat when one is overdue.
func (c *decider) searchBack(d *PulseDetector) {
	if !c.haveLast || c.missedN == 0 {
		return
	}
	rr := c.expected()
	if rr == 0 || float64(d.k-c.last.steep) < d.p.searchAt*rr {
		return
	}
	best, l := -1, c.weights.median()
	for i, s := range c.missed[:c.missedN] {
		if s.weight > d.p.searchShare*l && (best < 0 || s.weight > c.missed[best].weight) {
			best = i
		}
	}
	if best < 0 {
		return
	}
	s := c.missed[best]
	n := 0
	var rest [8]swing
	for _, m := range c.missed[:c.missedN] {
		if float64(m.steep-s.steep) > 0.5*rr {
			rest[n] = m
			n++
		}
	}
	c.take(d, s, true)
	c.missed, c.missedN = rest, n
}

// emit reports the beats whose tail has been seen.
func (d *PulseDetector) emit(dst []Beat) []Beat {
	for i := range d.deciders {
		c := &d.deciders[i]
		mine := c == d.chosen()
		for c.pendingN > 0 && d.k >= c.pending[0].steep+int64(d.tail) && d.k >= c.pending[0].peak {
			p := c.pending[0]
			copy(c.pending[:], c.pending[1:c.pendingN])
			c.pendingN--
			if !mine {
				continue
			}
			if b, ok := d.locate(p.swing); ok && b.Sample > d.lastOut {
				b.Quality = d.shape.judge(d, c, p.swing)
				d.lastOut = b.Sample
				dst = append(dst, b)
			}
		}
	}
	return dst
}

// at is the input sample of a work sample.
func (d *PulseDetector) at(k int64) int64 {
	return int64(math.Round(float64(k)*float64(d.ratio) - d.lag))
}

// locate finds peak and foot at the input's rate.
func (d *PulseDetector) locate(s swing) (Beat, bool) {
	half := int64(math.Round(0.03 * d.rateHz)) // of the triangle
	steep, peak, foot := d.at(s.steep), d.at(s.peak), d.at(s.foot)
	reach := int64(math.Round(0.06 * d.rateHz))
	lo := max(foot-reach, steep-int64(0.6*d.rateHz))
	hi := min(peak+reach, steep+int64(0.6*d.rateHz), d.n-1-half)
	oldest := max(0, d.n-int64(len(d.raw)))
	lo = max(lo, oldest+half)
	n := int(hi - lo + 1)
	if n < 3 || n > len(d.scratch) {
		return Beat{}, false
	}
	v := d.scratch[:n]
	// Triangle of 2·half+1 samples .
	h := half + 1
	norm := 1 / float64(h*h)
	for i := range v {
		sum := 0.0
		for j := -half; j <= half; j++ {
			sum += float64(h-max(j, -j)) * d.raw[(lo+int64(i)+j)&d.rawMask]
		}
		v[i] = sum * norm * d.polarity
	}
	// Peak: highest from the steepest point on. Foot: lowest before it.
	ks := int(min(max(steep-lo, 1), int64(n-2)))
	pk := ks
	for i := ks; i < n; i++ {
		if v[i] > v[pk] {
			pk = i
		}
	}
	// Steepest point again, at this rate.
	st := ks
	for i := max(1, ks-int(reach)); i < min(n-1, ks+int(reach)+1); i++ {
		if i <= pk && v[i+1]-v[i-1] > v[st+1]-v[st-1] {
			st = i
		}
	}
	ft := st
	for i := st; i >= 0; i-- {
		if v[i] < v[ft] {
			ft = i
		}
	}
	b := Beat{Kind: Pulse, Sample: lo + int64(pk), Foot: lo + int64(ft), Amplitude: v[pk] - v[ft]}
	if slope := (v[st+1] - v[st-1]) / 2; slope > 0 {
		f := float64(st) - (v[st]-v[ft])/slope
		if f > float64(ft) && f < float64(st) {
			b.Foot = lo + int64(math.Round(f))
		}
	}
	if !(b.Amplitude > 0) || b.Sample < 0 {
		return Beat{}, false
	}
	return b, true
}
