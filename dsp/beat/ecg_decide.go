package beat

import (
	"math"
	"slices"
)

const reasonTaken = "above the threshold"

// judge decides on a candidate when what follows it for aheadSeconds is known.
func (d *ECGDetector) judge(dst []Beat, q *ecgCand) []Beat {
	d.measure(q)
	if d.nPeaks == 0 {
		q.refusal = "searching"
		return dst
	}
	d.weigh(q)
	switch r := d.refuse(q); r {
	case "":
		return d.take(dst, q, reasonTaken)
	default:
		q.refusal = r
		d.tell(q, r)
	}
	return dst
}

// weigh makes the candidate's feature and its threshold. The feature is the geometric
// mean of level and slope, each beside the usual beat's, lessened by what speaks against
// a beat: a strange shape, coming early in a steady rhythm, being what the beat before
// would leave; the threshold rises with the background. The form is that of a logistic
// decision in the logarithms of the measures, so that no one of them decides alone.
func (d *ECGDetector) weigh(q *ecgCand) {
	usual := d.usual()
	q.agreement = 0
	if q.level > 0.1*usual {
		q.agreement = d.agree(q)
	}
	noise := clamp01(q.floor / usual / d.p.noiseFull)
	cost := min(d.p.strangeWeight*(1-q.agreement), d.p.strangeMost) +
		d.p.earlyWeight*noise*d.early(q.at-d.last)
	q.feature = math.Sqrt(q.level*usual*q.slope/d.usualSlope()) * math.Exp(-cost)
	// That a beat comes soon after another must not let its own T wave outdo it.
	tail := d.tail(q)
	beside := q.feature
	if d.likeT(q) {
		beside *= math.Exp(-tail)
	}
	q.shadowed = false
	for i := q.at + int64(d.p.nearSeconds*ecgRateHz); i <= q.at+d.ahead; i++ {
		q.shadowed = q.shadowed || beside < d.p.aheadShare*d.level[i&(ecgRing-1)]
	}
	q.feature *= math.Exp(-tail)
	q.threshold = d.p.signalShare * usual * math.Pow(max(q.floor/usual, d.p.floorLeast)/0.1, d.p.floorPower)
}

// tail is the cost of coming where the last beat has its tail or its T wave. Soon after
// a beat another must be great beside it; up to the end of a T wave, steeper than one
// and greater than what followed such beats before.
func (d *ECGDetector) tail(q *ecgCand) float64 {
	gap := q.at - d.last
	t := float64(gap) / (ecgRateHz * d.rootRR())
	cost := 0.0
	if near := clamp01(1 - (t-d.p.refractorySeconds)/d.p.waneSeconds); near > 0 {
		cost += near * (d.p.waneWeight - d.p.waneGain*math.Log(q.level/d.lastCand.level))
	}
	if near := clamp01((1.2*d.p.tWaveEnd - t) / (0.4 * d.p.tWaveEnd)); near > 0 {
		// All of either from a third of the slope and up to the height expected, nothing
		// from the whole of it and tailTimes that height.
		steep := q.slope / (d.p.bluntShare * min(d.lastCand.slope, d.usualSlope()))
		cost += near * d.p.bluntWeight * clamp01(-math.Log(steep)/math.Log(3))
		high := 0.5 // when it is not known
		if d.likeT(q) {
			high = 1
		}
		if e := d.expected(gap); e > 0 {
			high = clamp01(1 - math.Log(q.level/e)/math.Log(d.p.tailTimes))
		}
		cost += near * d.p.tailWeight * high
	}
	return cost
}

// early says how far a beat so many internal samples after the last would be ahead
// of a steady rhythm: 0 on time or in an unsteady one, 1 at half the interval.
func (d *ECGDetector) early(gap int64) float64 {
	if d.nRR < history {
		return 0
	}
	usual := d.usualRR()
	s := d.scratch[:history]
	for i, r := range d.rr {
		s[i] = math.Abs(r - usual)
	}
	slices.Sort(s)
	steady := clamp01(1 - s[history/2]/(d.p.unsteady*usual))
	// Nor is one whose last beat was early too: a fast one may have begun.
	steady *= clamp01((d.rr[(d.nRR-1)%history]/usual - 0.5) / 0.3)
	return steady * clamp01((0.9-float64(gap)/usual)/0.4)
}

func (d *ECGDetector) refuse(q *ecgCand) string {
	if q.swing < d.config.MinVolts {
		return "smaller than the least beat"
	}
	if q.fault != "" {
		return q.fault
	}
	if q.at-d.last < int64(d.p.refractorySeconds*ecgRateHz) {
		return "too soon after a beat"
	}
	if q.feature < q.threshold {
		if q.feature*math.Exp(d.tail(q)) >= q.threshold {
			return "T wave or tail of the beat before"
		}
		return "below the threshold"
	}
	if q.level < d.p.floorRatio*q.quiet {
		return "does not stand out from the background"
	}
	if q.shadowed {
		return "a stronger one follows"
	}
	return ""
}

// rootRR is the square root of an interval in seconds, as the QT interval follows it
// (Bazett 1920), kept within reason. Of the last intervals one of the longer: were T
// waves taken for beats, the short ones would shut out the tests that refuse them.
func (d *ECGDetector) rootRR() float64 {
	return math.Sqrt(min(max(d.rankRR(0.75)/ecgRateHz, 0.4), 1.2))
}

// usual is the level of a usual beat, usualSlope its slope.
func (d *ECGDetector) usual() float64      { return d.middle(&d.peaks) }
func (d *ECGDetector) usualSlope() float64 { return d.middle(&d.slopes) }

// middle is the mean of the middle half of the last beats' values.
func (d *ECGDetector) middle(v *[history]float64) float64 {
	n := int(min(d.nPeaks, history))
	s := d.scratch[:n]
	copy(s, v[:n])
	slices.Sort(s)
	s = s[n/4 : n-n/4]
	sum := 0.0
	for _, x := range s {
		sum += x
	}
	return sum / float64(n-2*(n/4))
}

// usualRR is the median of the last intervals, internal samples.
func (d *ECGDetector) usualRR() float64 { return d.rankRR(0.5) }

func (d *ECGDetector) rankRR(share float64) float64 {
	n := int(min(d.nRR, history))
	if n == 0 {
		return 1 * ecgRateHz
	}
	s := d.scratch[:n]
	copy(s, d.rr[:n])
	slices.Sort(s)
	return s[int(share*float64(n))]
}

// take makes a beat of a candidate.
func (d *ECGDetector) take(dst []Beat, q *ecgCand, reason string) []Beat {
	if q.sample <= d.lastSample {
		return dst
	}
	q.taken = true
	d.searching = false
	d.peaks[d.nPeaks%history] = q.level
	d.slopes[d.nPeaks%history] = q.slope
	d.nPeaks++
	if rr := q.at - d.last; rr < 3*ecgRateHz {
		d.rr[d.nRR%history] = float64(rr)
		d.nRR++
	}
	d.learnTail(q)
	d.last = q.at
	d.lastCand = *q
	d.lastSample = q.sample
	d.lastKind = d.learn(q)
	d.overdue = d.last + d.ahead + int64(math.Ceil(d.p.backRatio*d.usualRR()))
	d.looked = -1
	d.tell2(q, true, reason)
	quality := clamp01(q.agreement) * clamp01(1-q.quiet/q.level)
	if q.clipped {
		quality /= 2
	}
	return append(dst, Beat{Sample: q.sample, Foot: q.sample, Kind: ECG, Amplitude: q.amplitude, Quality: quality})
}

func (d *ECGDetector) tell(q *ecgCand, reason string) { d.tell2(q, false, reason) }

func (d *ECGDetector) tell2(q *ecgCand, taken bool, reason string) {
	if d.explain != nil {
		d.explain(Candidate{q.sample, q.feature, q.threshold, q.agreement, q.floor, taken, reason})
	}
}

// lookBack takes a candidate refused before when the beat is overdue.
func (d *ECGDetector) lookBack(dst []Beat, c int64) []Beat {
	if c < d.overdue || d.looked == d.judged {
		return dst
	}
	d.looked = d.judged
	var best *ecgCand
	end := d.p.tWaveEnd * ecgRateHz * d.rootRR()
	for i := d.judged - 1; i >= max(d.judged-ecgCands/2, 0); i-- {
		q := &d.cands[i%ecgCands]
		if float64(q.at-d.last) < end {
			break // older ones are sooner still
		}
		if q.taken || q.fault != "" || q.swing < d.config.MinVolts {
			continue
		}
		if q.shadowed || q.feature < d.p.backShare*q.threshold || q.level < d.p.floorRatio*q.floor {
			continue
		}
		if q.agreement < d.p.backAgree && q.feature < d.p.backRise*q.floor {
			continue
		}
		if best == nil || q.feature >= best.feature {
			best = q
		}
	}
	if best != nil {
		return d.take(dst, best, "found looking back")
	}
	return dst
}

// search starts or starts anew: it looks for several beats alike that stand out, in
// the last seconds, and for slow ones in more of them.
func (d *ECGDetector) search(dst []Beat, c int64) []Beat {
	n := len(dst)
	for _, seconds := range [...]int64{4, 7, 13} {
		if dst = d.searchIn(dst, c, seconds); len(dst) > n {
			break
		}
	}
	return dst
}

func (d *ECGDetector) searchIn(dst []Beat, c, seconds int64) []Beat {
	from := max(c-seconds*ecgRateHz, d.last+int64(d.p.tWaveSeconds*ecgRateHz))
	var pick [ecgCands]*ecgCand
	first, second := 0.0, 0.0
	for i := max(d.judged-ecgCands+ecgSpare, 0); i < d.judged; i++ {
		if q := &d.cands[i%ecgCands]; q.at >= from {
			if q.level > first {
				first, second = q.level, first
			} else if q.level > second {
				second = q.level
			}
		}
	}
	// A pause shows P waves: much smaller beats than before must last longer.
	least := d.p.startShare * second
	if d.nPeaks > 0 && c-d.last < int64(d.p.restartSeconds*ecgRateHz) {
		least = max(least, d.p.signalShare*d.usual())
	}
	n := 0
	for i := max(d.judged-ecgCands+ecgSpare, 0); i < d.judged; i++ {
		q := &d.cands[i%ecgCands]
		if q.at < from || q.fault != "" || q.swing < d.config.MinVolts || q.level < least || q.level < d.p.startRatio*q.floor {
			continue
		}
		if n > 0 {
			b := pick[n-1]
			if q.at-b.at < int64(d.p.refractorySeconds*ecgRateHz) {
				if q.level > b.level {
					pick[n-1] = q
				}
				continue
			}
			if q.at-b.at < int64(d.p.tWaveSeconds*ecgRateHz) && (q.level < d.p.tWaveShare*b.level || q.slope < d.p.tWaveBlunt*b.slope) {
				continue
			}
		}
		pick[n] = q
		n++
	}
	if n < 3 {
		return dst
	}
	support := 0
	for i := range n {
		best := -1.0
		for k := range n {
			if k != i {
				best = max(best, fit(&pick[i].shape, (*[shapeLen]float64)(pick[k].shape[shapeLag:shapeLag+shapeLen])))
			}
		}
		pick[i].agreement = best
		if best >= 1-d.p.startStray {
			support++
		}
	}
	if support < 3 || float64(support) < (1-d.p.startLoners)*float64(n) {
		return dst
	}
	d.nPeaks, d.nRR = 0, 0
	for _, q := range pick[:n] {
		q.feature, q.threshold = q.level, 0
		dst = d.take(dst, q, "several alike: start")
	}
	return dst
}

// measure locates R and takes the background and the shape.
func (d *ECGDetector) measure(q *ecgCand) {
	const mask = ecgRing - 1
	// Fast beats leave less time between them, at 300 bpm hardly any.
	between := clamp01((d.usualRR()/ecgRateHz - 0.2) / 0.3)
	// Background: a low percentile of the level over the last two seconds.
	n := 0
	end := q.at + d.ahead
	for i := max(end-2*ecgRateHz, 0); i <= end; i += 8 {
		d.scratch[n] = d.level[i&mask]
		n++
	}
	s := d.scratch[:n]
	slices.Sort(s)
	q.floor = s[n*35/100]
	q.quiet = s[int(float64(n)*(0.02+0.33*between))]

	for i := range q.shape {
		q.shape[i] = d.shape[(q.at+d.shift+int64(i-shapeFull/2)*shapeStep)&mask]
	}
	q.slope = 0
	const reach = slopeMillis * ecgRateHz / 1000
	for i := q.at + d.shift - reach; i <= q.at+d.shift+reach; i++ {
		q.slope = max(q.slope, math.Abs(d.shape[(i+1)&mask]-d.shape[(i-1)&mask]))
	}
	d.locate(q)
}

// locate finds R in the raw input: the greatest distance from the line between the
// levels before and after, in the input freed of spikes by a short running median,
// and then the raw extremum beside it.
func (d *ECGDetector) locate(q *ecgCand) {
	mask := int64(len(d.raw) - 1)
	rate := d.config.RateHz
	center := int64(math.Round(float64(q.at)*d.ratio - d.back))
	step := max(int64(rate/500), 1)
	reach := int64(d.p.locateSeconds * rate / float64(step)) // in steps
	oldest := max(d.n-int64(len(d.raw)), 0)
	at := func(i int64) float64 { return d.raw[min(max(i, oldest), d.n-1)&mask] }
	// Half the median's length, in steps; 2·half+1 cover spikeSeconds.
	half := min(int64(math.Round(d.p.spikeSeconds*rate/float64(step)/2)), spikeMax)
	var w [2*spikeMax + 1]float64
	median := func(i int64) float64 {
		n := 0
		for k := -half; k <= half; k++ {
			v := at(i + k*step)
			m := n
			for ; m > 0 && w[m-1] > v; m-- {
				w[m] = w[m-1]
			}
			w[m] = v
			n++
		}
		return w[half]
	}
	edge := max(reach/2, 1)
	left, right, before := 0.0, 0.0, 0.0
	for k := range edge {
		before += at(center-(2*reach+k)*step) / float64(edge)
		left += at(center-(reach+k)*step) / float64(edge)
		right += at(center+(reach+k)*step) / float64(edge)
	}
	best, where := 0.0, center
	lowest, highest := math.Inf(1), math.Inf(-1)
	rawLow, rawHigh := math.Inf(1), math.Inf(-1)
	for k := -reach; k <= reach; k++ {
		i := center + k*step
		v := median(i)
		r := at(i)
		lowest, highest = min(lowest, v), max(highest, v)
		rawLow, rawHigh = min(rawLow, r), max(rawHigh, r)
		v -= left + (right-left)*float64(k+reach)/float64(2*reach)
		if math.Abs(v) > math.Abs(best) {
			best, where = v, i
		}
	}
	q.swing = highest - lowest
	// calm says whether the input moves by less than a share of the swing over a time.
	calm := func(from, to int64, share float64) bool {
		low, high := math.Inf(1), math.Inf(-1)
		for k := from; k <= to; k++ {
			v := at(center + k*step)
			low, high = min(low, v), max(high, v)
		}
		return high-low < share*q.swing
	}
	// Flat after it, to a fiftieth: no heart stops so.
	flat := func() bool { return calm(reach, 5*reach/2, 0.02) }
	// An edge too sharp for a QRS, from one calm level to another.
	sharp := func() bool {
		if !calm(reach, 5*reach/2, d.p.stepCalm) || !calm(-5*reach/2, -reach, d.p.stepCalm) {
			return false
		}
		span := max(2*half, 1)
		for k := -reach; k <= reach-span; k++ {
			if math.Abs(median(center+(k+span)*step)-median(center+k*step)) > d.p.stepSharp*q.swing {
				return true
			}
		}
		return false
	}
	// Nothing but two levels: an input thrown from rail to rail.
	square := func() bool {
		low, high, within := math.Inf(1), math.Inf(-1), int64(0)
		for k := -5 * reach / 2; k <= 5*reach/2; k++ {
			v := at(center + k*step)
			low, high = min(low, v), max(high, v)
		}
		for k := -5 * reach / 2; k <= 5*reach/2; k++ {
			if v := at(center + k*step); v != low && v != high {
				within++
			}
		}
		return within <= reach/10
	}
	switch {
	case rawHigh == rawLow:
		q.fault = "a flat line"
	case q.swing < d.p.narrowShare*(rawHigh-rawLow):
		q.fault = "a spike: too narrow for a QRS"
	case min(math.Abs(right-left), math.Abs(right-before)) > d.p.stepShare*q.swing && (sharp() || flat()):
		q.fault = "a step: the level does not come back"
	case square():
		q.fault = "clipped: from rail to rail"
	}
	// The extremum beside it, over a few milliseconds' mean.
	smooth := int64(0.003 * rate)
	mean := func(i int64) float64 {
		sum := 0.0
		for k := i - smooth; k <= i+smooth; k++ {
			sum += at(k)
		}
		return sum / float64(2*smooth+1)
	}
	sign := 1.0
	if best < 0 {
		sign = -1
	}
	q.sample = where
	if fine := half * step; q.fault == "" {
		top := math.Inf(-1)
		by := max(step/4, 1)
		for i := where - fine; i <= where+fine; i += by {
			if v := sign * mean(i); v > top {
				top, q.sample = v, i
			}
		}
	}
	q.sample = min(max(q.sample, 0), d.n-1)
	// A top of one value for some time is cut off.
	top := int64(1)
	for i := q.sample - 1; i > center-reach*step && at(i) == at(q.sample); i-- {
		top++
	}
	for i := q.sample + 1; i < center+reach*step && at(i) == at(q.sample); i++ {
		top++
	}
	q.clipped = top >= max(4, int64(0.012*rate))
	q.amplitude = at(q.sample) - (left + (right-left)*float64((q.sample-center)/step+reach)/float64(2*reach))
}

// fit is the best correlation of a shape with a reference over small shifts.
func fit(x *[shapeFull]float64, v *[shapeLen]float64) float64 {
	vv := 0.0
	for _, b := range v {
		vv += b * b
	}
	best := -1.0
	for lag := range 2*shapeLag + 1 {
		xx, xv := 0.0, 0.0
		for i, b := range v {
			a := x[lag+i]
			xx += a * a
			xv += a * b
		}
		if e := xx * vv; e > 0 {
			best = max(best, xv/math.Sqrt(e))
		}
	}
	return best
}

// agree is the best correlation with the kinds known. A kind whose beats are blunt
// beside the usual ones may be a P or T wave once taken for a beat and vouches for less.
func (d *ECGDetector) agree(q *ecgCand) float64 {
	best, usual := -1.0, d.usualSlope()
	for i := range d.shapes {
		s := &d.shapes[i]
		if s.count == 0 {
			continue
		}
		r := fit(&q.shape, &s.v)
		r *= (1 - d.p.novelty/float64(s.count)) * clamp01(s.slope/(d.p.bluntKind*usual))
		best = max(best, r)
	}
	return best
}

// learn takes a beat's shape in.
func (d *ECGDetector) learn(q *ecgCand) int {
	kind, best, bestLag := -1, 1-d.p.joinStray, 0
	for i := range d.shapes {
		s := &d.shapes[i]
		if s.count == 0 {
			continue
		}
		for lag := range 2*shapeLag + 1 {
			xx, xv, vv := 0.0, 0.0, 0.0
			for k, b := range s.v {
				a := q.shape[lag+k]
				xx += a * a
				xv += a * b
				vv += b * b
			}
			if e := xx * vv; e > 0 && xv/math.Sqrt(e) > best {
				kind, best, bestLag = i, xv/math.Sqrt(e), lag
			}
		}
	}
	if kind < 0 {
		kind = 0
		for i := range d.shapes {
			if d.shapes[i].count == 0 {
				kind = i
				break
			}
			if d.shapes[i].last < d.shapes[kind].last {
				kind = i
			}
		}
		d.shapes[kind] = ecgShape{}
		bestLag = shapeLag
	}
	s := &d.shapes[kind]
	s.count++
	s.last = d.made
	xx := 0.0
	for k := range s.v {
		a := q.shape[bestLag+k]
		xx += a * a
	}
	if xx == 0 {
		return kind
	}
	g := 1 / math.Sqrt(xx)
	alpha := max(1/float64(s.count), 0.125)
	s.slope += alpha * (q.slope - s.slope)
	for k := range s.v {
		s.v[k] += alpha * (q.shape[bestLag+k]*g - s.v[k])
	}
	return kind
}

// likeT says whether a candidate, beat or not, is blunter than the last beat and so soon
// that it may be its T wave.
func (d *ECGDetector) likeT(q *ecgCand) bool {
	return float64(q.at-d.last) < d.p.tWaveNear*ecgRateHz && q.slope < d.p.tWaveSteep*d.lastCand.slope
}

// learnTail takes in what followed the last beat, now that the next, q, is known, the
// next itself where it may be a T wave.
func (d *ECGDetector) learnTail(q *ecgCand) {
	if d.nPeaks < 2 || d.lastCand.level <= 0 {
		return
	}
	end := q.at - int64(d.p.tailGuard*ecgRateHz)
	if d.likeT(q) {
		end = q.at + int64(d.p.tailGuard*ecgRateHz)
	}
	end = min(end, d.j-d.half)
	s := &d.shapes[d.lastKind]
	for k := range s.tail {
		from := d.last + int64(k*tailStep)
		if from+tailStep > end {
			break
		}
		top := 0.0
		for i := from; i < from+tailStep; i++ {
			top = max(top, d.level[i&(ecgRing-1)])
		}
		s.tails[k]++
		s.tail[k] += (top/d.lastCand.level - s.tail[k]) * max(1/float64(s.tails[k]), 0.125)
	}
}

// expected is the level to be expected so many internal samples after the last beat
// from what followed others of its kind; 0 when that is not known.
func (d *ECGDetector) expected(gap int64) float64 {
	s := &d.shapes[d.lastKind]
	reach := int(d.p.tailReach * ecgRateHz / tailStep)
	k := int(gap / tailStep)
	e := 0.0
	for i := max(k-reach, 0); i <= min(k+reach, tailLen-1); i++ {
		if s.tails[i] >= 3 {
			e = max(e, s.tail[i])
		}
	}
	return e * d.lastCand.level
}

func clamp01(x float64) float64 { return min(max(x, 0), 1) }
