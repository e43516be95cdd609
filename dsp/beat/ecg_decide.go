package beat

import (
	"math"
)

const reasonTaken = "above the threshold"

// judge decides on a candidate when what follows it for aheadSeconds is known.
func (d *ECGDetector) judge(q *ecgCand, c int64) {
	d.measure(q, c)
	if d.nPeaks == 0 {
		return
	}
	d.match(q)
	if r := d.refuse(q); r != "" {
		d.tell(q, false, r)
		return
	}
	d.take(q, reasonTaken)
}

func (d *ECGDetector) refuse(q *ecgCand) string {
	gap := float64(q.r-d.last.r) / ecgRateHz
	q.points = d.weigh(q, gap)
	switch {
	case q.fault != "":
		return q.fault
	case q.step && q.agreement < d.p.stepAlike:
		return "a step: the level does not come back"
	case gap < d.p.refractory:
		return "too soon after a beat"
	case d.paired() && (q.r-d.last.r <= d.wait() && q.level < d.last.level || q.level < q.follows):
		if q.points >= -d.p.earlyPoints { // but for being early, a beat
			d.pairs = pairsMost
		}
		return "the weaker of two in every interval"
	case q.level < d.p.aheadShare*q.follows:
		return "a stronger one follows"
	case q.points < 0:
		return "below the threshold"
	}
	return d.front.fault(q.tip)
}

// pairsLeast pairs in a row are the rule; after pairsMost less that number of intervals
// without a second wave they are no more.
const pairsLeast, pairsMost = 3, 6

// paired says whether every interval holds a second wave that passes for a beat, at the
// same distance: a P or T wave.
func (d *ECGDetector) paired() bool { return d.pairs >= pairsLeast }

// wait is how long after its maximum a candidate is judged, internal samples: so long
// that the other of a pair is known.
func (d *ECGDetector) wait() int64 {
	if d.paired() {
		return max(d.ahead, d.pairGap+int64(d.p.pairNear*ecgRateHz))
	}
	return d.ahead
}

// pair looks for pairs at each beat, gap after the one before: a short interval and a
// long one in turn, or a weak beat and a strong one.
func (d *ECGDetector) pair(q *ecgCand, gap int64) {
	limit, near := int64(d.p.pairSeconds*ecgRateHz), int64(d.p.pairNear*ecgRateHz)
	a, b, c := d.levels[0], d.levels[1], q.level
	turns := b < d.p.pairTurns*min(a, c) || d.p.pairTurns*b > max(a, c)
	switch short := gap < limit; {
	case short && (float64(gap) < d.p.pairShort*float64(d.lastGap) || turns):
		if far := gap - d.pairGap; (far < -near || far > near) && !turns {
			d.pairs = 0
		}
		d.pairGap = gap
		if d.pairs++; d.pairs == pairsLeast {
			// The weak ones are no measure.
			d.pairs, d.nRR, d.nPeaks, d.peaks[0] = pairsMost, 0, 1, max(b, c)
		}
	case short:
		d.pairs = 0
	case d.lastGap >= limit:
		d.pairs = max(d.pairs-1, 0)
	}
	d.lastGap, d.levels[0], d.levels[1] = gap, b, c
}

// weigh gives points for and against a candidate gap seconds after the last beat.
func (d *ECGDetector) weigh(q *ecgCand, gap float64) float64 {
	return d.p.bias + d.p.usualPoints*math.Log(q.level/d.usual()) +
		d.p.aroundPoints*math.Log(q.level/q.around) +
		d.p.floorPoints*math.Log(q.level/max(q.floor, d.p.floorLeast*d.usual())) -
		d.p.strayPoints*clamp01(1-q.agreement) -
		d.p.soonPoints*clamp01(d.p.soonSteep*(1-gap/d.p.soonSeconds)) +
		d.rhythm(gap*ecgRateHz)
}

// rhythm gives points for a candidate so many internal samples after the last beat that
// comes when a steady rhythm has one, and against an early one.
func (d *ECGDetector) rhythm(gap float64) float64 {
	if d.nRR < history {
		return 0
	}
	usual := d.usualRR()
	s := d.scratch[:history]
	for i, r := range d.rr {
		s[i] = math.Abs(r - usual)
	}
	steady := clamp01(1 - quantileOf(s, 0.5)/(d.p.steadyShare*usual))
	steady *= clamp01((d.rr[(d.nRR-1)%history]/usual - 0.5) / 0.3)
	early := (1 - gap/usual) / d.p.earlyShare
	return steady * (d.p.timelyPoints*clamp01(1-math.Abs(early)) - d.p.earlyPoints*clamp01(early))
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
	q.taken = true
	d.searching = false
	d.peaks[d.nPeaks%history] = q.level
	d.nPeaks++
	if rr := q.r - d.last.r; rr < 3*ecgRateHz {
		d.rr[d.nRR%history] = float64(rr)
		d.nRR++
	}
	d.pair(q, q.r-d.last.r)
	d.last, d.lastSample, d.looked = *q, sample, -1
	d.standing += (min(q.points, d.p.startPoints) - d.standing) / history
	if d.standing < d.p.lostPoints {
		d.searching, d.nextTry, d.nPeaks = true, d.j+ecgRateHz, 0
	}
	d.tellAt(max(sample, 0), q, true, reason)
	height := d.front.height(r, math.Copysign(1, q.height))
	quality := clamp01(q.agreement) * clamp01(1-q.floor/q.level)
	d.out = append(d.out, Beat{Sample: max(sample, 0), Foot: max(sample, 0), Kind: ECG, Amplitude: height, Quality: quality})
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
	} else if !d.searching && d.looked != d.judged {
		d.lookBack(c)
	}
}

// lookBack takes a candidate refused before when the beat is overdue.
func (d *ECGDetector) lookBack(c int64) {
	if float64(c-d.ahead-d.last.at) < d.p.backTimes*d.usualRR() {
		return
	}
	d.looked = d.judged
	var best *ecgCand
	for i := d.judged - 1; i >= max(d.judged-ecgCands/2, 0); i-- {
		q := &d.cands[i%ecgCands]
		if float64(q.r-d.last.r) < d.p.backSeconds*ecgRateHz {
			break // older ones are sooner still
		}
		if q.taken || q.fault != "" || q.step && q.agreement < d.p.stepAlike || q.level < d.p.aheadShare*q.follows || q.points < -d.p.backPoints {
			continue
		}
		if best == nil || q.points > best.points {
			best = q
		}
	}
	if best != nil && d.front.fault(best.tip) == "" {
		d.take(best, "found looking back")
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
			q.level < d.p.startAround*q.around || q.level < d.p.aheadShare*q.follows {
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
	d.standing = d.p.startPoints
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
		case n == 0 || q.r-pick[n-1].r > d.wait():
			pick[n] = q
			n++
		case q.level > pick[n-1].level:
			pick[n-1] = q
		}
	}
	return n
}

func clamp01(x float64) float64 { return min(max(x, 0), 1) }
