package firmware

import (
	"fmt"
	"math"

	"pulsewright/dsp/filter"
)

// Kind is what beats are looked for.
type Kind string

const (
	Pulse Kind = "pulse" // light through a finger, rising with the pulse
	ECG   Kind = "ecg"
)

// method is the numbers of one kind of beat. METHOD.md says what each is for and what
// is lost without it.
type method struct {
	lowHz, highHz  float64 // band in which the beat stands out
	lowOrder       int     // of the high-pass at lowHz; the low-pass at highHz is of order 2
	squared        bool    // power (ECG), else the rising half alone (pulse)
	shortSeconds   float64 // half of the short mean: half a beat's width
	longSeconds    float64 // half of the long mean: half the shortest interval but for a little
	offset         float64 // share of the mean power that the short mean must exceed the long one by
	widthShare     float64 // of the short mean's length that a block must last
	nearShare      float64 // a block nearer to the last beat than this share of the middle interval …
	nearSeconds    float64 // … or than this …
	nearHeight     float64 // … must reach this share of the last beat's height; 0: no such rule
	refractSeconds float64 // no second beat within
	alike          uint64  // the lowest of the last heights times this reaches the highest, or no rate; 0: no such rule
}

var methods = map[Kind]method{
	// Two moving averages after Elgendi, Jonkman and De Boer 2010 (8 to 20 Hz, 97 and
	// 611 ms, 8 %; from memory), here causal, the offset of the running mean.
	ECG: {lowHz: 8, highHz: 20, lowOrder: 2, squared: true, shortSeconds: 0.052, longSeconds: 0.304, offset: 0.1, widthShare: 0.8, nearSeconds: 0.42, nearHeight: 0.125, refractSeconds: 0.25},
	// The same after Elgendi et al. 2013 (111 and 667 ms; from memory), with a high-pass
	// of 3 Hz instead of 0.5: it lets the steep rise stand out of drift and second waves.
	Pulse: {lowHz: 3, highHz: 8, lowOrder: 1, shortSeconds: 0.056, longSeconds: 0.252, offset: 0.05, widthShare: 0.7, nearShare: 0.65, nearHeight: 0.4, refractSeconds: 0.25, alike: 4},
}

// gridHz is about how often the finder decides; samples are added up to it.
const gridHz = 125

const (
	heightBits   = 15 // of a sample inside, without its sign
	meanShift    = 10 // the running mean's time constant is 2^10 grid steps, 8 s
	intervalsFor = 8  // intervals that a rate is the mean of …
	leastFor     = 4  // … and the fewest
	steadyShare  = 10 // the mean interval lies within a tenth of the middle one
	offsetUnit   = 1 << 10
	stuckMost    = 200 // a fifth of the samples at the converter's ends
)

// numbers are the finder's constants in whole numbers, the same in Go and in C.
type numbers struct {
	every              int   // samples a grid step
	half1, half2       int   // half lengths of the means, grid steps
	shift              int   // right shift from the band's output to heightBits
	offset             int64 // in 1/1024
	width              int   // least steps of a block
	near               int   // steps
	near16, height16   int64 // shares in 1/16
	refract            int   // steps
	slowest            int   // steps: a longer interval is no rhythm, everything begins anew
	delay              int   // samples from a beat to its place in the band's output
	perMinute          int64 // 60 × grid rate × 16: bpm in 1/16 is perMinute·n / sum of n intervals
	stuckLow, stuckTop int32 // the converter's ends
}

// Finder finds beats in counts, in whole numbers alone: what a small board does. Its C
// by [Whole] gives the same, bit for bit. Not safe for concurrent use.
type Finder struct {
	n    numbers
	m    method
	band *Filter
	s    finderState
	ring []uint32 // power of the last 2·half2 + 1 grid steps
	at   int      // of the newest in ring
}

type finderState struct {
	sample  uint32 // samples taken in
	inStep  int    // of them in the grid step under way
	power   uint64 // of the step under way
	step    uint32 // grid steps done
	sum1    uint64
	sum2    uint64
	mean    int64 // of the power, in 1/1024
	in      bool  // in a block
	start   uint32
	best    uint32
	height  uint64
	last    uint32 // the last beat's step
	beats   int    // since the start or a pause, at most intervalsFor + 1
	between [intervalsFor]uint16
	heights [intervalsFor]uint32
	next    int // in between
	rate16  uint16
	stuck   uint8 // samples at the converter's ends, a leaky count
}

// Found is what the finder says of a sample.
type Found struct {
	// Ago is how many samples ago a beat was that has just been decided on; 0 none.
	Ago int
	// Rate16 is the rate in 1/16 bpm; 0: no reading.
	Rate16 int
}

// NewFinder takes rates of 100 to 500 Hz and converters of 8 to 16 bits.
func NewFinder(kind Kind, cfg Config) (*Finder, error) {
	m, ok := methods[kind]
	if !ok {
		return nil, fmt.Errorf("firmware: beats of kind %q: choose %s or %s", kind, Pulse, ECG)
	}
	if !(cfg.RateHz >= 100 && cfg.RateHz <= 500) || cfg.RateHz != math.Trunc(cfg.RateHz) {
		return nil, fmt.Errorf("firmware: finding beats at %g Hz: choose a whole rate from 100 to 500 Hz", cfg.RateHz)
	}
	if cfg.Bits > 16 {
		return nil, fmt.Errorf("firmware: finding beats at %d bits: choose a converter of 8 to 16", cfg.Bits)
	}
	low, err := filter.ButterworthLowPass(cfg.RateHz, m.highHz, 2)
	if err != nil {
		return nil, err
	}
	high, err := filter.ButterworthHighPass(cfg.RateHz, m.lowHz, m.lowOrder)
	if err != nil {
		return nil, err
	}
	sections := append(low, high...)
	band, err := New(sections, cfg)
	if err != nil {
		return nil, err
	}
	f := &Finder{m: m, band: band, n: m.numbers(cfg, band)}
	f.n.delay = int(math.Round(sections.GroupDelaySamples(math.Sqrt(m.lowHz*m.highHz), cfg.RateHz)))
	f.ring = make([]uint32, 2*f.n.half2+1)
	return f, nil
}

func (m method) numbers(cfg Config, band *Filter) numbers {
	every := max(1, int(math.Round(cfg.RateHz/gridHz)))
	grid := cfg.RateHz / float64(every)
	steps := func(seconds float64) int { return int(math.Round(seconds * grid)) }
	n := numbers{every: every, half1: steps(m.shortSeconds), half2: steps(m.longSeconds), refract: steps(m.refractSeconds), slowest: steps(3)}
	n.shift = max(0, cfg.Bits+band.Fraction()-heightBits)
	n.offset = int64(math.Round(m.offset * offsetUnit))
	n.width = int(math.Ceil(m.widthShare * float64(2*n.half1+1)))
	n.near = steps(m.nearSeconds)
	n.near16, n.height16 = int64(math.Round(16*m.nearShare)), int64(math.Round(16*m.nearHeight))
	n.perMinute = int64(math.Round(60 * grid * 16))
	n.stuckLow, n.stuckTop = int32(band.low), int32(band.high)
	return n
}

// LatencySeconds is about how long after a beat it is told.
func (f *Finder) LatencySeconds() float64 {
	grid := f.band.cfg.RateHz / float64(f.n.every)
	return float64(f.n.half2+f.n.half1+1)/grid + float64(f.n.delay)/f.band.cfg.RateHz
}

// Reset forgets the past.
func (f *Finder) Reset() {
	f.band.Reset()
	clear(f.ring)
	f.s, f.at = finderState{}, 0
}

// Push takes one count.
func (f *Finder) Push(count int32) Found {
	s, n := &f.s, &f.n
	one := [1]int32{count}
	f.band.Process(one[:], one[:])
	v := int64(one[0] >> n.shift)
	if count <= n.stuckLow || count >= n.stuckTop {
		s.stuck = uint8(min(255, int(s.stuck)+4))
	} else if s.stuck > 0 {
		s.stuck--
	}
	switch {
	case f.m.squared:
		s.power += uint64(v * v)
	case v > 0:
		s.power += uint64(v)
	}
	s.sample++
	if s.inStep++; s.inStep < n.every {
		return Found{Rate16: int(s.rate16)}
	}
	ago := f.stepDone(uint32(s.power / uint64(n.every)))
	s.inStep, s.power = 0, 0
	return Found{Ago: ago, Rate16: int(s.rate16)}
}

// stepDone takes the power of a grid step and answers as Found.Ago.
func (f *Finder) stepDone(e uint32) int {
	s, n := &f.s, &f.n
	if f.at++; f.at == len(f.ring) {
		f.at = 0
	}
	s.step++
	s.sum2 += uint64(e) - uint64(f.ring[f.at])
	f.ring[f.at] = e
	// The short mean's centre is half2 steps ago.
	s.sum1 += uint64(f.back(n.half2-n.half1)) - uint64(f.back(n.half2+n.half1+1))
	shift := meanShift
	for shift > 0 && s.step>>shift == 0 { // at first the mean of what there is, nearly
		shift--
	}
	s.mean += (int64(e)<<meanShift - s.mean) >> shift
	if s.step <= uint32(len(f.ring)) {
		return 0
	}
	w1, w2 := uint64(2*n.half1+1), uint64(2*n.half2+1)
	limit := s.sum2*w1*offsetUnit + uint64(s.mean>>meanShift)*uint64(n.offset)*w1*w2
	centre := s.step - uint32(n.half2)
	on := s.sum1*w2*offsetUnit > limit
	ago := 0
	switch {
	case on && !s.in:
		s.start, s.best, s.height = centre, centre, s.sum1
	case on && s.sum1 > s.height:
		s.best, s.height = centre, s.sum1
	case !on && s.in && int(centre-s.start) >= n.width:
		ago = f.block()
	}
	s.in = on
	if s.beats > 0 && s.step-s.last > uint32(n.slowest) {
		s.beats, s.rate16 = 0, 0
	}
	if s.rate16 > 0 && (s.stuck > stuckMost || f.overdue()) {
		s.rate16 = 0
	}
	return ago
}

// back is the power k steps ago.
func (f *Finder) back(k int) uint32 {
	i := f.at - k
	if i < 0 {
		i += len(f.ring)
	}
	return f.ring[i]
}

// block decides on a block that has just ended; it answers as Found.Ago.
func (f *Finder) block() int {
	s, n := &f.s, &f.n
	since := s.best - s.last
	if s.beats > 0 {
		if since < uint32(n.refract) {
			return 0
		}
		if count, sum := f.intervals(); count >= leastFor &&
			(int64(since)*16*int64(count) < n.near16*int64(sum) || since < uint32(n.near)) && s.height*16 < uint64(s.heights[f.before(0)])*uint64(n.height16) {
			return 0
		}
		s.between[s.next] = uint16(since)
		s.heights[s.next] = uint32(min(s.height, math.MaxUint32))
		s.next = (s.next + 1) % intervalsFor
	}
	s.beats = min(s.beats+1, intervalsFor+1)
	s.last = s.best
	s.rate16 = 0
	if count, sum := f.intervals(); count >= leastFor && f.steady(count, sum) {
		s.rate16 = uint16(n.perMinute * int64(count) / int64(sum))
	}
	return int(s.step-s.best)*n.every + n.every/2 + n.delay
}

// intervals counts the newest ones, at most intervalsFor, and adds them up in grid steps.
func (f *Finder) intervals() (count int, sum uint32) {
	count = max(0, f.s.beats-1)
	for k := range count {
		sum += uint32(f.s.between[f.before(k)])
	}
	return count, sum
}

// steady tells that the mean of the newest intervals is the rate: it lies within a
// tenth of their middle, which one that was missed or counted twice does not move.
// Of pulses the heights must be alike besides: one that moved no blood is no rate.
func (f *Finder) steady(count int, sum uint32) bool {
	mid := int64(f.middle(count)) * int64(count)
	if d := mid - int64(sum); steadyShare*max(d, -d) > mid {
		return false
	}
	low, high := uint64(math.MaxUint32), uint64(0)
	for k := range count {
		v := uint64(f.s.heights[f.before(k)])
		low, high = min(low, v), max(high, v)
	}
	return low*f.m.alike >= high || f.m.alike == 0
}

// before is where the k-th newest interval and height stand, k from 0.
func (f *Finder) before(k int) int {
	return (f.s.next + 2*intervalsFor - 1 - k) % intervalsFor
}

// middle is the median of the newest intervals, the upper one of two.
func (f *Finder) middle(count int) uint16 {
	var list [intervalsFor]uint16
	for k := range count {
		v := f.s.between[f.before(k)]
		i := k
		for ; i > 0 && list[i-1] > v; i-- {
			list[i] = list[i-1]
		}
		list[i] = v
	}
	return list[count/2]
}

// overdue tells that the next beat should have come: half as long again as the mean interval.
func (f *Finder) overdue() bool {
	count, sum := f.intervals()
	return count > 0 && int64(f.s.step-f.s.last-uint32(f.n.half2))*int64(count)*2 > int64(sum)*5
}
