package beat

import (
	"fmt"
	"math"
)

// Sample rates the detector takes.
const (
	minRateHz = 25
	maxRateHz = 192000
)

// pulseParams are the pulse detector's numbers. They were set from physiology
// and round figures, then checked by moving half of them by a fifth either way
// (TestPulsePerturbed). Levels are relative to the typical beat.
type pulseParams struct {
	smoothSeconds float64 // whole length of the Hann smoothing; −6 dB at 1/length
	trendSeconds  float64 // half length of the Hann mean that is taken for drift
	trendRR       float64 // shorter in proportion where the R–R is below this, seconds,
	trendLeast    float64 // down to this share
	steepest      float64 // the slope is limited to so many of the usual beat's
	hysteresis    float64 // a swing must turn back by this share of the level of swings to end
	swingSeconds  float64 // which falls with this time constant

	startSeconds float64 // heard before the first decision
	startShare   float64 // at first rises of this share of the strongest but one are the measure
	threshold    float64 // a rise counts from this share of the level, in its expected time
	timely       float64 // which is from this share of the R–R on,
	early        float64 // and from this share of the level well before it
	regular      float64 // by so much more when the rhythm is regular:
	regularNear  float64 // within this share of its middle interval, not at all beyond twice that
	refractory   float64 // no beat within this share of the R–R,
	stronger     float64 // unless it is so many times as strong as usual
	decayAfter   float64 // the level falls when nothing is found for so many R–R
	decaySeconds float64 // with this time constant
	longest      float64 // no interval is longer than this, seconds

	searchAt    float64 // search-back: when no beat comes, after this many R–R,
	searchLate  float64 // or when the next one comes after so many,
	searchFrom  float64 // a missed rise no nearer to a beat than this share of the R–R
	searchShare float64 // counts from this share of the level

	// Of strong and weak beats in turn, the weak ones sooner after the strong than this share
	// of the time to the next, the weak ones are dicrotic waves where they come within
	// doubleSeconds and have no more than the share doubleMost of the strong one's weight, or
	// no more than doubleSmall. Then no wave below doubleHeld of the beat's weight is a beat
	// within doubleReach times what it took them to come, as long as such waves come.
	doubleSooner, doubleSeconds, doubleMost, doubleSmall, doubleHeld, doubleReach float64

	upstrokeEnd     float64 // the upstroke ends where the slope has fallen to this share
	triangleSeconds float64 // half length of the triangle the peak is looked for in
	reachSeconds    float64 // so near to where the upstroke ends

	polarity polarityParams
	shape    shapeParams
}

func defaultPulseParams() pulseParams {
	return pulseParams{
		smoothSeconds: 0.156, trendSeconds: 0.58, trendRR: 0.6, trendLeast: 0.75, steepest: 2.6, hysteresis: 0.037, swingSeconds: 3,
		startSeconds: 3, startShare: 0.5, threshold: 0.39, timely: 0.75, early: 0.52, regular: 0.3, regularNear: 0.06, refractory: 0.37, stronger: 2,
		decayAfter: 2, decaySeconds: 1.5, longest: 3,
		searchAt: 2.2, searchLate: 1.5, searchFrom: 0.5, searchShare: 0.1,
		doubleSooner: 0.85, doubleSeconds: 0.37, doubleMost: 0.95, doubleSmall: 1.0 / 3, doubleHeld: 0.85, doubleReach: 1.2,
		upstrokeEnd: 1.0 / 3, triangleSeconds: 0.03, reachSeconds: 0.06,
		polarity: polarityParams{meanSeconds: 1, momentSeconds: 4, saidSeconds: 20, clear: 0.3, lastsSeconds: 3},
		shape:    shapeParams{beforeSeconds: 0.2, afterSeconds: 0.3, least: 0.65, most: 0.95, learn: 0.8, share: 0.1, anew: 4},
	}
}

// PulseDetector finds the pulse in a light sensor's signal, of either polarity,
// in any unit. It is a Detector.
//
// Method: the input is brought to 100–200 Hz (three running means, sinc³),
// smoothed by a Hann window of 156 ms, held to a slope of 2.6 times the usual
// beat's, so that a jerk or a step does not outweigh the beats around it, and freed of
// drift by taking away its Hann-weighted mean over 0.58 s to either side, less in a fast
// rhythm. Being symmetric, that leaves no long recovery after a strong pulse, as a
// causal high-pass does, in which a weak one would drown; it costs those 0.58 s. The
// result is cut into rises and falls with a hysteresis. Each rise is weighed by the
// geometric mean of its height and its steepest slope and compared with the median of the last beats (an adaptive threshold
// as in Zong et al. 2003, "An open-source algorithm to detect onset of arterial blood
// pressure pulses", there on summed slopes). A rise is held to more before the expected
// time than at it, the more so in a regular rhythm. Where strong and weak ones have
// alternated, each weak one sooner after the strong one than before the next, the weak ones
// are dicrotic waves. When the next beat comes after more than one and a half R–R, or none within
// two, the smaller rises since the last one are looked at again.
//
// Polarity: the systolic upstroke is steeper than the fall after it, and the wave
// stands higher above its mean than it falls below, since a pulse is shorter than
// the rest. The skewness of slope and of height over some seconds, added, decides:
// at first after 3 s, later only when its mean over up to 20 s has said the opposite
// for 3 s.
//
// Sample is the end of the systolic upstroke: the highest point, or the shoulder
// before it where a slow second rise leads to the top (as with a late reflected
// wave or on a rising baseline). It is found in the signal freed of drift and
// smoothed by a triangle of 60 ms, at the input's own rate, within 60 ms of where
// the slope of the smoothed signal has fallen to a third. Foot is where the
// tangent at the steepest point of the rise meets the level of the lowest point
// before it (intersecting tangents, Hametner et al. 2013).
//
// Beats come LatencySamples after their peak in steady rhythm; in the first 3 s
// and in search-back later.
type PulseDetector struct {
	explain func(Candidate) // nil or what Explain was given
	// Immutable after New.
	rateHz    float64
	p         pulseParams
	ratio     int
	workHz    float64
	taps      []float64 // of the decimator
	hann      []float64
	trends    [8][]float64 // Hann means, the longest last
	trendLag  int          // work samples by which y is later than smooth
	lag       float64      // input samples from an event to its work sample
	tail      int          // work samples after the steepest point
	latency   int
	rawMask   int64
	workMask  int64
	shapeFrom int // template: work samples before the steepest point

	raw    []float64 // ring of the input, less the first sample
	dec    []float64 // ring at the work rate
	free   []float64 // ring: smoothed
	smooth []float64 // ring: of limited slope
	y      []float64 // ring: smoothed and freed of drift, later by trendLag
	trend  int       // which of trends
	n      int64     // input samples taken
	k      int64     // work samples made
	due    int
	first  float64

	polarity  polarity
	zig       zigzag
	deciders  [2]decider // for the signal and its inverse
	shape     pulseShape
	lastOut   int64
	pointPrev float64
	pointCur  float64
	scratch   [2][]float64
}

// Explain has fn called for every rise as it is judged, of the polarity then held for
// the pulse's, from within Process; nil ends it. Feature is the rise's weight, the
// geometric mean of its height and of its steepest slope over 0.1 s, in the input's
// unit; Floor is not told. A beat is told when it is reported, at the very sample.
func (d *PulseDetector) Explain(fn func(Candidate)) { d.explain = fn }

// zigzag follows the rises and falls.
type zigzag struct {
	up      bool
	begun   bool
	ext     float64 // the extreme so far
	extAt   int64
	turn    float64 // the turning point before it
	turnAt  int64
	steep   float64 // steepest slope of this swing, positive
	steepAt int64
	level   float64 // of swings; decays, so that the hysteresis adapts
}

// swing is a rise (of the signal or of its inverse) in work samples.
type swing struct {
	foot, peak, steep int64
	height            float64
	slope             float64
	weight            float64
	need              float64 // what it was held against when judged
}

type pendingBeat struct {
	swing
	back bool // from search-back
}

// decider picks the beats among the rises of one polarity.
type decider struct {
	held        [64]swing // before the first decision
	heldN       int
	started     bool
	weights     ring8
	slopes      ring8 // steepest, before they were limited
	rr          ring8
	last        swing
	haveLast    bool
	missed      [8]swing // rises rejected since the last beat
	missedN     int
	takes       takes
	double      int     // above 0: a dicrotic wave is expected after each beat,
	doubleReach float64 // up to so many samples after it
	pending     [16]pendingBeat
	pendingN    int
}

// ring8 keeps the last eight values and their median, 0 for none.
type ring8 struct {
	v      [8]float64
	n      int
	median float64
	// Of an odd number the oldest is left out, so that two values in turn give their mean.
	evenMedian float64
}

func (r *ring8) reset()   { *r = ring8{} }
func (r *ring8) len() int { return min(r.n, 8) }

func (r *ring8) add(x float64) {
	r.v[r.n%8] = x
	r.n++
	v, w, n := r.v, r.v, r.len()
	r.median = medianOf(v[:n])
	r.evenMedian = r.median
	if n > 1 && n%2 == 1 {
		r.evenMedian = medianOf(w[1:n])
	}
}

// NewPulse makes a pulse detector for a sample rate of 25 to 192000 Hz.
func NewPulse(rateHz float64) (*PulseDetector, error) {
	return newPulse(rateHz, defaultPulseParams())
}

func newPulse(rateHz float64, p pulseParams) (*PulseDetector, error) {
	if !(rateHz >= minRateHz && rateHz <= maxRateHz) {
		return nil, fmt.Errorf("beat: pulse detector: sample rate %g Hz; must be %d to %d Hz", rateHz, minRateHz, maxRateHz)
	}
	d := &PulseDetector{rateHz: rateHz, p: p, ratio: max(1, int(rateHz/100))}
	d.workHz = rateHz / float64(d.ratio)
	d.taps = []float64{1}
	box := make([]float64, d.ratio)
	for i := range box {
		box[i] = 1 / float64(d.ratio)
	}
	for range 3 {
		d.taps = convolve(d.taps, box)
	}
	d.hann = hannMean(p.smoothSeconds * d.workHz / 2)
	for i := range d.trends {
		d.trends[i] = hannMean(p.trendSeconds * d.workHz * (p.trendLeast + (1-p.trendLeast)*float64(i)/float64(len(d.trends)-1)))
	}
	d.trendLag = len(d.trends[len(d.trends)-1]) / 2
	d.lag = float64(len(d.taps)-1)/2 + float64((len(d.hann)-1)/2+d.trendLag)*float64(d.ratio)
	d.tail = int(math.Ceil(p.shape.afterSeconds * d.workHz))
	d.latency = int(math.Ceil(p.shape.afterSeconds*rateHz+d.lag)) + 2*d.ratio
	const rememberSeconds = 12
	d.raw = make([]float64, pow2(rememberSeconds*rateHz+float64(len(d.taps))))
	d.dec = make([]float64, pow2(float64(len(d.hann)+2)))
	d.polarity.init(p.polarity, d.workHz)
	size := pow2(rememberSeconds * d.workHz)
	d.rawMask, d.workMask = int64(len(d.raw)-1), int64(size-1)
	d.shapeFrom = int(math.Round(p.shape.beforeSeconds * d.workHz))
	d.smooth, d.y = make([]float64, size), make([]float64, size)
	d.free = make([]float64, size)
	d.shape.init(p.shape, d.shapeFrom+d.tail)
	for i := range d.scratch {
		d.scratch[i] = make([]float64, int(1.7*rateHz)+8)
	}
	d.Reset()
	return d, nil
}

// hannMean is a Hann window of the given half length whose sum is 1, of an odd
// number of samples.
func hannMean(half float64) []float64 {
	m := max(1, int(math.Round(half)))
	var h []float64
	sum := 0.0
	for i := -m + 1; i < m; i++ {
		w := 0.5 + 0.5*math.Cos(math.Pi*float64(i)/float64(m))
		h = append(h, w)
		sum += w
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}

func convolve(a, b []float64) []float64 {
	c := make([]float64, len(a)+len(b)-1)
	for i, x := range a {
		for j, y := range b {
			c[i+j] += x * y
		}
	}
	return c
}

func pow2(n float64) int {
	p := 16
	for float64(p) < n {
		p *= 2
	}
	return p
}

// Reset forgets everything; samples count from 0 again.
func (d *PulseDetector) Reset() {
	d.n, d.k, d.due = 0, 0, 0
	d.trend = d.trendFor(0)
	d.polarity.reset()
	d.zig = zigzag{}
	d.deciders = [2]decider{}
	d.shape.reset()
	d.lastOut = -1 << 60
	d.pointPrev, d.pointCur = 0, 0
}

// LatencySamples is the longest delay from a beat's Sample to the input sample
// that reports it, in steady rhythm.
func (d *PulseDetector) LatencySamples() int { return d.latency }

// Polarity is +1 when the pulse goes up in the input, −1 when it goes down, 0
// while undecided.
func (d *PulseDetector) Polarity() int { return int(d.polarity.sign) }

// Process finds beats; see Detector.
func (d *PulseDetector) Process(dst []Beat, src []float64) []Beat {
	return d.ProcessPoint(dst, nil, src)
}

// ProcessPoint is Process that also gives what the detector looks at: the
// smoothed signal free of drift, as long as src, in the input's polarity and unit,
// late by PointDelaySamples. point may be nil.
func (d *PulseDetector) ProcessPoint(dst []Beat, point, src []float64) []Beat {
	if point != nil && len(point) != len(src) {
		panic(fmt.Sprintf("beat: ProcessPoint: point has %d samples, src %d; must be equal", len(point), len(src)))
	}
	for i, x := range src {
		if d.n == 0 {
			d.first = x
			for j := range d.raw {
				d.raw[j] = 0
			}
			for j := range d.dec {
				d.dec[j] = 0
			}
			for j := range d.smooth {
				d.smooth[j] = 0
			}
		}
		d.raw[d.n&d.rawMask] = x - d.first
		d.n++
		if d.due == 0 {
			d.due = d.ratio
			dst = d.work(dst)
		}
		d.due--
		if point != nil {
			// Straight line from the work sample before to this one.
			f := float64(d.ratio-d.due) / float64(d.ratio)
			point[i] = d.pointPrev + f*(d.pointCur-d.pointPrev)
		}
	}
	return dst
}

// PointDelaySamples is the delay of ProcessPoint's point.
func (d *PulseDetector) PointDelaySamples() int {
	return int(math.Round(d.lag)) + d.ratio - 1
}

// work makes one sample at the work rate.
func (d *PulseDetector) work(dst []Beat) []Beat {
	v := 0.0
	for i, h := range d.taps {
		v += h * d.raw[(d.n-1-int64(i))&d.rawMask]
	}
	dm := int64(len(d.dec) - 1)
	d.dec[d.k&dm] = v
	v = 0
	for i, h := range d.hann {
		v += h * d.dec[(d.k-int64(i))&dm]
	}
	d.free[d.k&d.workMask] = v
	v = d.limited(v)
	d.smooth[d.k&d.workMask] = v
	decide := float64(d.k) >= (d.p.startSeconds+d.p.trendSeconds)*d.workHz
	if d.polarity.add(v, decide) {
		d.shape.reset()
	}
	y := d.smooth[(d.k-int64(d.trendLag))&d.workMask]
	trend := d.trends[d.trend]
	newest := d.k - int64(d.trendLag-len(trend)/2)
	for i, h := range trend {
		y -= h * d.smooth[(newest-int64(i))&d.workMask]
	}
	slope := 0.0
	if d.k > 0 {
		slope = y - d.y[(d.k-1)&d.workMask]
	}
	d.y[d.k&d.workMask] = y
	d.swings(y, slope)
	if decide {
		for i := range d.deciders {
			d.deciders[i].tick(d)
		}
		dst = d.emit(dst)
	}
	d.pointPrev, d.pointCur = d.pointCur, y
	d.k++
	return dst
}

// trendFor chooses among trends for an R–R in work samples, 0 when unknown.
func (d *PulseDetector) trendFor(rr float64) int {
	most := len(d.trends) - 1
	if rr == 0 {
		return most / 2
	}
	return int(math.Round(float64(most) * unitClamp((rr/(d.p.trendRR*d.workHz)-d.p.trendLeast)/(1-d.p.trendLeast))))
}

// limited is smooth, whose newest sample v follows with its slope limited to some of the
// usual beat's, so that a jerk or a step outweighs no more beats than a few of its own size.
func (d *PulseDetector) limited(v float64) float64 {
	if d.k == 0 {
		return v
	}
	limit := 0.0
	for i := range d.deciders {
		if s := &d.deciders[i].slopes; s.len() > 0 {
			limit = max(limit, d.p.steepest*s.median)
		}
	}
	before := (d.k - 1) & d.workMask
	slope := v - d.free[before]
	if limit > 0 {
		slope = max(-limit, min(slope, limit))
	}
	return d.smooth[before] + slope
}

// swings follows the rises and falls.
func (d *PulseDetector) swings(y, slope float64) {
	b := &d.zig
	if !b.begun {
		b.begun, b.up = true, true
		b.ext, b.extAt, b.turn, b.turnAt = y, d.k, y, d.k
		b.steep, b.steepAt = 0, d.k
		return
	}
	sign := 1.0
	if !b.up {
		sign = -1
	}
	if s := sign * slope; s > b.steep {
		b.steep, b.steepAt = s, d.k
	}
	b.level *= math.Exp(-1 / (d.p.swingSeconds * d.workHz))
	if sign*(y-b.ext) >= 0 {
		b.ext, b.extAt = y, d.k
		b.level = max(b.level, math.Abs(b.ext-b.turn))
		return
	}
	if sign*(b.ext-y) <= d.p.hysteresis*b.level {
		return
	}
	// The swing from turn to ext is over.
	height := math.Abs(b.ext - b.turn)
	c := 0.1 * d.workHz
	sw := swing{foot: b.turnAt, peak: b.extAt, steep: b.steepAt, height: height, slope: b.steep,
		weight: math.Sqrt(height * b.steep * c)}
	rises := &d.deciders[1]
	if b.up {
		rises = &d.deciders[0]
	}
	rises.add(d, sw)
	b.up = !b.up
	b.turn, b.turnAt = b.ext, b.extAt
	b.ext, b.extAt = y, d.k
	// The steepest point of the new swing is among the samples since the turn.
	b.steep, b.steepAt = 0, d.k
	for j := b.turnAt + 1; j <= d.k; j++ {
		if s := -sign * (d.y[j&d.workMask] - d.y[(j-1)&d.workMask]); s > b.steep {
			b.steep, b.steepAt = s, j
		}
	}
}
