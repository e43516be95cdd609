package clock

import (
	"fmt"
	"math"
	"slices"
)

// How steadily a board samples now, beside the rate of the last two minutes: a loop
// that slows, or that stands still while a display is drawn, makes every bpm wrong
// long before the mean rate tells. All shares are of the rate. Each number was chosen
// so that no transport of the tests (bridges of 16 ms, lumps of 4 KB, heavy tails)
// is called unsteady for more than a few seconds in 200, and a change of 4 % is seen.
const (
	// doubtShare is the uncertainty of the rate beyond which no bpm is to be shown.
	doubtShare = 0.02
	// claimedDoubtShare is that where the measurement agrees with a claim.
	claimedDoubtShare = 0.05
	// quickSeconds and steadySeconds are the spans over which the present rate is taken:
	// the first sees a change of a tenth at once, the second one of a few hundredths.
	quickSeconds, steadySeconds = 2.0, 5.0
	// pairSeconds is the least time between two points of a slope.
	pairSeconds = 0.75
	// lateShare of a span is allowed for arrivals that are late beside their lumps.
	lateShare = 0.006
	// unevenSeconds of sawtooth in the earliest arrivals spoil a beat's interval by 2.5 % and more.
	unevenSeconds = 0.03
	// unevenSpan is how far back the sawtooth is looked for.
	unevenSpan = 8.0
	// holdSeconds after the last doubt, intervals from before are no longer in a mean of beats.
	holdSeconds = 8.0
	// localSpan is how far back the slowest and the fastest second are told.
	localSpan = 20.0

	// A silence of leastPauseSeconds and pauseTimes the usual time between arrivals may be a pause;
	// confirmSeconds later it is one if the samples did not catch up.
	leastPauseSeconds = 0.025
	pauseTimes        = 3.0
	confirmSeconds    = 0.04
	// pausesKept are looked at; regularPauses of them within pauseMemory seconds are told when
	// six in ten are alike within pauseSpread.
	pausesKept    = 16
	regularPauses = 4
	pauseMemory   = 20.0
	pauseSpread   = 0.25
	// leastRegularSeconds is the shortest pause told; busy computers make shorter ones.
	leastRegularSeconds = 0.035
)

// Steadiness is how evenly the samples come now.
type Steadiness struct {
	// RecentHz is the rate of the last five seconds, 0 until it is known; the true one lies
	// within ± RecentUncertaintyHz unless it changed within them.
	RecentHz            float64 `json:"recentHz"`
	RecentUncertaintyHz float64 `json:"recentUncertaintyHz"`
	// SlowestHz and FastestHz are those of single seconds of the last twenty; 0 until known.
	SlowestHz float64 `json:"slowestHz"`
	FastestHz float64 `json:"fastestHz"`
	// PauseSeconds is how long the board stands still at each of its regular pauses, and
	// PauseEverySeconds how far these are apart; 0 without any.
	PauseSeconds      float64 `json:"pauseSeconds"`
	PauseEverySeconds float64 `json:"pauseEverySeconds"`
	// Doubt is why no rate in bpm can be trusted now, a sentence; "" when it can.
	Doubt string `json:"doubt"`
	// Moves counts how often the rate was found to have changed: what was learned at the
	// rate before is then to be begun anew.
	Moves int64 `json:"moves"`
}

// silence is a time without arrivals that may be a pause of the board.
type silence struct {
	from, to float64
	samples  int64 // before it
}

// steady watches an Estimator's arrivals.
type steady struct {
	now       Steadiness
	points    []point
	slopes    []float64
	usual     float64 // time between arrivals, smoothed
	open      silence
	waiting   bool
	pauses    []silence
	different int     // looks in a row that found another rate
	doubted   float64 // when the last doubt was; -Inf for never
	why       string
}

func newSteady() steady {
	return steady{points: make([]point, 0, maxBuckets), slopes: make([]float64, 0, 1024), pauses: make([]silence, 0, pausesKept), doubted: math.Inf(-1)}
}

// reset forgets the arrivals, but not a doubt.
func (s *steady) reset() {
	s.waiting, s.different, s.usual = false, 0, 0
	s.pauses = s.pauses[:0]
	if s.why != "" {
		s.doubted = 0
	}
}

// burst is samples that arrive at t, dt after those before, counted before and now.
type burst struct {
	t, dt       float64
	before, now int64
}

// arrived notes an arrival; rateHz is what holds until a recent rate is known.
func (s *steady) arrived(a burst, rateHz float64) {
	if s.now.RecentHz > 0 {
		rateHz = s.now.RecentHz
	}
	if s.waiting && a.t-s.open.to >= confirmSeconds {
		s.waiting = false
		caught := float64(a.now - s.open.samples)
		if caught < rateHz*(a.t-s.open.from-0.6*(s.open.to-s.open.from)) {
			s.paused()
		}
	}
	if s.usual > 0 && a.dt > max(leastPauseSeconds, pauseTimes*s.usual) {
		if !s.waiting && rateHz > 0 {
			s.open, s.waiting = silence{a.t - a.dt, a.t, a.before}, true
		}
	}
	if s.usual == 0 {
		s.usual = a.dt
	}
	s.usual += (min(a.dt, pauseSeconds) - s.usual) / 32
}

// paused keeps the open silence as a pause; one that follows the last at once is its rest,
// told apart by a late arrival.
func (s *steady) paused() {
	n := len(s.pauses)
	if n > 0 && s.open.from-s.pauses[n-1].to < leastPauseSeconds {
		s.pauses[n-1].to = s.open.to
		return
	}
	if n == pausesKept {
		s.pauses = s.pauses[:copy(s.pauses, s.pauses[1:])]
	}
	s.pauses = append(s.pauses, s.open)
}

// regular tells the length and the distance of pauses that are alike.
func (s *steady) regular(t float64) (long, every float64) {
	var longs, everies [pausesKept]float64
	n := 0
	last := math.NaN()
	for _, p := range s.pauses {
		if t-p.from > pauseMemory {
			continue
		}
		longs[n] = p.to - p.from
		if n > 0 {
			everies[n-1] = p.from - last
		}
		last = p.from
		n++
	}
	if n < regularPauses {
		return 0, 0
	}
	slices.Sort(longs[:n])
	slices.Sort(everies[:n-1])
	long, every = longs[n/2], everies[(n-1)/2]
	alike := func(values []float64, mid float64) bool {
		n := 0
		for _, v := range values {
			if math.Abs(v-mid) <= pauseSpread*mid {
				n++
			}
		}
		return 10*n >= 6*len(values)
	}
	if t-last > 3*every || !alike(longs[:n], long) || !alike(everies[:n-1], every) || long < leastRegularSeconds {
		return 0, 0
	}
	return long, every
}

// watch looks at the newest arrivals, once in half a second.
func (e *Estimator) watch() {
	s := &e.steady
	rate := e.used
	if rate == 0 {
		rate = e.measured
	}
	if rate == 0 {
		return
	}
	quick, quickHalf := e.present(quickSeconds, rate)
	recent, half := e.present(steadySeconds, rate)
	s.now.RecentHz, s.now.RecentUncertaintyHz = recent, half
	s.now.SlowestHz, s.now.FastestHz = e.local(rate)
	s.now.PauseSeconds, s.now.PauseEverySeconds = s.regular(e.last)
	uneven := e.sawtooth(rate)
	changed := beyond(recent, half, rate)
	if e.boardStarted { // each sample stands at the board's own time: only this computer is uneven
		changed, uneven, quick = false, 0, 0
	}
	if changed || uneven > unevenSeconds || beyond(quick, quickHalf, rate) {
		s.doubted = e.last
		s.why = s.now.unevenly()
		if s.now.PauseSeconds > 0 {
			s.why = s.now.pausing()
		}
	} else if e.last-s.doubted >= holdSeconds {
		s.why = ""
	}
	s.now.Doubt = s.why
	if share := e.unsure(); s.why == "" && share > doubtShare {
		s.now.Doubt = fmt.Sprintf("the sampling rate is only known to ±%.0f %% so far; a rate in bpm needs ±%.0f %%", math.Ceil(100*share), 100*doubtShare)
	}
	e.follow(changed, recent, half)
}

// beyond tells that a rate ± half is not the one used.
func beyond(hz, half, used float64) bool {
	return hz > 0 && math.Abs(hz-used) > doubtShare*used+half
}

// unsure is the relative uncertainty of the used rate, 0 where it agrees with a claim.
func (e *Estimator) unsure() float64 {
	if e.measured == 0 {
		return 0 // nobody uses it yet, or a claim stands alone
	}
	share := (e.uncertainty + math.Abs(e.measured-e.used)) / e.used
	claim := e.claimed
	if claim == 0 {
		claim = e.board
	}
	if claim > 0 && math.Abs(e.measured-claim) <= e.uncertainty+warnShare*claim && e.uncertainty <= claimedDoubtShare*e.measured {
		return 0
	}
	return share
}

// since gathers the earliest arrival of each bucket of the last span seconds.
func (e *Estimator) since(span, rate float64) []point {
	points := e.steady.points[:0]
	for i := len(e.buckets) - 1; i >= 0; i-- {
		b := &e.buckets[i]
		p, _ := b.earliest(1 / rate)
		if e.last-p.seconds > span {
			break
		}
		points = append(points, p)
	}
	slices.Reverse(points)
	e.steady.points = points
	return points
}

// present is the median slope between the earliest arrivals of the last span seconds
// (Theil 1950), and how far it may be off by lumps and lateness; 0 when too few came.
func (e *Estimator) present(span, rate float64) (hz, half float64) {
	return e.slope(e.since(span, rate), span)
}

func (e *Estimator) slope(points []point, span float64) (hz, half float64) {
	n := len(points)
	if n < 4 || points[n-1].seconds-points[0].seconds < 0.7*span {
		return 0, 0
	}
	slopes := e.steady.slopes[:0]
	for i, p := range points {
		for _, q := range points[i+1:] {
			if q.seconds-p.seconds >= min(pairSeconds, span/2) && len(slopes) < cap(slopes) {
				slopes = append(slopes, (q.samples-p.samples)/(q.seconds-p.seconds))
			}
		}
	}
	if len(slopes) == 0 {
		return 0, 0
	}
	slices.Sort(slopes)
	hz = slopes[len(slopes)/2]
	return hz, hz*(lateShare+2*e.steady.usual/span) + 1/span
}

// local is the slowest and the fastest second of the last twenty, one in twenty left out.
func (e *Estimator) local(rate float64) (slowest, fastest float64) {
	points := e.since(localSpan, rate)
	slopes := e.steady.slopes[:0]
	j := 0
	for i, p := range points {
		for j = max(j, i); j < len(points) && points[j].seconds-p.seconds < 1; j++ {
		}
		if j < len(points) {
			slopes = append(slopes, (points[j].samples-p.samples)/(points[j].seconds-p.seconds))
		}
	}
	if len(slopes) < 4 {
		return 0, 0
	}
	slices.Sort(slopes)
	k := len(slopes) / 20
	return slopes[k], slopes[len(slopes)-1-k]
}

// sawtooth is how far the earliest arrivals of the last eight seconds stray from even
// ones, in seconds from the tenth to the ninetieth of a hundred: the board stood still, or
// its rate wandered. Lumps and single late arrivals are none.
func (e *Estimator) sawtooth(rate float64) float64 {
	points := e.since(unevenSpan, rate)
	hz, _ := e.slope(points, unevenSpan)
	if hz <= 0 {
		return 0
	}
	delays := e.steady.slopes[:0]
	for _, p := range points {
		delays = append(delays, p.seconds-p.samples/hz)
	}
	slices.Sort(delays)
	k := len(delays) / 10
	return delays[len(delays)-1-k] - delays[k] - 1/hz - e.steady.usual
}

// follow takes over a changed rate once the newest seconds agree on it.
func (e *Estimator) follow(changed bool, recent, half float64) {
	s := &e.steady
	if !changed {
		s.different = 0
		return
	}
	if s.different++; s.different < 2 {
		return
	}
	points := e.since(steadySeconds, recent)
	n := len(points)
	first, h1 := e.slope(points[:n/2], steadySeconds/2)
	second, h2 := e.slope(points[n/2:], steadySeconds/2)
	if first == 0 || second == 0 || math.Abs(first-second) > h1+h2 {
		return // still changing
	}
	from := points[0].seconds
	e.moved = e.originN + int64(math.Round(e.bend(e.used, recent)))
	k := 0
	for k < len(e.buckets)-1 && e.buckets[k].hull[e.buckets[k].n-1].seconds < from {
		k++
	}
	e.buckets = e.buckets[:copy(e.buckets, e.buckets[k:])]
	s.different = 0
	s.now.Moves++
	e.measured, e.uncertainty, e.kept = recent, half, false
	e.used, e.usedUncertainty, e.usedMeasured, e.sinceUsed = recent, half, true, 0
	e.boardStarted, e.board = false, 0
}

// bend is where, in samples since the origin, the rate went from old to now: of all places
// where the arrivals may bend that from which they stray least, then where the lines
// on both sides meet. Before the first arrival kept when all of them have the new rate.
func (e *Estimator) bend(old, now float64) float64 {
	points := e.since(windowSeconds, now)
	off := make([]float64, len(points))
	best, least := 0, math.Inf(1)
	for k, at := range points {
		for i, p := range points {
			off[i] = p.seconds - between(p.samples-at.samples, 1/now, 1/old)
		}
		middle := middleOf(off)
		stray := 0.0
		for _, x := range off {
			stray += math.Abs(x - middle)
		}
		if stray < least {
			best, least = k, stray
		}
	}
	if best < 2 || best > len(points)-3 {
		return points[best].samples
	}
	line := func(points []point, hz float64) float64 {
		off = off[:0]
		for _, p := range points {
			off = append(off, p.seconds-p.samples/hz)
		}
		return middleOf(off)
	}
	meet := (line(points[best+1:], now) - line(points[:best], old)) / (1/old - 1/now)
	return max(points[best-1].samples, min(meet, points[best+1].samples))
}

// middleOf is the median of values, which are sorted.
func middleOf(values []float64) float64 {
	slices.Sort(values)
	return values[len(values)/2]
}

// MovedAt is the sample, counted as in Observe, from which the newest rate holds, of which
// Moves tells; 0 before the first one.
func (e *Estimator) MovedAt() int64 { return e.moved }

// unevenly says what a board with a wandering rate does.
func (s Steadiness) unevenly() string {
	if s.SlowestHz <= 0 || s.FastestHz < 1.02*s.SlowestHz {
		return "the samples come unevenly now: print t_us beside each value, or sample by a timer, as the example program does"
	}
	return fmt.Sprintf("the board prints unevenly: %s to %s a second; print t_us beside each value, or sample by a timer, as the example program does",
		whole(s.SlowestHz), whole(s.FastestHz))
}

// pausing says that a board stands still now and again.
func (s Steadiness) pausing() string {
	return fmt.Sprintf("the board stands still for %.0f ms every %.1f s (does it draw a display then?): print t_us beside each value, or sample by a timer, as the example program does",
		1000*s.PauseSeconds, s.PauseEverySeconds)
}

// whole writes a rate as a person says it.
func whole(hz float64) string {
	if hz < 10 {
		return fmt.Sprintf("%.1f", hz)
	}
	return fmt.Sprintf("%.0f", hz)
}
