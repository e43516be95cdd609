// Package grid puts samples that were taken at uneven times, each with the time the
// board printed beside it, on an even grid.
//
// The grid's rate is fixed when it is made. A sample within a fiftieth of a grid step
// of a grid point is taken as it is, so an even board's counts pass unchanged. Other
// points are interpolated by the cubic through the two samples before and the two after
// (Lagrange's formula for uneven points), kept within the range of these four; at the
// ends of a run by the line through two. A count is rounded to the nearest.
//
// What it costs, measured in TestError for loops whose steps vary by ±30 %: at 250 Hz a
// pulse is off by at most 0.06 % of its height; an ECG with a QRS of 80 ms by 2 % of R, at
// its very peak, where a sample beside the peak is off as much; at 100 Hz a pulse by 0.3 %.
//
// A step of more than 2.5 usual ones and 10 ms is a pause: the grid points within it are
// told as lost and never filled in. Stamps cut to whole milliseconds leave each sample's
// time open within one; it is taken there as even with the samples before as it can be.
//
// Times are in seconds, rates in hertz. A Grid is not safe for concurrent use.
package grid

import (
	"math"
	"slices"

	"pulsewright/acquire"
)

const (
	// hitShare of a grid step is near enough to take a sample as it is.
	hitShare = 0.02
	// pauseTimes the usual step, and pauseSeconds, is a pause.
	pauseTimes, pauseSeconds = 2.5, 0.010
	// recentSteps make the usual step (their median).
	recentSteps = 15
	// fasterTimes and slowerTimes the grid's rate for oddSteps steps in a row are another rate.
	fasterTimes, slowerTimes, oddSteps = 2.0, 8.0, 100
	// evenSmoothing of the step by which coarse stamps are made even.
	evenSmoothing = 32
	// clusteredShare of the steps under a quarter of the mean one: stamps of printing, not of sampling.
	clusteredShare = 0.4
)

// Rate chooses a grid's rate for samples at these rising times, stamped to a resolution,
// all in seconds: the mean rate without pauses, or claimedHz where it is within 1 % of it
// (0: none is claimed), or a round rate about as near as the times tell; a grid is none the
// worse for that. It is false when the times cannot be
// those of the samples: fewer than three, or several samples share a stamp.
func Rate(times []float64, resolution, claimedHz float64) (hz float64, ok bool) {
	if len(times) < 3 {
		return 0, false
	}
	steps := make([]float64, 0, len(times)-1)
	for i, t := range times[1:] {
		steps = append(steps, t-times[i])
	}
	sorted := slices.Sorted(slices.Values(steps))
	usual := max(sorted[len(sorted)/2], resolution)
	n, sum := 0, 0.0
	for _, d := range steps {
		if d <= pauseTimes*usual || d <= pauseSeconds {
			n, sum = n+1, sum+d
		}
	}
	if n == 0 || sum <= 0 {
		return 0, false
	}
	mean := sum / float64(n)
	short := 0
	for _, d := range steps {
		if d < mean/4 {
			short++
		}
	}
	if resolution < mean/4 && float64(short) > clusteredShare*float64(len(steps)) {
		return 0, false
	}
	hz = 1 / mean
	if math.Abs(claimedHz/hz-1) < 0.01 {
		return claimedHz, true
	}
	span := times[len(times)-1] - times[0]
	for _, share := range []float64{0.0003, 0.001 + resolution/span} {
		for _, step := range []float64{100, 50, 10, 5, 1} {
			if round := step * math.Round(hz/step); math.Abs(round/hz-1) < share {
				return round, true
			}
		}
		if round := 1e4 / math.Round(1e4/hz); math.Abs(round/hz-1) < share {
			return round, true
		}
	}
	return hz, true
}

// Point is a sample on the grid.
type Point struct {
	Seconds float64 // by the board's clock
	Lost    int64   // grid points missing just before it
	Jump    bool    // it does not follow from the one before
	Counts  []int32 // valid until Drop
}

type sample struct {
	at     float64
	counts []int32
}

// Grid puts one stream's samples on a grid.
type Grid struct {
	rateHz, resolution float64
	channels           int

	started bool
	origin  float64 // time of grid point 0
	next    int64   // the grid point to be given next
	run     [4]sample
	inRun   int // samples of the run so far that are in run, newest last
	period  float64
	lost    int64 // before the next point
	jump    bool

	steps   [recentSteps]float64
	stepN   int
	odd     int
	made    int64 // points interpolated
	taken   int64 // points taken as they came
	pauses  int64
	paused  float64 // seconds, all of them
	since   float64 // the first of them
	points  []Point
	storage []int32
}

// New makes a grid of so many hertz for samples of so many channels, whose times are
// cut to a resolution in seconds (0: exact).
func New(rateHz, resolution float64, channels int) *Grid {
	g := &Grid{rateHz: rateHz, resolution: resolution, channels: channels, period: 1 / rateHz}
	for i := range g.run {
		g.run[i].counts = make([]int32, channels)
	}
	return g
}

// RateHz is the grid's rate.
func (g *Grid) RateHz() float64 { return g.rateHz }

// Made tells how many points were interpolated and how many taken as they came.
func (g *Grid) Made() (interpolated, taken int64) { return g.made, g.taken }

// Pauses is how many there were, how long they were and how far apart, both in the mean; every
// is 0 for fewer than two.
func (g *Grid) Pauses() (n int64, long, every float64) {
	if g.pauses == 0 {
		return 0, 0, 0
	}
	if g.pauses > 1 {
		every = (g.run[3].at - g.since) / float64(g.pauses-1)
	}
	return g.pauses, g.paused / float64(g.pauses), every
}

// Changed tells that the board has long sampled more than twice as fast or eight times as
// slowly as the grid: it is to be chosen anew.
func (g *Grid) Changed() bool { return g.odd >= oddSteps }

// Points are those made by the last Add.
func (g *Grid) Points() []Point { return g.points }

// Drop forgets the points.
func (g *Grid) Drop() { g.points, g.storage = g.points[:0], g.storage[:0] }

// Add takes a sample at a time, which must not be before the one before. lost says that
// samples before it are known to be missing, jump that it does not follow from the one
// before, whatever the time. Points is what can be told by now.
func (g *Grid) Add(at float64, counts []int32, lost, jump bool) {
	if !g.started {
		g.started, g.origin = true, at
		g.begin(at, counts)
		return
	}
	before := g.run[3].at
	at = g.even(before, at)
	step := at - before
	pause := g.pause(step)
	if !pause && !lost && !jump {
		g.note(step)
	}
	switch {
	case jump:
		g.finish()
		g.origin += at - (g.origin + float64(g.next)/g.rateHz) // goes on with the next point
		g.jump = true
		g.begin(at, counts)
	case pause || lost:
		g.finish()
		first := int64(math.Ceil((at-g.origin)*g.rateHz - hitShare))
		if missing := first - g.next; missing > 0 {
			g.lost += missing
			g.next = first
		}
		if g.pauses++; g.pauses == 1 {
			g.since = at
		}
		g.paused += step
		g.begin(at, counts)
	default:
		g.push(at, counts)
		g.give()
	}
}

// even takes the time within a coarse stamp that goes on from the samples before.
func (g *Grid) even(before, at float64) float64 {
	if g.resolution <= 0 {
		return max(at, before)
	}
	likely := min(max(before+g.period, at), at+0.999*g.resolution)
	likely = max(likely, before+0.02*g.period)
	if step := likely - before; step < 3*g.period {
		g.period += (step - g.period) / evenSmoothing
	}
	return likely
}

// pause tells whether a step is none of sampling.
func (g *Grid) pause(step float64) bool {
	usual := 1 / g.rateHz
	if g.stepN >= 5 {
		usual = g.usual()
	}
	return step > pauseTimes*max(usual, g.resolution) && step > pauseSeconds
}

func (g *Grid) usual() float64 {
	var sorted [recentSteps]float64
	n := min(g.stepN, recentSteps)
	copy(sorted[:], g.steps[:n])
	slices.Sort(sorted[:n])
	return sorted[n/2]
}

// note keeps a step.
func (g *Grid) note(step float64) {
	g.steps[g.stepN%recentSteps] = step
	g.stepN++
	if usual := g.usual() * g.rateHz; usual*fasterTimes < 1 || usual > slowerTimes {
		g.odd++
	} else {
		g.odd = 0
	}
}

// begin starts a run with its first sample.
func (g *Grid) begin(at float64, counts []int32) {
	g.inRun = 0
	g.push(at, counts)
	g.hit()
}

// push makes a sample the newest of the run.
func (g *Grid) push(at float64, counts []int32) {
	oldest := g.run[0].counts
	copy(g.run[:], g.run[1:])
	copy(oldest, counts)
	g.run[3] = sample{at, oldest}
	g.inRun = min(g.inRun+1, 4)
}

func (g *Grid) time() float64 { return g.origin + float64(g.next)/g.rateHz }

// give makes the points up to the last sample but one, and the newest sample if it is next.
func (g *Grid) give() {
	for g.time() <= g.run[2].at {
		g.between(1)
	}
	g.hit()
}

// finish makes the points up to the newest sample, after which the run ends.
func (g *Grid) finish() {
	for g.inRun >= 2 && g.time() <= g.run[3].at {
		g.between(2)
	}
}

// hit gives the newest sample as it is when it stands on the next point.
func (g *Grid) hit() {
	if t := g.time(); math.Abs(t-g.run[3].at) <= hitShare/g.rateHz {
		g.taken++
		copy(g.emit(t), g.run[3].counts)
	}
}

// emit adds the next point.
func (g *Grid) emit(t float64) []int32 {
	n := len(g.storage)
	if cap(g.storage)-n < g.channels {
		g.storage = make([]int32, 0, max(64, 2*cap(g.storage))*g.channels) // points made so far keep theirs
		n = 0
	}
	g.storage = g.storage[:n+g.channels]
	counts := g.storage[n : n+g.channels : n+g.channels]
	g.points = append(g.points, Point{t, g.lost, g.jump, counts})
	g.lost, g.jump = 0, false
	g.next++
	return counts
}

// between makes the next point, which lies between samples i and i+1 of the run, or before.
func (g *Grid) between(i int) {
	t := g.time()
	a, b := &g.run[i], &g.run[i+1]
	near := a
	if math.Abs(b.at-t) < math.Abs(a.at-t) {
		near = b
	}
	out := g.emit(t)
	if math.Abs(near.at-t) <= hitShare/g.rateHz || t < a.at || i < 4-g.inRun {
		g.taken++
		copy(out, near.counts)
		return
	}
	g.made++
	cubic := i == 1 && g.inRun == 4
	for c := range out {
		p, q := a.counts[c], b.counts[c]
		switch {
		case p == acquire.MissingCount || q == acquire.MissingCount:
			out[c] = near.counts[c]
		case cubic && g.run[0].counts[c] != acquire.MissingCount && g.run[3].counts[c] != acquire.MissingCount:
			out[c] = g.cubic(t, c)
		default:
			out[c] = int32(math.Round(float64(p) + (float64(q)-float64(p))*(t-a.at)/(b.at-a.at)))
		}
	}
}

// cubic is Lagrange's through the four samples of the run, within their range.
func (g *Grid) cubic(t float64, c int) int32 {
	sum, low, high := 0.0, g.run[0].counts[c], g.run[0].counts[c]
	for i := range g.run {
		w := 1.0
		for j := range g.run {
			if j != i {
				w *= (t - g.run[j].at) / (g.run[i].at - g.run[j].at)
			}
		}
		n := g.run[i].counts[c]
		sum += w * float64(n)
		low, high = min(low, n), max(high, n)
	}
	return int32(math.Round(min(max(sum, float64(low)), float64(high))))
}
