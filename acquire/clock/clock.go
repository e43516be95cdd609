// Package clock measures the true sample rate of a source from how many samples
// had come by when.
//
// A sample reaches the computer some delay after it was taken: bridges hold
// bytes up to 16 ms, drivers deliver 4 KB lumps, schedulers are late. Delays are
// never below a floor, so the earliest arrivals, the lower envelope of arrival
// time over sample count, keep the true slope, as in the estimation of clock
// skew from one-way delays (Paxson 1998; Moon, Skelly and Towsley 1999). Here
// the last 120 s are cut into up to 24 pieces, the point nearest the envelope
// is taken from each, and the slope is the median of the slopes of all pairs
// (Theil 1950; Sen 1968), which bears a quarter of the pieces being late. Sen's
// order statistics give its 95 % interval, to which the period of one sample over the
// span is added: for a timer that beats with the sampling, delays are not
// independent, but move by a sample at most.
//
// Rates are in hertz, time is that of the arrivals given; nothing here asks the
// time. An Estimator is not safe for concurrent use.
package clock

import (
	"fmt"
	"math"
	"slices"
	"time"
)

const (
	windowSeconds = 120.0
	bucketSeconds = 0.25
	maxBuckets    = int(windowSeconds/bucketSeconds) + 2
	maxPieces     = 24
	hullPoints    = 12

	// firstSeconds is the least span for a rough rate.
	firstSeconds = 1.5
	// pauseSeconds without the samples for it is a hole of unknown size.
	pauseSeconds = 3.0
	// warnSeconds is the least span for a warning.
	warnSeconds = 10.0
	// settleSeconds is the least time between changes of the used rate once it is good.
	settleSeconds = 10.0
	// goodShare is the relative uncertainty at which a measurement replaces a claim.
	goodShare = 1e-3
	// roughShare is the relative uncertainty at which a first rate is used.
	roughShare = 0.7
	// warnShare is the relative difference that warns.
	warnShare = 0.01
	// claimShare is how far a claimed rate may be off, as far as Taken knows: ceramic
	// resonators and divided timers stay within 3 %.
	claimShare = 0.03
	// leastShare bounds what a measured rate is trusted to.
	leastShare = 1e-4
)

// Estimate is the state of a measurement.
type Estimate struct {
	// ClaimedHz is what the source claims, 0 for nothing.
	ClaimedHz float64 `json:"claimedHz"`
	// BoardHz is the rate by the board's own clock, 0 when it sends none.
	BoardHz float64 `json:"boardHz"`
	// MeasuredHz is the rate by this computer's clock, 0 until Ready.
	MeasuredHz float64 `json:"measuredHz"`
	// UncertaintyHz: the true rate lies within MeasuredHz ± UncertaintyHz in at
	// least 95 of 100 cases, this computer's own clock taken as true.
	UncertaintyHz float64 `json:"uncertaintyHz"`
	// UsedHz is the rate to use. It is the claimed one (else the board's, else
	// the first measured) until the measurement is known to 0.1 % and differs,
	// and changes rarely from then on. 0 when there is nothing yet.
	UsedHz float64 `json:"usedHz"`
	// Ready tells that there is a measurement.
	Ready bool `json:"ready"`
	// Warning is a sentence when the measured rate differs from the claimed one by
	// more than 1 % beyond the uncertainty, else empty.
	Warning string `json:"warning"`
	// Steadiness is how evenly the samples come now.
	Steadiness
}

type point struct {
	samples float64 // since the origin
	seconds float64
}

// bucket is the lower convex hull of the points of a quarter of a second.
type bucket struct {
	slot int64
	n    int
	hull [hullPoints]point
}

func (b *bucket) add(p point) {
	// Andrew's monotone chain; samples rise.
	for b.n >= 2 {
		u, v := b.hull[b.n-2], b.hull[b.n-1]
		if (v.seconds-u.seconds)*(p.samples-u.samples) < (p.seconds-u.seconds)*(v.samples-u.samples) {
			break
		}
		b.n--
	}
	if b.n == hullPoints {
		// Full: the second point is the least telling.
		copy(b.hull[1:], b.hull[2:])
		b.n--
	}
	b.hull[b.n] = p
	b.n++
}

// earliest is the point with the least delay for a sample period.
func (b *bucket) earliest(period float64) (best point, delay float64) {
	delay = math.Inf(1)
	for _, p := range b.hull[:b.n] {
		if d := p.seconds - p.samples*period; d < delay {
			best, delay = p, d
		}
	}
	return best, delay
}

// Estimator measures one source. Its memory is bounded.
type Estimator struct {
	claimed float64

	started bool
	origin  time.Time
	originN int64
	lastN   int64
	last    float64 // seconds since origin
	gap     float64 // longest time between two arrivals
	done    float64 // when measure ran last
	buckets []bucket
	points  []point
	slopes  []float64

	measured, uncertainty, span float64
	warning                     string
	kept                        bool // measured is from before a Reset

	used, usedUncertainty float64
	usedMeasured          bool
	sinceUsed             float64 // seconds of arrivals since used changed

	boardStarted        bool
	boardN0, boardN     int64
	boardFrom, boardEnd float64
	board               float64

	steady steady
	moved  int64 // see MovedAt
}

// New makes an Estimator for a source that claims claimedHz, or 0 for nothing.
func New(claimedHz float64) *Estimator {
	if !(claimedHz > 0) || math.IsInf(claimedHz, 0) {
		claimedHz = 0
	}
	return &Estimator{claimed: claimedHz, used: claimedHz,
		buckets: make([]bucket, 0, maxBuckets), points: make([]point, 0, maxPieces),
		slopes: make([]float64, 0, maxPieces*(maxPieces-1)/2), steady: newSteady()}
}

// Reset starts the measurement anew, for a gap of unknown length. The rate is
// kept until the new measurement is as good.
func (e *Estimator) Reset() {
	e.started = false
	e.buckets = e.buckets[:0]
	e.kept = e.measured > 0
	e.boardStarted = false
	e.steady.reset()
}

// Observe notes that samples, counted since the source was opened and those
// known lost included, had come by at. Times with a monotonic reading are
// compared by it. A count or a time that goes back, and a pause of over 3 s without the
// samples for it (the computer slept, a wall clock was set), act as Reset.
func (e *Estimator) Observe(samples int64, at time.Time) {
	if !e.started {
		e.begin(samples, at)
		return
	}
	t := at.Sub(e.origin).Seconds()
	dt, dn := t-e.last, samples-e.lastN
	if dn == 0 && dt >= 0 {
		return
	}
	if dn < 0 || dt < -0.001 || e.pause(dt, dn) {
		e.Reset()
		e.begin(samples, at)
		return
	}
	e.steady.arrived(burst{t, max(0, dt), e.lastN, samples}, e.used)
	e.add(samples, max(t, e.last))
	if e.last-e.done >= 0.5 {
		e.sinceUsed += e.last - e.done
		e.done = e.last
		e.measure()
		e.choose()
		e.watch()
		e.warn()
	}
}

func (e *Estimator) begin(samples int64, at time.Time) {
	e.started, e.origin, e.originN = true, at, samples
	e.last, e.gap, e.done, e.span = 0, 0, 0, 0
	e.lastN = samples
	e.add(samples, 0)
}

// pause tells whether dn samples are far too few for dt seconds.
func (e *Estimator) pause(dt float64, dn int64) bool {
	rate := e.used
	if e.measured > 0 {
		rate = e.measured
	}
	return dt > pauseSeconds && rate > 0 && float64(dn) < rate*(dt-pauseSeconds/2)
}

func (e *Estimator) add(samples int64, t float64) {
	e.gap = max(e.gap, t-e.last)
	e.last, e.lastN = t, samples
	slot := int64(t / bucketSeconds)
	if n := len(e.buckets); n == 0 || e.buckets[n-1].slot != slot {
		old := 0
		for old < n && (slot-e.buckets[old].slot > int64(windowSeconds/bucketSeconds) || n-old >= maxBuckets) {
			old++
		}
		if old > 0 {
			e.buckets = e.buckets[:copy(e.buckets, e.buckets[old:])]
		}
		e.buckets = append(e.buckets, bucket{slot: slot})
	}
	e.buckets[len(e.buckets)-1].add(point{float64(samples - e.originN), t})
}

// measure fits the envelope of what is in the window.
func (e *Estimator) measure() {
	first, last := e.buckets[0].hull[0], e.buckets[len(e.buckets)-1]
	end := last.hull[last.n-1]
	span := end.seconds - first.seconds
	if span < firstSeconds || end.samples <= first.samples {
		return
	}
	period := span / (end.samples - first.samples)
	var half float64
	for range 3 {
		e.pick(period, first.seconds, span)
		var ok bool
		if period, half, ok = e.fit(); !ok {
			return
		}
	}
	rate := 1 / period
	uncertainty := rate * (half/period + period/span)
	if e.kept && uncertainty > max(2*e.uncertainty, 2*goodShare*rate) {
		return // the rate from before the gap is better
	}
	e.kept = false
	e.measured, e.uncertainty, e.span = rate, uncertainty, span
}

// pick takes the earliest point of each piece.
func (e *Estimator) pick(period, from, span float64) {
	e.points = e.points[:0]
	piece, best := -1, math.Inf(1)
	for i := range e.buckets {
		b := &e.buckets[i]
		p, delay := b.earliest(period)
		k := min(maxPieces-1, int((p.seconds-from)/span*maxPieces))
		switch {
		case k != piece:
			e.points = append(e.points, p)
			piece, best = k, delay
		case delay < best:
			e.points[len(e.points)-1] = p
			best = delay
		}
	}
}

// fit returns the median slope, in seconds per sample, and half its 95 % interval.
func (e *Estimator) fit() (period, half float64, ok bool) {
	n := len(e.points)
	e.slopes = e.slopes[:0]
	for i, p := range e.points {
		for _, q := range e.points[i+1:] {
			if q.samples > p.samples {
				e.slopes = append(e.slopes, (q.seconds-p.seconds)/(q.samples-p.samples))
			}
		}
	}
	m := len(e.slopes)
	if m == 0 {
		return 0, 0, false
	}
	slices.Sort(e.slopes)
	period = (e.slopes[(m-1)/2] + e.slopes[m/2]) / 2
	if !(period > 0) {
		return 0, 0, false
	}
	if n < 6 {
		// Too few for the interval: a lump more or less.
		first, last := e.points[0], e.points[n-1]
		return period, max(e.slopes[m-1]-period, period-e.slopes[0], e.gap/(last.samples-first.samples)), true
	}
	// Sen 1968: Kendall's statistic has variance n(n−1)(2n+5)/18.
	c := 1.96 * math.Sqrt(float64(n*(n-1)*(2*n+5))/18)
	low := int(math.Floor((float64(m) - c) / 2))
	high := int(math.Ceil((float64(m) + c) / 2))
	low, high = max(0, low-1), min(m-1, high)
	return period, max(e.slopes[high]-period, period-e.slopes[low]), true
}

// choose decides on the used rate.
func (e *Estimator) choose() {
	if e.measured == 0 || e.kept {
		return
	}
	off := math.Abs(e.measured - e.used)
	good := e.uncertainty <= goodShare*e.measured
	var change bool
	switch {
	case e.used == 0:
		// Rough will do, but not any number: the first lumps can mislead.
		change = e.uncertainty <= roughShare*e.measured || e.span >= 5
	case !e.usedMeasured:
		// A claim stands until it is proved wrong.
		change = good && off > e.uncertainty || e.span >= warnSeconds && off > warnShare*e.used+e.uncertainty
	case e.uncertainty <= e.usedUncertainty/2:
		// Much better known now. A rough rate is mended as soon as can be.
		change = e.sinceUsed >= settleSeconds || e.usedUncertainty > goodShare*e.measured
	case e.usedUncertainty > 0.05*e.measured && off > 0.02*e.used && e.uncertainty < e.usedUncertainty*0.95:
		// So rough that any better one will do.
		change = true
	default:
		// The board's clock has moved.
		change = e.sinceUsed >= settleSeconds && good && off > e.uncertainty
	}
	if change {
		e.used, e.usedUncertainty, e.usedMeasured = e.measured, e.uncertainty, true
		e.sinceUsed = 0
	}
}

// Arrival says that Samples, counted as in Observe, had come by At.
type Arrival struct {
	Samples int64
	At      time.Time
}

// Taken is the latest time at which so many samples can have been taken, by the
// arrivals observed since the last Reset: one that came at once tells of those around
// it, however late they were. No sample arrives before it is taken, so each arrival
// sets a bound, moved by the count in between at the slowest or fastest rate
// that the measurement allows; the lowest bound holds. It is false when nothing was
// observed.
func (e *Estimator) Taken(samples int64) (time.Time, bool) {
	if !e.started {
		return time.Time{}, false
	}
	slow, fast := e.periods()
	least := math.Inf(1)
	for i := range e.buckets {
		b := &e.buckets[i]
		for _, p := range b.hull[:b.n] {
			least = min(least, p.seconds+between(float64(samples-e.originN)-p.samples, slow, fast))
		}
	}
	return e.origin.Add(time.Duration(least * 1e9)), true
}

// TakenBy is as Taken, by some arrivals, at least one, that need not have been
// observed, at the rate known.
func (e *Estimator) TakenBy(samples int64, arrivals []Arrival) time.Time {
	slow, fast := e.periods()
	least := math.Inf(1)
	for _, a := range arrivals {
		least = min(least, a.At.Sub(arrivals[0].At).Seconds()+between(float64(samples-a.Samples), slow, fast))
	}
	return arrivals[0].At.Add(time.Duration(least * 1e9))
}

// between is the most that n samples take, which are negative for those before.
func between(n, slow, fast float64) float64 {
	if n > 0 {
		return n * slow
	}
	return n * fast
}

// periods are the longest and the shortest time between two samples, 0 when nothing
// is known.
func (e *Estimator) periods() (slow, fast float64) {
	rate, share := e.used, claimShare
	if m := e.uncertainty / e.measured; e.measured > 0 && (m < share || rate == 0) {
		rate, share = e.measured, max(m, leastShare)
	}
	if rate == 0 {
		return 0, 0
	}
	return 1 / (rate * max(1-share, 0.1)), 1 / (rate * (1 + share))
}

// ObserveBoard notes the board's own clock, in seconds, at a sample counted as
// in Observe. It stands in for a claim when there is none. A clock that goes
// back starts anew.
func (e *Estimator) ObserveBoard(samples int64, seconds float64) {
	if math.IsNaN(seconds) || math.IsInf(seconds, 0) {
		return
	}
	if !e.boardStarted || samples <= e.boardN || seconds < e.boardEnd {
		e.boardStarted = true
		e.boardN0, e.boardFrom = samples, seconds
		e.boardN, e.boardEnd = samples, seconds
		return
	}
	e.boardN, e.boardEnd = samples, seconds
	if span := seconds - e.boardFrom; span >= 1 {
		e.board = float64(samples-e.boardN0) / span
		if e.used == 0 {
			e.used = e.board
		}
	}
}

// Estimate returns the newest state.
func (e *Estimator) Estimate() Estimate {
	x := Estimate{ClaimedHz: e.claimed, BoardHz: e.board, MeasuredHz: e.measured, UncertaintyHz: e.uncertainty,
		UsedHz: e.used, Ready: e.measured > 0}
	x.Warning, x.Steadiness = e.warning, e.steady.now
	return x
}

// warn renews the warning.
func (e *Estimator) warn() {
	e.warning = ""
	claim, who := e.claimed, "the board says"
	if claim == 0 {
		claim, who = e.board, "the board's own clock gives"
	}
	if e.measured == 0 || claim == 0 || e.span < warnSeconds || math.Abs(e.measured-claim)-e.uncertainty <= warnShare*claim {
		return
	}
	e.warning = fmt.Sprintf("%s %s samples a second, but %s ± %s arrive (%+.1f %%): a rate from the claimed clock would be wrong by as much; the measured one is used",
		who, digits(claim, claim*1e-4), digits(e.measured, e.uncertainty), digits(e.uncertainty, e.uncertainty), 100*(e.measured/claim-1))
}

// digits writes x to the first digit of its uncertainty, or one more.
func digits(x, uncertainty float64) string {
	decimals := 0
	if uncertainty > 0 {
		decimals = max(0, min(4, 1-int(math.Floor(math.Log10(uncertainty)))))
	}
	return fmt.Sprintf("%.*f", decimals, x)
}
