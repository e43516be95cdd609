package beat

import "math"

// gate asks of the last beats: can these be a heart's? It does not look for beats. It
// keeps the input, free of hum, at a low rate, looks at every beat found again, and
// gives the probability that a rate made of them is right. METHOD.md tells it in words.
//
// It knows of a detector nothing but where its beats are and, of an ECG's, by how much each is
// the likelier reading of the signal.
type gate struct {
	// Immutable after newGate.
	p      gateParams
	kind   Kind
	ratio  int // input samples to a work sample
	workHz float64
	taps   []float64
	lag    float64 // input samples from an event to its work sample
	slope  int64   // work samples, as those below
	energy int64
	late   int64 // by which e is later than z
	own    int64
	near   int64
	before int64
	after  int64
	memory int64

	every int64        // of e every so-manieth is listened to
	heard []float64    // newest first
	sums  [][2]float64 // of its first values, and of their squares

	raw []float64 // ring of the input, less the first sample
	z   []float64 // ring: free of hum
	e   []float64 // ring: its slope
	n   int64     // input samples taken
	k   int64     // work samples made
	due int

	first    float64
	waiting  [16]gateBeat
	waitingN int
	beats    [gateBeats]gateBeat // oldest first
	beatsN   int
	from     int // of them the first that is asked
	shapes   [gateBeats][]float64
	like     [gateBeats][gateBeats]float64 // correlation of any two
	meter    rateMeter
	seen     evidence // after the last beat
}

// gateParams are the gate's numbers for one kind of signal, times in seconds. How each
// was chosen, and what is lost without it, stands in METHOD.md.
type gateParams struct {
	meter rateParams

	workHz float64 // the signal is looked at so often a second, up to twice as often
	smooth float64 // a running mean besides those over one period of 50 and of 60 Hz
	slope  float64 // the slope is taken over so long
	energy float64 // and its size averaged over so long; 0: the upward slope as it is
	drift  float64 // of a pulse, the slope over so long to either side is drift
	near   float64 // a beat's height is the greatest slope so near to it
	own    float64 // what is nearer than this to a beat belongs to it
	before float64 // the shape that is compared begins so long before a beat
	after  float64 // and ends so long after it
	memory float64 // so much signal at most is asked for its period,
	// periods at least, so often a second, no steeper than so many beats' height; and it is
	// laid over itself by this share of it at least.
	memoryTimes, listenHz, steepest, overlap float64
	// The level before a beat is that from one share of before on, over another.
	levelFrom, levelOver float64

	beats int // a rate is judged from so many on
	// Of a beat no more counts of the calm before it and of its level, shares of the usual
	// height, and no smaller height, a share of it.
	calmMost, levelMost, heightLeast float64

	between  float64 // a wave between beats counts as this share of them at most: it may be a second one of each
	brothers int     // a beat has to look like so many others of the last gateBeats
	periodic float64 // a correlation one period on that is as good as any greater one
	// The logistic: log odds that the rate is right, by TestGateFit.
	odds [evidences + 1]float64
	// A rate is shown from this probability on.
	show float64
	// A few beats alone are believed from this one on.
	sure float64
	// Two beats in every interval: nearer than pairSeconds, the short interval less than
	// pairShare of the long one or, of an ECG, their heights apart by more than pairHeight, a
	// logarithm, or more like every second one by pairOther; all intervals within pairNear of
	// both. From pairs to pairsMost intervals are looked at.
	pairs, pairsMost                                                    int
	pairSeconds, pairShare, pairHeight, pairNear, pairOther, pairWeaker float64
	// A correlation half a period on from which every other beat may be missing,
	// and the share of that one period on.
	half, halfShare float64
	third           float64 // or a third on, from which two of three
	// Beats that come more unevenly than bluntUneven and have less than the share blunt of
	// their range in one slope are no heart's, unless the beats are surer than bluntSure.
	blunt, bluntUneven, bluntSure float64
	// Nor has a pulse slower than pressBelow, bpm, so little slope, and heights that differ by
	// more than pressHeights, a logarithm, from the one before and from the one before that: presses.
	pressBelow, pressHeights float64
	// Nor has a rhythm of which so many beats have less than the share faint of the usual height,
	// if it is more even than faintUneven.
	faint, faintUneven float64
	faintLeast         int
	// No rhythm is more uneven than erratic, unless its beats are surer than erraticSure.
	erratic, erraticSure float64
	// Nor has so many intervals that are too short, of the last ones.
	broken int
	// A new start takes so many beats.
	few int
	// The period is sought so near to the mean interval.
	periodNear float64
	// Between two pulses a wave is an early beat that was not counted where it comes later than
	// earlyFrom after the first, seconds, rises by the share earlyRise of the lower of the two
	// and to earlyHigh above their feet. Of the intervals no more than the share earlyMost has one.
	earlyFrom, earlyRise, earlyHigh, earlyMost float64
	// Of an ECG it is one in an interval longer than earlyLong, seconds, that comes later than earlyFrom
	// after the first beat and earlyTo at least before the second, has the share earlyHigh of the lower one's
	// slope, and from earlyTFrom to earlyTTo after it a T wave of the share earlyT of its own slope.
	earlyLong, earlyTo, earlyT, earlyTFrom, earlyTTo float64
	// The signal wanders over so long.
	wander float64
	// Logarithms are of so much more, so that none is of nothing.
	least float64
	// Beats less alike than this in the mean are no heart's.
	unlike float64
	// Beats are not shown where a rate would be right with less than this probability.
	hide float64
	// A pulse slower than round, bpm, is less than that the opposite of itself half a
	// period on.
	round, opposite float64
	// The input has two levels where more than levelShare of it is nearer than levelEdge of its
	// range to either end, and levelEdge at each.
	levelEdge, levelShare float64
	// Of the few beats of a new start, blunt ones may come no more unevenly than this.
	fewUneven float64
	// An electrode moves where heights differ by more than moveHeights, a logarithm, the
	// level jumps by more than the share moveLevel of a beat's range, between the beats
	// is more than the share moveCalm of their slope, the beats look less alike than
	// moveAlike and are less sure than moveSure, a logarithm.
	moveHeights, moveLevel, moveCalm, moveAlike, moveSure float64
	// Waves far greater than the beats, whose heights differ by more than besideHeights, a
	// logarithm, in a range of besideRange beats that repeats by less than besidePeriod.
	besideHeights, besideRange, besidePeriod float64
	// The slope between the beats of an ECG is no more than this share of theirs.
	restless float64
	// By how many points the likeliest sequence of beats is ahead counts from
	// marginLeast to marginMost; of beats found at a start it is marginStart.
	marginLeast, marginMost, marginStart float64
}

func defaultGateParams(k Kind) gateParams {
	p := gateParams{meter: defaultRateParams(), workHz: 100, slope: 0.04, energy: 0.08, near: 0.08, own: 0.12, before: 0.24, after: 0.40, memory: 6,
		memoryTimes: 2.5, listenHz: 60, steepest: 2, overlap: 0.25, levelFrom: 0.5, levelOver: 0.25, beats: 3, calmMost: 2, levelMost: 2, heightLeast: 0.01,
		between: 0.5, brothers: 5, periodic: 0.4, show: 0.887, sure: 0.9687, half: 0.45, halfShare: 0.5, hide: 0.12,
		blunt: 0.35, bluntUneven: 0.07, erratic: 0.3, erraticSure: 1.6, broken: 2, few: 5, periodNear: 0.08, wander: 4, least: 0.03, unlike: 0.45, levelEdge: 0.1, levelShare: 0.85,
		moveHeights: 0.125, moveLevel: 0.2, moveCalm: 0.2, moveAlike: 0.93, moveSure: 2.06,
		besideHeights: 0.3, besideRange: 2.3, besidePeriod: 0.3, restless: 0.45,
		bluntSure: 1.95, marginLeast: 0.5, marginMost: 10, marginStart: 5,
		earlyFrom: 0.53, earlyHigh: 0.2, earlyMost: 0.4, earlyLong: 1.1, earlyTo: 0.3, earlyT: 0.25, earlyTFrom: 0.18, earlyTTo: 0.42,
		pairs: 3, pairsMost: 6, pairSeconds: 0.36, pairShare: 0.75, pairHeight: 0.15, pairNear: 0.12, pairOther: 0.1,
		odds: [...]float64{1.36, -1.68, 0, 0, 0, 0, 0, -8.05, 3.93, 0.34, -3.1, -1.78}}
	if k == Pulse {
		p.workHz, p.smooth, p.slope, p.energy, p.near, p.own = 50, 0.1, 0.1, 0, 0.04, 0.15
		p.before, p.after, p.drift, p.opposite, p.round, p.between, p.show, p.sure, p.hide = 0.4, 0.4, 0.5, 0.9, 150, 0.35, 0.86, 0.95, 0.04
		p.blunt, p.bluntUneven, p.fewUneven = 0.55, 0.1, 0.03
		p.pressBelow, p.pressHeights, p.third = 100, 0.25, 0.55
		p.faint, p.faintLeast, p.faintUneven = 0.12, 2, 0.12
		p.earlyFrom, p.earlyRise, p.earlyHigh, p.earlyMost = 0.34, 0.04, 0.1, 0.4
		p.pairSeconds, p.pairShare, p.pairWeaker, p.pairHeight = 0.45, 0.85, 0.48, 0.3
		p.odds = [...]float64{1.762, -3.957, -4.294, 0.191, -5.337, 2.123, 7.730, -7.606, 0, 0, 0, -4.559}
	}
	return p
}

// Evidence that a rate is right, by index.
const (
	evidencePeriod  = iota // the signal's own period is that of the beats, 0 to 1
	evidenceMissed         // share of intervals that are twice the usual, or less than 0.6 of it
	evidenceUnevenP        // how unevenly the beats come, as far as the signal is periodic
	evidenceUnevenQ        // and as far as it is not
	evidenceCalmQ          // how little the signal moves between beats, as far as it is not periodic
	evidenceLevelQ         // how steady the level before the beats is, as far as it is not periodic
	evidenceAlike          // how much the beats look like one another
	evidenceBetween        // the greatest slope between beats against theirs
	evidenceSure           // by how many points the likeliest beats are ahead, as a logarithm; not of a pulse
	evidenceLevel          // how steady the level before the beats is
	evidenceHeights        // how far their heights are from the middle one, as a logarithm
	evidences
)

// evidence is what the last beats show.
type evidence struct {
	beats   int // 0: nothing is known
	odds    [evidences]float64
	half    float64 // correlation half a period on
	part    float64 // or, of an ECG, a third if that is greater
	period  float64 // and a period on
	uneven  float64 // how unevenly the beats come, as a logarithm
	calm    float64 // mean slope between the beats against theirs
	sharp   float64 // slope of the beats over their range
	slow    float64 // slope between the beats over the range of the signal: small where it wanders
	wander  float64 // range of the signal over that of the beats
	alike   float64 // correlation of the shapes
	heights float64 // how far the beats' heights are from the middle one, as a logarithm
	unequal float64 // how far from the one before, or from the one before that where that is less, in the mean
	sure    float64 // by how many points the likeliest sequence of beats is ahead, as a logarithm; of an ECG
	unlevel float64 // by how much the level changes from beat to beat, against their range
	faint   bool    // some of the beats are hardly a wave, though all come evenly
	doubled bool    // a smaller wave follows, or comes before, every beat
	early   bool    // in many intervals is a wave that comes too late to be a second one
}

const (
	gateBeats = 24
	gateLast  = 12 // of which so many are asked: those that the rate is made of
)

// gateBeat is a beat as the gate sees it.
type gateBeat struct {
	at      int64   // work sample
	foot    int64   // of a pulse
	rr      float64 // seconds since the one before, 0 unknown
	height  float64 // greatest slope
	between float64 // greatest slope between it and the beat before
	calm    float64 // mean slope there
	level   float64 // before it, from the shape's mean
	swing   float64 // range of the shape
	rise    float64 // its height in the input, as the detector has it
	early   bool    // an early beat may be between it and the beat before
	margin  float64 // by how many points the likeliest beats with it are ahead of those without; 0 unknown
}

func newGate(kind Kind, rateHz float64, p gateParams) *gate {
	g := &gate{p: p, kind: kind, ratio: max(1, int(rateHz/p.workHz))}
	g.workHz = rateHz / float64(g.ratio)
	// A mean over a whole period of 50 Hz, and of 60, takes out that hum and its harmonics.
	g.taps = []float64{1}
	for _, seconds := range []float64{1.0 / 50, 1.0 / 60, p.smooth} {
		if seconds*rateHz > 1 {
			g.taps = convolve(g.taps, boxOf(seconds*rateHz))
		}
	}
	g.lag = float64(len(g.taps)-1) / 2
	work := func(s float64) int64 { return int64(math.Round(s * g.workHz)) }
	g.slope, g.energy = max(1, work(p.slope)), max(1, work(p.energy))
	g.near, g.own, g.memory = work(p.near), work(p.own), work(p.memory)
	g.before, g.after = work(p.before), work(p.after)
	g.late = (g.slope + g.energy - 1) / 2
	if kind == Pulse {
		g.late = work(p.drift)
	}
	g.every = max(1, int64(g.workHz/p.listenHz))
	g.heard, g.sums = make([]float64, 0, g.memory+1), make([][2]float64, 0, g.memory+2)
	g.raw = make([]float64, pow2(float64(len(g.taps)+1)))
	size := pow2(16 * g.workHz)
	g.z, g.e = make([]float64, size), make([]float64, size)
	g.meter.p = p.meter
	if kind == ECG {
		g.meter.short = p.pairSeconds
	}
	for i := range g.shapes {
		g.shapes[i] = make([]float64, g.before+g.after+1)
	}
	g.reset()
	return g
}

// boxOf is a running mean over n samples, n not whole: the outermost ones count in part.
func boxOf(n float64) []float64 {
	m := int(math.Ceil((n - 1) / 2))
	b := make([]float64, 2*m+1)
	for i := range b {
		b[i] = 1 / n
	}
	if m > 0 {
		edge := (n - float64(2*m-1)) / 2
		b[0], b[2*m] = edge/n, edge/n
	}
	return b
}

// reset forgets everything; samples count from 0 again.
func (g *gate) reset() {
	g.n, g.k, g.due = 0, 0, 0
	g.waitingN, g.beatsN, g.from = 0, 0, 0
	g.meter.reset()
	g.seen = evidence{}
}

// add takes samples of the input.
func (g *gate) add(src []float64) {
	if g.n == 0 && len(src) > 0 {
		g.first = src[0]
		clear(g.raw)
		clear(g.z)
		clear(g.e)
	}
	mask := int64(len(g.raw) - 1)
	for _, x := range src {
		g.raw[g.n&mask] = x - g.first
		g.n++
		if g.due == 0 {
			g.due = g.ratio
			g.work()
		}
		g.due--
	}
}

// work makes one work sample.
func (g *gate) work() {
	rm, zm := int64(len(g.raw)-1), int64(len(g.z)-1)
	v := 0.0
	for i, h := range g.taps {
		v += h * g.raw[(g.n-1-int64(i))&rm]
	}
	g.z[g.k&zm] = v
	d := 0.0
	if g.kind == Pulse { // upward, less that of the second around, which is drift
		at := g.k - g.late + g.slope/2
		d = g.z[at&zm] - g.z[(at-g.slope)&zm]
		d -= (v - g.z[(g.k-2*g.late)&zm]) * float64(g.slope) / float64(2*g.late)
	} else { // either way, averaged
		for i := range g.energy {
			d += math.Abs(g.z[(g.k-i)&zm]-g.z[(g.k-i-g.slope)&zm]) / float64(g.energy)
		}
	}
	g.e[g.k&zm] = d
	g.k++
}

// settle measures the beats whose shape has been heard, and weighs the last ones.
func (g *gate) settle() {
	for g.waitingN > 0 && g.waiting[0].at+max(g.after, g.near+g.late)+2 < g.k {
		b := g.waiting[0]
		copy(g.waiting[:], g.waiting[1:g.waitingN])
		g.waitingN--
		g.measure(b)
		doubled := g.seen.doubled
		g.look()
		if g.kind == ECG && doubled && !g.seen.doubled && g.meter.n > 0 { // what was before is no measure
			g.meter.keep(1)
			g.from = max(0, g.beatsN-2)
			g.look()
		}
		g.anew()
	}
}

// anew forgets what was before when the last few beats alone, evenly spaced, are surely a
// heart's and with those before them are not: an artefact is over.
func (g *gate) anew() {
	few := g.p.few
	if g.probability() >= g.p.show || g.beatsN <= few || g.meter.n < few {
		return
	}
	meter, beats, seen := g.meter, g.beatsN, g.seen
	if _, worst := spread(meter.rr[meter.n-few+1 : meter.n]); worst > g.p.meter.steady {
		return
	}
	g.meter.keep(few - 1)
	g.from = g.beatsN - few
	g.look()
	if g.probability() < g.p.sure || g.seen.sharp < g.p.blunt && g.seen.uneven > g.p.fewUneven {
		g.meter, g.beatsN, g.seen, g.from = meter, beats, seen, 0
	}
}

// beat takes a beat found in the input, how many seconds it came after the one before and,
// of an ECG, its margin; 0 for unknown. It is looked at when its shape has been heard.
func (g *gate) beat(b Beat, rr, margin float64) {
	if g.waitingN == len(g.waiting) {
		copy(g.waiting[:], g.waiting[1:])
		g.waitingN--
	}
	at := func(sample int64) int64 { return int64(math.Round((float64(sample) + g.lag) / float64(g.ratio))) }
	g.waiting[g.waitingN] = gateBeat{at: at(b.Sample), foot: at(b.Foot), rr: rr, rise: math.Abs(b.Amplitude), margin: margin}
	g.waitingN++
}

// measure looks at a beat whose shape has been heard.
func (g *gate) measure(b gateBeat) {
	mask := int64(len(g.z) - 1)
	from, to, sign := b.at-g.near, b.at+g.near, 1.0
	if g.kind == Pulse { // the rise, which may go down
		b.foot = min(b.foot, b.at-1)
		from = b.foot - g.near
		sign = math.Copysign(1, g.z[b.at&mask]-g.z[max(b.foot, 0)&mask])
	}
	for k := max(from, 0); k <= to; k++ {
		if d := sign * g.e[(k+g.late)&mask]; d > b.height {
			b.height = d
			if g.kind == Pulse {
				b.at = k
			}
		}
	}
	g.shift()
	n := g.beatsN
	if n > 0 {
		last := g.beats[n-1].at
		sum := 0.0
		for k := max(last+g.own, g.k-int64(len(g.z))/2); k < b.at-g.own; k++ {
			d := sign * g.e[(k+g.late)&mask]
			b.between = max(b.between, d)
			sum += math.Abs(d)
		}
		b.calm = sum / max(1, float64(b.at-last-2*g.own))
		switch known := b.rr > 0 && b.rr <= 60/g.p.meter.least; {
		case known && g.kind == Pulse:
			b.early = g.earlyBetween(g.beats[n-1], b, sign)
		case known && b.rr > g.p.earlyLong:
			b.early = g.earlyWithT(g.beats[n-1], b)
		}
	}
	s := g.shapes[n]
	lo, hi := math.Inf(1), math.Inf(-1)
	begin, over := int64(g.p.levelFrom*float64(g.before)), int64(g.p.levelOver*float64(g.before))
	for i := range s {
		k := max(0, b.at-g.before+int64(i))
		s[i] = g.z[k&mask]
		if g.kind == Pulse { // its drift is less of a slope
			s[i] = sign * g.e[(k+g.late)&mask]
		}
		lo, hi = min(lo, s[i]), max(hi, s[i])
		if i := int64(i); i >= begin && i < begin+over {
			b.level += s[i] / float64(over)
		}
	}
	b.swing = hi - lo
	level(s)
	normalize(s)
	for i := range n {
		like := 0.0
		for j, v := range g.shapes[i] {
			like += v * s[j]
		}
		g.like[i][n] = like
		g.like[n][i] = g.like[i][n]
	}
	g.beats[n] = b
	g.beatsN++
	switch {
	case b.rr > 60/g.p.meter.least:
		g.meter.reset()
	case b.rr > 0 && n > 0:
		g.meter.add(b.rr, b.between/min(b.height, g.beats[n-1].height))
	}
}

// normalize makes the sum of squares 1, so that the sum of products of two such shapes
// of mean 0 is their correlation.
func normalize(v []float64) {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	if sum > 0 {
		scale := 1 / math.Sqrt(sum)
		for i := range v {
			v[i] *= scale
		}
	}
}

// shift makes room for a beat.
func (g *gate) shift() {
	if g.beatsN < gateBeats {
		return
	}
	copy(g.beats[:], g.beats[1:])
	first := g.shapes[0]
	copy(g.shapes[:], g.shapes[1:])
	g.shapes[gateBeats-1] = first
	for i := range gateBeats - 1 {
		copy(g.like[i][:], g.like[i+1][1:])
	}
	g.beatsN--
	g.from = max(0, g.from-1)
}

// listen copies the slope of the last work samples for repeats, every so-manieth of them,
// since it is smooth; what is steeper than most counts as that.
func (g *gate) listen(most float64, over int64) {
	mask := int64(len(g.e) - 1)
	n := int(min(over, g.k) / g.every)
	g.heard, g.sums = g.heard[:0], append(g.sums[:0], [2]float64{})
	var sum [2]float64
	for i := range n {
		v := max(-most, min(g.e[(g.k-1-int64(i)*g.every)&mask], most))
		sum[0] += v
		sum[1] += v * v
		g.heard, g.sums = append(g.heard, v), append(g.sums, sum)
	}
}

// repeats is the greatest correlation of what was listened to with itself at lags near
// one, in work samples.
func (g *gate) repeats(lag float64) float64 {
	best, n := -1.0, len(g.heard)
	least := int(g.p.overlap * float64(n))
	lag /= float64(g.every)
	for l := max(1, int(math.Round(lag*(1-g.p.periodNear)))); l <= int(math.Round(lag*(1+g.p.periodNear))); l++ {
		m := n - l
		if m < least {
			break
		}
		ab := 0.0
		for i, b := range g.heard[l:] {
			ab += g.heard[i] * b
		}
		c := float64(m)
		sa, aa := g.sums[m][0], g.sums[m][1]
		sb, bb := g.sums[n][0]-g.sums[l][0], g.sums[n][1]-g.sums[l][1]
		if va, vb := aa-sa*sa/c, bb-sb*sb/c; va > 0 && vb > 0 {
			best = max(best, (ab-sa*sb/c)/math.Sqrt(va*vb))
		}
	}
	return best
}

// look weighs the last beats.
func (g *gate) look() {
	g.seen = evidence{}
	s := &g.seen
	from := max(g.from, g.beatsN-gateLast)
	last := g.beats[from:g.beatsN]
	n := float64(len(last))
	rate, intervals := g.meter.bpm()
	if len(last) < g.p.beats || intervals == 0 {
		return
	}
	var heights, swings [gateLast]float64
	sure, known := math.Log(g.p.marginStart), 1.0 // beats of a start have none
	for i, b := range last {
		heights[i], swings[i] = b.height, b.swing
		s.alike += g.brother(from+i) / n
		if b.margin != 0 {
			sure += math.Log(max(g.p.marginLeast, min(g.p.marginMost, b.margin)))
			known++
		}
	}
	height, swing := medianOf(heights[:len(last)]), medianOf(swings[:len(last)])
	if !(height > 0 && swing > 0) {
		return
	}
	calm, between, one, two := 0.0, 0.0, 0.0, 0.0
	for i, b := range last {
		between += min(g.p.between, b.between/height) / n
		calm += min(g.p.calmMost, b.calm/height) / n
		heights[i] = math.Log(max(b.height/height, g.p.heightLeast))
		s.heights += math.Abs(heights[i]) / n
		if i > 1 {
			one += math.Abs(heights[i]-heights[i-1]) / (n - 2)
			two += math.Abs(heights[i]-heights[i-2]) / (n - 2)
		}
		if i > 0 {
			s.unlevel += min(g.p.levelMost, math.Abs(b.level-last[i-1].level)/swing) / n
		}
	}
	s.beats = len(last)
	s.sure = sure / known
	s.unequal = min(one, two)
	lag := 60 / rate * g.workHz
	over := min(g.memory, max(int64(g.p.memoryTimes*lag), int64(g.meter.sum()*g.workHz)))
	g.listen(g.p.steepest*height, over)
	s.period, s.half = g.repeats(lag), g.repeats(lag/2)
	s.part = s.half
	if third := g.repeats(lag / 3); third >= g.p.third {
		s.part = max(s.part, third)
	}
	s.uneven = g.meter.unsteady()
	lo, hi := g.span(g.p.wander)
	s.wander = (hi - lo) / swing
	s.calm = calm
	s.sharp = height / swing
	s.slow = calm / max(s.wander, 1e-9)
	s.doubled = g.doubled(from)
	s.early = g.earlyMany(last)
	s.faint = g.kind == Pulse && s.uneven < g.p.faintUneven && g.faint(last)
	p := unitClamp(s.period / g.p.periodic)
	s.odds = [evidences]float64{
		evidencePeriod:  p,
		evidenceMissed:  g.meter.missed(),
		evidenceUnevenP: p * s.uneven,
		evidenceUnevenQ: (1 - p) * s.uneven,
		evidenceCalmQ:   (1 - p) * -math.Log(g.p.least+calm),
		evidenceLevelQ:  (1 - p) * -math.Log(g.p.least+s.unlevel),
		evidenceAlike:   s.alike,
		evidenceBetween: between,
		evidenceSure:    s.sure,
		evidenceLevel:   -math.Log(g.p.least + s.unlevel),
		evidenceHeights: s.heights,
	}
}

// span is the range of the last seconds.
func (g *gate) span(seconds float64) (lo, hi float64) {
	mask := int64(len(g.z) - 1)
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := int64(1); i <= min(g.k, int64(seconds*g.workHz)); i++ {
		v := g.z[(g.k-i)&mask]
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

// brother is the correlation of a beat's shape with the so-manieth most like it, so that
// beats of several kinds each find their own.
func (g *gate) brother(i int) float64 {
	var v [gateBeats]float64
	n := 0
	for j := range g.beatsN {
		if j != i {
			v[n] = g.like[i][j]
			n++
		}
	}
	k := min(g.p.brothers, n)
	for a := range k { // the greatest k, in order
		for b := a + 1; b < n; b++ {
			if v[b] > v[a] {
				v[a], v[b] = v[b], v[a]
			}
		}
	}
	return v[k-1]
}

// doubled tells that in every interval of a heart stand two beats, as when P or T waves
// are counted: one interval shorter than early beats come, the next one longer or of other
// waves, in turn, as far back as a few intervals are known.
func (g *gate) doubled(from int) bool {
	from = max(from, g.beatsN-1-g.p.pairsMost)
	last := g.beats[from:g.beatsN]
	if len(last) <= g.p.pairs {
		return false
	}
	other := 0.0 // by how much beats are less like the one before than the one before that
	for i := from + 2; i < g.beatsN; i++ {
		other += (g.like[i][i-2] - g.like[i][i-1]) / float64(len(last)-2)
	}
	var rr, height, n [2]float64
	for i, b := range last[1:] {
		if b.rr == 0 {
			return false
		}
		rr[i%2] += b.rr
		height[i%2] += math.Log(max(b.height, 1e-300))
		n[i%2]++
	}
	for s := range rr {
		rr[s], height[s] = rr[s]/n[s], height[s]/n[s]
	}
	for i, b := range last[1:] {
		if math.Abs(b.rr-rr[i%2]) > g.p.pairNear*(rr[0]+rr[1]) {
			return false
		}
	}
	short, long := min(rr[0], rr[1]), max(rr[0], rr[1])
	uneven := short < g.p.pairShare*long
	if g.kind == Pulse { // strong and weak in turn, and evenly, is a heart
		weak := 0 // those after the short interval
		if rr[1] < rr[0] {
			weak = 1
		}
		return uneven && (short < g.p.pairSeconds || short < g.p.pairWeaker && height[1-weak]-height[weak] > g.p.pairHeight)
	}
	if short >= g.p.pairSeconds {
		return false
	}
	return uneven || math.Abs(height[0]-height[1]) > g.p.pairHeight || other > g.p.pairOther
}

// probability that the rate is right, 0 to 1.
func (g *gate) probability() float64 {
	if g.seen.beats == 0 {
		return 0
	}
	z := g.p.odds[evidences]
	for i, x := range g.seen.odds {
		z += g.p.odds[i] * x
	}
	return 1 / (1 + math.Exp(-z))
}

// swings tells that the signal swings to and fro, half a period on the very opposite of
// itself, as a lamp's light that beats against the sample rate does. A fast pulse is as
// round.
func (g *gate) swings() bool {
	rate, _ := g.meter.bpm()
	return g.kind == Pulse && rate < g.p.round && g.seen.beats > 0 && g.seen.half < -g.p.opposite
}

// switches tells that the input jumps to and fro between two levels: a loose wire, or light
// switched.
func (g *gate) switches() bool {
	lo, hi := g.span(g.p.memory)
	edge, top, bottom, n := g.p.levelEdge*(hi-lo), 0.0, 0.0, 0.0
	mask := int64(len(g.z) - 1)
	for i := int64(1); i <= min(g.k, g.memory); i++ {
		v := g.z[(g.k-i)&mask]
		if v > hi-edge {
			top++
		} else if v < lo+edge {
			bottom++
		}
		n++
	}
	return min(top, bottom) > g.p.levelEdge*n && top+bottom > g.p.levelShare*n
}

// blunt tells that the waves are slow and come unevenly: presses.
func (g *gate) blunt() bool {
	s := &g.seen
	return s.beats > 0 && s.uneven > g.p.bluntUneven && s.sharp < g.p.blunt && s.sure < g.p.bluntSure
}

// presses tells that the waves of a pulse, slow as they come, fall as steeply as they rise and
// differ in height. A fast pulse is as round, and one of alternating height is not meant.
func (g *gate) presses() bool {
	s := &g.seen
	rate, _ := g.meter.bpm()
	return g.kind == Pulse && s.beats > 0 && rate < g.p.pressBelow && s.sharp < g.p.blunt && s.unequal > g.p.pressHeights
}

// faint tells that several beats between others are hardly a wave: looked for where one was
// due. Where all are from one on, the gain was turned down.
func (g *gate) faint(last []gateBeat) bool {
	var rises [gateLast]float64
	for i, b := range last {
		rises[i] = b.rise
	}
	usual, n := medianOf(rises[:len(last)]), 0
	for i, b := range last[1:] {
		if last[i].rise < g.p.faint*usual && b.rise >= g.p.faint*usual {
			n++
		}
	}
	return n >= g.p.faintLeast
}

// earlyMany tells that many of the intervals hold an early beat that was not counted.
func (g *gate) earlyMany(last []gateBeat) bool {
	n := 0.0
	for _, b := range last[1:] {
		if b.early {
			n++
		}
	}
	return n > g.p.earlyMost*float64(len(last)-1)
}

// earlyBetween tells that between two pulses stands a weaker one that is not the second wave of the
// first: it rises later than that can, and above the level from which both pulses rise.
func (g *gate) earlyBetween(a, b gateBeat, sign float64) bool {
	mask := int64(len(g.z) - 1)
	at := func(k int64) float64 { return sign * g.z[k&mask] }
	lowest := func(foot int64) int64 { // before a rise, that its smoothing has not yet lifted
		for range g.own {
			if foot > 0 && at(foot-1) < at(foot) {
				foot--
			}
		}
		return foot
	}
	first, last := lowest(max(a.foot, 0)), lowest(b.foot)
	low, usual := (at(last)-at(first))/float64(last-first), min(a.rise, b.rise)
	k := a.at + int64(math.Round(g.p.earlyFrom*g.workHz))
	steady, gained := max(0, at(k)-at(k-1)), 0.0 // what already rises may go on so
	for ; k < last; k++ {
		rise := at(k+1) - at(k)
		if rise > 0 {
			gained += max(0, rise-steady)
			continue
		}
		if gained >= g.p.earlyRise*usual && at(k)-at(first)-low*float64(k-first) >= g.p.earlyHigh*usual {
			return true
		}
		steady, gained = 0, 0
	}
	return false
}

// earlyWithT tells that between two beats of an ECG stands a wave too late to be the T wave of the
// first that has a T wave of its own: an early beat. A P wave that no QRS follows has none.
func (g *gate) earlyWithT(a, b gateBeat) bool {
	mask := int64(len(g.e) - 1)
	after := func(at int64, seconds float64) int64 { return at + int64(seconds*g.workHz) }
	end := after(b.at, -g.p.earlyTo)
	steepest := func(from, to int64) (at int64, slope float64) {
		for k := from; k < min(to, end); k++ {
			if v := g.e[(k+g.late)&mask]; v > slope {
				at, slope = k, v
			}
		}
		return at, slope
	}
	at, slope := steepest(after(a.at, g.p.earlyFrom), end)
	if slope < g.p.earlyHigh*min(a.height, b.height) {
		return false
	}
	_, t := steepest(after(at, g.p.earlyTFrom), after(at, g.p.earlyTTo))
	return t >= g.p.earlyT*slope
}

// moves tells of an electrode that moves, even where it keeps time: its waves differ in
// height and stand on levels of their own, they do not look like one another, and it does
// not rest between them. Each of these a heart may do.
func (g *gate) moves() bool {
	s := &g.seen
	return g.kind == ECG && s.heights > g.p.moveHeights && s.unlevel > g.p.moveLevel && s.calm > g.p.moveCalm && s.alike < g.p.moveAlike && s.sure < g.p.moveSure
}

// beside tells that far greater waves come beside the beats, which do not repeat: P waves
// that no QRS follows, counted.
func (g *gate) beside() bool {
	s := &g.seen
	return g.kind == ECG && s.heights > g.p.besideHeights && s.wander > g.p.besideRange && s.period < g.p.besidePeriod
}

// restless tells that the signal moves between the beats nearly as it does in them.
func (g *gate) restless() bool { return g.kind == ECG && g.seen.calm > g.p.restless }

// unlike tells that the waves do not look like one another.
func (g *gate) unlike() bool { return g.seen.beats > 0 && g.seen.alike < g.p.unlike }

// erratic tells that the intervals differ more than a rhythm's, and the beats are not sure.
func (g *gate) erratic() bool {
	return g.seen.uneven > g.p.erratic && g.seen.sure < g.p.erraticSure
}

// refuses tells that the beats are no heart's, whatever their probability: what the
// records teach too little of.
func (g *gate) refuses() bool {
	return g.halved() || g.seen.doubled || g.swings() || g.switches() || g.blunt() || g.presses() || g.seen.faint || g.seen.early || g.meter.broken() >= g.p.broken || g.moves() || g.beside() || g.restless() || g.unlike() || g.erratic()
}

// halved tells that the signal repeats within an interval nearly as well as after it: every
// other beat may be missing, or two of three.
func (g *gate) halved() bool {
	return g.seen.part >= g.p.half && g.seen.part >= g.p.halfShare*g.seen.period
}
