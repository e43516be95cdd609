package beat

import "math"

const (
	shapeStep = 2                                  // a kind's shape is kept at every second internal sample,
	shapeHalf = 15                                 // so many of them to either side: 100 ms
	shapeLen  = 2*shapeHalf + 1                    //
	shapeLag  = 6                                  // fits are sought so many of them to either side: 40 ms
	shapeMid  = (shapeHalf + shapeLag) * shapeStep // the middle of a candidate's shape, which has every sample
	shapeFull = 2*shapeMid + 1                     //
	kindsMax  = 6                                  // kinds of beat remembered

	reachSeconds = 0.08 // R is within ± this of the level's maximum
)

// ecgKind is a kind of beat: the mean shape of beats alike.
type ecgKind struct {
	shape [shapeLen]float64 // mean 0, norm 1
	count int
	last  int64   // internal index of the last one
	tip   float64 // R, internal samples from the middle
	sign  float64 // 1 where R points up, −1 down
	level float64 // logarithm of its beats' level, their mean
	first int64   // internal index of the first one
	met   int     // waves of its shape, taken or not
	aside float64 // share of them that have a quicker wave near
}

// measure takes a candidate's background, shape, tip and width.
func (d *ECGDetector) measure(q *ecgCand, c int64) {
	q.around = d.rms(q.at-d.before, min(q.at+d.before, c))
	n := 0
	for i := max(c-2*ecgRateHz, 0); i <= c; i += 8 {
		d.scratch[n] = d.level[i&ecgMask]
		n++
	}
	q.floor = quantileOf(d.scratch[:n], d.p.floorRank)
	reach := int64(reachSeconds * ecgRateHz)
	q.slow = d.slowRange(q.at-reach, q.at+reach)
	q.quick = math.Log(q.level) - math.Log1p(q.slow/q.level)
	at := q.at + 1 // the sharpened samples are one half older, rounded
	for i := range q.shape {
		q.shape[i] = d.sharp[(at+int64(i-shapeMid))&ecgMask]
	}
	d.locate(q, at)
}

// locate finds the tip: the greatest distance from the line between what lies before
// and after.
func (d *ECGDetector) locate(q *ecgCand, at int64) {
	const reach = int64(reachSeconds * ecgRateHz)
	const edge = 12
	x := func(k int64) float64 { return d.sharp[(at+k)&ecgMask] }
	left, right := 0.0, 0.0
	for k := int64(0); k < edge; k++ {
		left += x(-reach-k) / edge
		right += x(reach+k) / edge
	}
	line := func(k int64) float64 { return left + (right-left)*float64(k+reach)/float64(2*reach) }
	best, where := 0.0, int64(0)
	low, high := math.Inf(1), math.Inf(-1)
	for k := -reach; k <= reach; k++ {
		v := x(k) - line(k)
		low, high = min(low, v), max(high, v)
		if math.Abs(v) > math.Abs(best) {
			best, where = v, k
		}
		q.slope = max(q.slope, math.Abs(x(k+2)-x(k-2)))
	}
	q.tip, q.height = float64(q.at+where), best
	q.r = q.at + where
	switch {
	case high == low:
		q.fault = "a flat line"
	case math.Abs(right-left) > d.p.stepShare*(high-low) && d.calm(at+reach, at+2*reach, d.p.stepCalm*(high-low)) && d.calm(at-2*reach, at-reach, d.p.stepCalm*(high-low)):
		q.step = true
	}
}

// calm says whether the input moves by less than limit over a time.
func (d *ECGDetector) calm(from, to int64, limit float64) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for k := from; k <= to; k++ {
		v := d.sharp[k&ecgMask]
		low, high = min(low, v), max(high, v)
	}
	return high-low < limit
}

// normal makes mean 0 and norm 1 of a shape lag internal samples later; false for a
// constant.
func normal(dst *[shapeLen]float64, x *[shapeFull]float64, lag int) bool {
	mean, norm := 0.0, 0.0
	for i := range dst {
		dst[i] = x[shapeMid+lag+(i-shapeHalf)*shapeStep]
		mean += dst[i] / shapeLen
	}
	for i := range dst {
		dst[i] -= mean
		norm += dst[i] * dst[i]
	}
	if norm == 0 {
		return false
	}
	norm = math.Sqrt(norm)
	for i := range dst {
		dst[i] /= norm
	}
	return true
}

// fit is the best correlation of a shape with a normal one over small lags and the lag in
// internal samples, between two of them by a parabola.
func fit(x *[shapeFull]float64, v *[shapeLen]float64) (best, lag float64) {
	var r [2*shapeLag + 1]float64
	top := 0
	for l := range r {
		sum, square, product := 0.0, 0.0, 0.0
		for i, b := range v {
			a := x[(l+i)*shapeStep] - x[shapeMid]
			sum += a
			square += a * a
			product += a * b
		}
		if e := square - sum*sum/shapeLen; e > 0 {
			r[l] = product / math.Sqrt(e)
		}
		if r[l] > r[top] {
			top = l
		}
	}
	at := float64(top)
	if top > 0 && top < len(r)-1 {
		if c := r[top-1] - 2*r[top] + r[top+1]; c < 0 {
			at += (r[top-1] - r[top+1]) / (2 * c)
		}
	}
	return r[top], (at - shapeLag) * shapeStep
}

// match finds the kind that a candidate is likest.
func (d *ECGDetector) match(q *ecgCand) {
	q.kind, q.agreement, q.lag = -1, -1, 0
	for i := range d.kinds {
		k := &d.kinds[i]
		if k.count == 0 {
			continue
		}
		r, lag := fit(&q.shape, &k.shape)
		if r > q.agreement {
			q.kind, q.agreement, q.lag = i, r, lag
		}
	}
	if q.agreement >= d.p.placeAlike {
		q.r = q.at + int64(math.Round(q.lag+d.kinds[q.kind].tip))
	}
}

// learn takes a beat's shape in and tells where its R is, internal index.
func (d *ECGDetector) learn(q *ecgCand) float64 {
	if q.kind < 0 || q.agreement < 1-d.p.alikeStray {
		return d.found(q)
	}
	k := &d.kinds[q.kind]
	r := float64(q.at) + q.lag + k.tip
	k.count++
	k.last = q.at
	a := max(1/float64(k.count), 0.1)
	k.level += a * (math.Log(q.level) - k.level)
	var v [shapeLen]float64
	if normal(&v, &q.shape, int(math.Round(q.lag))) {
		for i := range k.shape {
			k.shape[i] += a * (v[i] - k.shape[i])
		}
		k.settle()
	}
	return r
}

// settle moves a kind's tip to the extremum beside it: the mean may wander a little.
func (k *ecgKind) settle() {
	i := int(math.Round(k.tip/shapeStep)) + shapeHalf
	i = min(max(i, 1), shapeLen-2)
	for range 2 {
		a, b, c := k.sign*k.shape[i-1], k.sign*k.shape[i], k.sign*k.shape[i+1]
		switch {
		case b >= a && b >= c:
			if e := a - 2*b + c; e < 0 {
				k.tip = (float64(i-shapeHalf) + (a-c)/(2*e)) * shapeStep
			}
			return
		case a > c && i > 1:
			i--
		case c > a && i < shapeLen-2:
			i++
		}
	}
}

// found makes a new kind of a beat, in the place of the one not seen for longest.
func (d *ECGDetector) found(q *ecgCand) float64 {
	oldest := 0
	for i := range d.kinds {
		if d.kinds[i].count == 0 {
			oldest = i
			break
		}
		if d.kinds[i].last < d.kinds[oldest].last {
			oldest = i
		}
	}
	k := &d.kinds[oldest]
	*k = ecgKind{count: 1, first: q.at, last: q.at, tip: q.tip - float64(q.at), level: math.Log(q.level)}
	if k.sign = 1; q.height < 0 {
		k.sign = -1
	}
	normal(&k.shape, &q.shape, 0)
	k.settle()
	return float64(q.at) + k.tip
}

// meet learns of the waves alike to a kind how many have a quicker one near: a P or T wave has
// the QRS beside it.
func (d *ECGDetector) meet(m int64) {
	q := &d.cands[m%ecgCands]
	if q.kind < 0 || q.agreement < 1-d.p.alikeStray || d.kinds[q.kind].first >= q.at {
		return
	}
	k := &d.kinds[q.kind]
	aside := 0.0
	if d.aside(q) {
		aside = 1
	}
	k.met++
	k.aside += max(1/float64(k.met), 0.1) * (aside - k.aside)
}

// aside says whether a quicker wave is near one that was judged backSeconds ago.
func (d *ECGDetector) aside(q *ecgCand) bool {
	near := int64(d.p.backSeconds * ecgRateHz)
	for i := d.judged - 1; i >= max(d.judged-ecgCands+ecgSpare, 0); i-- {
		o := &d.cands[i%ecgCands]
		gap := o.at - q.at
		if gap < -near {
			break
		}
		if gap != 0 && gap <= near && o.quick > q.quick {
			return true
		}
	}
	return false
}

// proven says whether a kind is one of beats.
func (d *ECGDetector) proven(k *ecgKind) bool {
	return k.met >= d.p.ownLeast && k.aside < d.p.asideMost
}
