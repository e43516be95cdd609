package beat

import "math"

const reasonTaken = "above the threshold"

// judge weighs a candidate by itself when what follows it for aheadSeconds is known.
func (d *ECGDetector) judge(q *ecgCand, c int64) {
	d.measure(q, c)
	if d.nPeaks == 0 {
		return
	}
	d.match(q)
	q.points = d.weigh(q) - d.behind(q)
	reason := q.fault
	switch {
	case reason != "":
	case q.step && q.agreement < d.p.stepAlike:
		reason = "a step: the level does not come back"
	case float64(q.r-d.last.r) < d.p.refractory*ecgRateHz:
		reason = "too soon after a beat"
	case q.points < -2*(d.p.timelyPoints+d.p.latePoints): // more than two intervals can make good
		reason = reasonBelow
	default:
		reason = d.front.fault(q.tip)
	}
	if reason != "" {
		d.refuse(q, reason)
		return
	}
	if d.nPending == pendingMost {
		d.giveUp()
	}
	d.pending[d.nPending] = q
	d.nPending++
}

const reasonBelow = "below the threshold"

// refuse makes no beat of a candidate.
func (d *ECGDetector) refuse(q *ecgCand, reason string) {
	d.weak[d.nWeak%weakMost] = q.level
	d.nWeak++
	d.tell(q, false, reason)
}

// decide finds of the sequences of beats that may have followed the last one the one with
// most points (Viterbi 1967), and takes its first when enough of what follows is known.
func (d *ECGDetector) decide(c int64) {
	for _, q := range d.pending[:d.nPending] {
		if !q.followed && d.nPeaks > 0 && c-q.at > d.beside {
			q.points += d.tWave(q) + d.alone(q)
			q.followed = true
		}
	}
	for d.nPending > 0 && d.nPeaks > 0 {
		r := d.rhythm()
		i, points := d.likeliest(&r, c, -1)
		if i < 0 {
			break
		}
		q := d.pending[i]
		_, without := d.likeliest(&r, c, i)
		q.margin = points - without
		if c-q.at < int64(d.p.lookSeconds*ecgRateHz) {
			if q.margin < d.p.surePoints || d.paired() && d.pairNear(c-q.at-d.ahead) {
				break
			}
		}
		q.points += d.interval(&r, &d.last, q)
		for _, o := range d.pending[:i] {
			d.note(o, q)
			d.refuse(o, reasonBelow)
		}
		d.nPending = copy(d.pending[:], d.pending[i+1:d.nPending])
		d.take(q, reasonTaken)
	}
	for d.nPending > 0 && (d.nPeaks == 0 || d.pending[0].at <= d.last.at || c-d.pending[0].at > int64(d.p.lostSeconds*ecgRateHz)) {
		d.giveUp()
	}
}

// giveUp refuses the oldest candidate that waits.
func (d *ECGDetector) giveUp() {
	d.refuse(d.pending[0], reasonBelow)
	d.nPending = copy(d.pending[:], d.pending[1:d.nPending])
}

// likeliest is the first beat of the sequence of pending ones with most points, −1 where
// it is likelier that none was a beat.
func (d *ECGDetector) likeliest(r *ecgRhythm, c int64, without int) (first int, points float64) {
	var sum [pendingMost]float64
	var from [pendingMost]int
	weak := d.weaker()
	best, end := d.open(r, c-d.last.r), -1
	for i, q := range d.pending[:d.nPending] {
		sum[i], from[i] = d.interval(r, &d.last, q), -1
		if i == without || weak[i] {
			sum[i] = math.Inf(-1)
			continue
		}
		for k, o := range d.pending[:i] {
			if v := sum[k] + d.interval(r, o, q); v > sum[i] {
				sum[i], from[i] = v, k
			}
		}
		sum[i] += q.points
		if v := sum[i] + d.open(r, c-q.r); v > best {
			best, end = v, i
		}
	}
	if end < 0 {
		return -1, best
	}
	for from[end] >= 0 {
		end = from[end]
	}
	return end, best
}

// pairsLeast pairs in a row are the rule; after pairsMost less that number of intervals
// without a second wave they are no more.
const pairsLeast, pairsMost = 3, 6

// weaker marks of the pending candidates the weaker ones of such pairs: the strongest is
// none, those near it are, and so on.
func (d *ECGDetector) weaker() (weak [pendingMost]bool) {
	if !d.paired() {
		return
	}
	var kept [pendingMost]bool
	for i, q := range d.pending[:d.nPending] {
		weak[i] = d.last.level > q.level && d.pairNear(q.r-d.last.r)
	}
	for {
		best := -1
		for i, q := range d.pending[:d.nPending] {
			if !weak[i] && !kept[i] && (best < 0 || q.level > d.pending[best].level) {
				best = i
			}
		}
		if best < 0 {
			return
		}
		kept[best] = true
		for i, q := range d.pending[:d.nPending] {
			gap := q.r - d.pending[best].r
			weak[i] = weak[i] || !kept[i] && d.pairNear(max(gap, -gap))
		}
	}
}

// paired says whether every interval holds a second wave that passes for a beat, at the
// same distance: a P or T wave.
func (d *ECGDetector) paired() bool { return d.pairs >= pairsLeast }

// note looks at a wave refused between the last beat and the next one: if but for the
// rhythm it were a beat, it may be the other of a pair.
func (d *ECGDetector) note(o, next *ecgCand) {
	gap, other := min(o.r-d.last.r, next.r-o.r), max(o.r-d.last.r, next.r-o.r)
	if o.points >= 0 && other-gap <= d.nearly() && o.level >= d.p.pairTurns*min(d.last.level, next.level) && o.agreement >= 1-d.p.alikeStray {
		d.midway = true
		return
	}
	if o.points < 0 || gap < int64(d.p.refractory*ecgRateHz) || gap >= int64(d.p.pairSeconds*ecgRateHz) {
		return
	}
	if !d.likePair(gap) {
		if d.paired() {
			return
		}
		d.pairs, d.pairGap = 0, gap
	}
	d.second = true
}

// nearly is within how much two distances are alike, internal samples.
func (d *ECGDetector) nearly() int64 { return int64(d.p.pairNear * ecgRateHz) }

// pairNear says whether two waves so far apart are of one pair.
func (d *ECGDetector) pairNear(gap int64) bool { return gap <= d.pairGap+d.nearly() }

// likePair says whether they are as far apart as the pairs are.
func (d *ECGDetector) likePair(gap int64) bool { return d.pairNear(gap) && gap >= d.pairGap-d.nearly() }

// pair looks for pairs at each beat, gap after the one before: a short interval and a
// long one in turn, or a weak beat and a strong one.
func (d *ECGDetector) pair(q *ecgCand, gap int64) {
	limit := int64(d.p.pairSeconds * ecgRateHz)
	a, b, c := d.levels[0], d.levels[1], q.level
	turns := b < d.p.pairTurns*min(a, c) || d.p.pairTurns*b > max(a, c)
	switch short := gap < limit; {
	case short && (float64(gap) < d.p.pairShort*float64(d.lastGap) || turns):
		if !d.likePair(gap) && !turns {
			d.pairs = 0
		}
		d.pairGap = gap
		if d.pairs++; d.pairs == pairsLeast {
			// The weak ones are no measure.
			d.pairs, d.nRR, d.nPeaks, d.peaks[0] = pairsMost, 0, 1, max(b, c)
		}
	case short:
		d.pairs = 0
	case d.lastGap >= limit && !d.second:
		d.pairs = max(d.pairs-1, 0)
	}
	if d.midway {
		if d.halves++; d.halves >= pairsLeast { // every other beat is missed
			d.nRR, d.pairs, d.halves = 0, 0, 0
		}
	} else {
		d.halves = 0
	}
	d.midway = false
	if d.second {
		if d.pairs++; d.paired() {
			d.pairs = pairsMost
		}
		d.second = false
	}
	d.lastGap, d.levels[0], d.levels[1] = gap, b, c
}

// weigh gives points for and against a candidate by itself.
func (d *ECGDetector) weigh(q *ecgCand) float64 {
	q.usual = d.usual()
	return d.p.bias + d.p.usualPoints*math.Log(q.level/q.usual) +
		d.p.aroundPoints*math.Log(q.level/q.around) +
		d.p.floorPoints*math.Log(q.level/max(q.floor, d.p.floorLeast*q.usual)) -
		d.p.strayPoints*clamp01(1-q.agreement)
}

// tWave gives points back to a wave weaker than usual that a T wave follows: a slow wave of
// about its size, and none as quick as a QRS that is stronger. An early beat, however small,
// has one; a P wave has the QRS or nothing.
func (d *ECGDetector) tWave(q *ecgCand) float64 {
	from, to := q.at+int64(d.p.tFrom*ecgRateHz), q.at+int64(d.p.tTo*ecgRateHz)
	strongest := 0.0
	for i := from; i <= to; i++ {
		strongest = max(strongest, d.level[i&ecgMask])
	}
	after := d.slowRange(from, to)
	if q.slow == 0 || after == 0 {
		return 0
	}
	share := clamp01(d.p.tEqual+math.Log(after/q.slow)) * clamp01(1-math.Log(strongest/q.level)/d.p.tQuick)
	return d.p.tPoints * share * max(math.Log(q.usual/q.level), 0)
}

// behind gives points against a slow wave soon after a quicker one that is like a beat and
// nearly as strong: its T wave.
func (d *ECGDetector) behind(q *ecgCand) float64 {
	most := 0.0
	for i := d.judged - 2; i >= max(d.judged-ecgCands+ecgSpare, 0); i-- {
		o := &d.cands[i%ecgCands]
		gap := float64(q.at-o.at) / ecgRateHz
		if gap >= d.p.backSeconds {
			break
		}
		if o.agreement >= d.p.placeAlike && o.level >= (1-d.p.lessShare)*q.level {
			most = max(most, clamp01((o.quick-q.quick)/d.p.behindQuick-1)*clamp01(d.p.soonSteep*(1-gap/d.p.backSeconds)))
		}
	}
	return d.p.behindPoints * most
}

// alone gives a wave of a proven kind of beat that has no quicker one near the points that it
// has beside that kind instead of the usual beat.
func (d *ECGDetector) alone(q *ecgCand) float64 {
	if q.agreement < d.p.placeAlike || !d.proven(&d.kinds[q.kind]) || d.aside(q) {
		return 0
	}
	return d.p.usualPoints * max(math.Log(q.usual)-d.kinds[q.kind].level, 0)
}

// slowHalf internal samples to either side are the mean that leaves slow waves: 63 ms.
const slowHalf = 9

// slowRange is the range of slow waves over internal samples from to to.
func (d *ECGDetector) slowRange(from, to int64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for k := from; k <= to; k += decideEach {
		sum := 0.0
		for i := k - slowHalf; i <= k+slowHalf; i++ {
			sum += d.sharp[i&ecgMask]
		}
		low, high = min(low, sum), max(high, sum)
	}
	return high - low
}

// ecgRhythm is what the last beats and the waves between them say of the next ones.
type ecgRhythm struct {
	usual  float64 // interval, internal samples
	steady float64 // how little the intervals differ, 0 to 1
	noisy  float64 // how near the waves that were no beats come to the beats, 0 to 1
}

func (d *ECGDetector) rhythm() ecgRhythm {
	r := ecgRhythm{usual: d.usualRR(), noisy: 1}
	if n := int(min(d.nWeak, weakMost)); n > 0 {
		least := d.p.weakShare * d.usual()
		s := d.scratch[:n]
		copy(s, d.weak[:n])
		r.noisy = clamp01(quantileOf(s, d.p.weakRank) / least)
	}
	if n := int(min(d.nRR, history)); n >= steadyLeast {
		s := d.scratch[:n]
		for i, v := range d.rr[:n] {
			s[i] = math.Abs(v - r.usual)
		}
		r.steady = clamp01(1-quantileOf(s, 0.5)/(d.p.steadyShare*r.usual)) * clamp01((d.rr[(d.nRR-1)%history]/r.usual-0.5)/0.3)
	}
	return r
}

// interval gives points for the interval between two beats that follow one another.
func (d *ECGDetector) interval(r *ecgRhythm, o, q *ecgCand) float64 {
	return d.length(r, q.r-o.r, max(r.noisy, clamp01((1-q.level/o.level)/d.p.lessShare)))
}

// length gives points for an interval of so many internal samples. One that is on time in a
// steady rhythm has them; against an early one there are as many more as there is noise that
// it may be, against one in the T wave also if it is the weaker; a late one is likely to hold
// a beat.
func (d *ECGDetector) length(r *ecgRhythm, samples int64, weaker float64) float64 {
	gap := float64(samples)
	if gap < d.p.refractory*ecgRateHz {
		return math.Inf(-1)
	}
	early := (1 - gap/r.usual) / d.p.earlyShare
	timely := r.steady * clamp01(1-math.Abs(early))
	return r.noisy*(d.p.timelyPoints*timely-d.p.earlyPoints*r.steady*clamp01(early)) -
		d.p.soonPoints*weaker*(1-timely)*clamp01(d.p.soonSteep*(1-gap/(d.p.soonSeconds*ecgRateHz))) - d.late(r, samples)
}

func (d *ECGDetector) late(r *ecgRhythm, samples int64) float64 {
	return d.p.latePoints * clamp01((float64(samples)/r.usual-d.p.lateFrom)/d.p.lateShare)
}

// open is the most that an interval may have that lasts for so many samples already.
func (d *ECGDetector) open(r *ecgRhythm, samples int64) float64 {
	return max(d.length(r, max(samples, int64(r.usual)), r.noisy), -d.late(r, samples))
}

// usual is the level of a usual beat.
func (d *ECGDetector) usual() float64 {
	n := int(min(d.nPeaks, history))
	s := d.scratch[:n]
	copy(s, d.peaks[:n])
	return quantileOf(s, 0.5)
}

// usualRR is the median of the last intervals, internal samples.
func (d *ECGDetector) usualRR() float64 {
	n := int(min(d.nRR, history))
	if n == 0 {
		return ecgRateHz
	}
	s := d.scratch[:n]
	copy(s, d.rr[:n])
	return quantileOf(s, 0.5)
}

// quantileOf is the value of v that this share of it is lower than; it rearranges v
// (Hoare's selection).
func quantileOf(v []float64, share float64) float64 {
	k := min(int(share*float64(len(v))), len(v)-1)
	for low, high := 0, len(v)-1; low < high; {
		i, j, pivot := low, high, v[(low+high)/2]
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[k]
}

// take makes a beat of a candidate.
func (d *ECGDetector) take(q *ecgCand, reason string) {
	r := d.learn(q)
	sample := d.front.input(r)
	q.r = int64(math.Round(r))
	if sample <= d.lastSample {
		return
	}
	d.searching = false
	d.peaks[d.nPeaks%history] = q.level
	d.nPeaks++
	if rr := q.r - d.last.r; rr < 3*ecgRateHz {
		d.rr[d.nRR%history] = float64(rr)
		d.nRR++
	}
	d.pair(q, q.r-d.last.r)
	d.last, d.lastSample = *q, sample
	d.tellAt(max(sample, 0), q, true, reason)
	height := d.front.height(r, math.Copysign(1, q.height))
	quality := clamp01(q.agreement) * clamp01(1-q.floor/q.level)
	d.out = append(d.out, Beat{Sample: max(sample, 0), Foot: max(sample, 0), Kind: ECG, Amplitude: height, Quality: quality})
	d.margins = append(d.margins, q.margin)
}

func (d *ECGDetector) tell(q *ecgCand, taken bool, reason string) {
	d.tellAt(d.front.input(q.tip), q, taken, reason)
}

// tellAt explains a candidate by its place, which is a beat's own when it is taken.
func (d *ECGDetector) tellAt(sample int64, q *ecgCand, taken bool, reason string) {
	if d.explain != nil {
		d.explain(Candidate{sample, q.level, d.least(q), q.agreement, q.floor, taken, reason})
	}
}

// least is the level a candidate would have needed, all else alike; 0 while searching.
func (d *ECGDetector) least(q *ecgCand) float64 {
	if d.nPeaks == 0 || d.p.usualPoints == 0 {
		return 0
	}
	return q.level * math.Exp(-q.points/d.p.usualPoints)
}

// seek looks for beats missed, or for the first ones.
func (d *ECGDetector) seek(c int64) {
	if !d.searching && c-d.last.at > int64(d.p.lostSeconds*ecgRateHz) {
		d.searching, d.nextTry = true, c
	}
	if d.searching && c >= d.nextTry {
		d.nextTry = c + ecgRateHz/4
		d.search(c)
	}
}

// search starts or starts anew: it looks for several beats alike that stand out, in
// the last seconds, and for slow ones in more of them.
func (d *ECGDetector) search(c int64) {
	n := len(d.out)
	for _, seconds := range [...]int64{4, 7, 13} {
		if d.searchIn(c, seconds); len(d.out) > n {
			break
		}
	}
}

func (d *ECGDetector) searchIn(c, seconds int64) {
	from := max(c-seconds*ecgRateHz, d.last.at+int64(d.p.backSeconds*ecgRateHz))
	first := max(d.judged-ecgCands+ecgSpare, 0)
	greatest, second := 0.0, 0.0
	for i := first; i < d.judged; i++ {
		if q := &d.cands[i%ecgCands]; q.at >= from && q.fault == "" {
			if q.level > greatest {
				greatest, second = q.level, greatest
			} else {
				second = max(second, q.level)
			}
		}
	}
	least := d.p.startShare * second
	var pick [ecgCands]*ecgCand
	n := 0
	for i := first; i < d.judged; i++ {
		q := &d.cands[i%ecgCands]
		if q.at < from || q.fault != "" || q.step || q.level < least || q.level < d.p.startTimes*q.floor ||
			q.level < d.p.startAround*q.around {
			continue
		}
		if n > 0 {
			gap := float64(q.r-pick[n-1].r) / ecgRateHz
			if gap < d.p.refractory || gap < d.p.backSeconds && q.slope < d.p.startSlope*pick[n-1].slope {
				continue
			}
		}
		if d.front.fault(q.tip) != "" {
			continue
		}
		pick[n] = q
		n++
	}
	if n < 3 {
		return
	}
	support := 0
	for i := range n {
		best := -1.0
		for k := range n {
			var v [shapeLen]float64
			if k != i && normal(&v, &pick[k].shape, 0) {
				r, _ := fit(&pick[i].shape, &v)
				best = max(best, r)
			}
		}
		pick[i].agreement = best
		if best >= 1-d.p.startStray {
			support++
		}
	}
	if support < 3 || 4*support < 3*n {
		return
	}
	d.nPeaks, d.nRR = 0, 0
	n = d.single(pick[:n])
	for _, q := range pick[:n] {
		agreement := q.agreement
		d.match(q)
		q.points = math.Inf(1) // there was no threshold
		q.agreement = max(q.agreement, math.Min(agreement, d.p.startAlike))
		d.take(q, "several alike: start")
	}
}

// single leaves of picks that come in pairs the stronger ones.
func (d *ECGDetector) single(pick []*ecgCand) int {
	d.pairs, d.lastGap = 0, 1<<30
	d.levels[1] = pick[0].level
	d.levels[0] = d.levels[1]
	for i := 1; i < len(pick); i++ {
		d.pair(pick[i], pick[i].r-pick[i-1].r)
	}
	if d.pairs < 2 {
		d.pairs = 0
		return len(pick)
	}
	d.pairs, d.nRR = pairsMost, 0
	n := 0
	for _, q := range pick {
		switch {
		case n == 0 || !d.pairNear(q.r-pick[n-1].r):
			pick[n] = q
			n++
		case q.level > pick[n-1].level:
			pick[n-1] = q
		}
	}
	return n
}

func clamp01(x float64) float64 { return min(max(x, 0), 1) }
