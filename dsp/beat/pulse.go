package beat

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/filter"
)

// Sample rates the detector takes, and its high-passes.
const (
	pulseBands = 3
	minRateHz  = 25
	maxRateHz  = 192000
)

// pulseParams are the pulse detector's numbers. They were set from physiology
// and round figures, then checked by moving each by a fifth either way
// (TestPulsePerturbed). Levels are relative to the typical beat.
type pulseParams struct {
	smoothSeconds float64 // whole length of the Hann smoothing; −6 dB at 1/length
	highPassHz    float64 // second order, against drift
	hysteresis    float64 // a swing must turn back by this share of the level to end
	startSeconds  float64 // heard before the first decision
	threshold     float64 // a rise counts from this share of the level, in its expected time
	early         float64 // and from this share well before it
	searchShare   float64 // search-back: a missed rise counts from this share
	searchAt      float64 // search-back after this many R–R
	refractory    float64 // no beat within this share of the R–R
	notchShare    float64 // a wave soon after a beat, up to notchSeconds, from a notch no deeper than this is the same pulse
	notchSeconds  float64
	notchReach    float64 // and up to this share of the R–R
	decaySeconds  float64 // the level falls with this time constant when nothing is found
	bandStep      float64 // from one high-pass to the next higher
	bandGain      float64 // by so much a higher one's beats must be more even
	tailSeconds   float64 // seen after the steepest point for the quality
}

func defaultPulseParams() pulseParams {
	return pulseParams{
		smoothSeconds: 0.15,
		highPassHz:    0.5,
		hysteresis:    0.08,
		startSeconds:  3,
		threshold:     0.3,
		early:         0.4,
		searchShare:   0.12,
		searchAt:      1.6,
		refractory:    0.4,
		notchShare:    0.55,
		notchSeconds:  0.42,
		notchReach:    0.6,
		decaySeconds:  1.5,
		bandStep:      1.75,
		bandGain:      0.1,
		tailSeconds:   0.45,
	}
}

// PulseDetector finds the pulse in a light sensor's signal, of either polarity,
// in any unit. It is a Detector.
//
// Method: the input is brought to 100–200 Hz (three running means, sinc³),
// smoothed by a Hann window of 150 ms and freed of drift by a second-order
// high-pass at 0.5 Hz. The result is cut into rises and falls with a hysteresis;
// each rise is weighed by the geometric mean of its height and its steepest
// slope, and compared with the median of the last beats (an adaptive threshold as
// in Zong et al. 2003, "An open-source algorithm to detect onset of arterial
// blood pressure pulses", there on summed slopes). A rise is held to more before
// the expected time than at it, and a wave that starts from a shallow notch
// shortly after a beat is that beat's dicrotic wave. A beat missed by 1.6 R–R is
// looked for again among the smaller rises.
//
// Three high-passes run side by side, at 0.5, 0.9 and 1.5 Hz. The lowest is
// listened to unless the beats of a higher one have been clearly more even in
// weight and interval, as with a weak pulse in strong drift.
//
// Polarity: the systolic upstroke is steeper than the fall after it, and the wave
// stands higher above its mean than it falls below, since a pulse is shorter than
// the rest. The skewness of slope and of height over some seconds, added, decides:
// at first after 3 s, later only when it has said the opposite for 3 s.
//
// Sample is the highest point of the input smoothed by a triangle of 60 ms, found
// at the input's own rate. Foot is where the tangent at the steepest point of the
// rise meets the level of the lowest point before it (intersecting tangents,
// Hametner et al. 2013).
//
// Beats come LatencySamples after their peak in steady rhythm; in the first 3 s
// and in search-back later.
type PulseDetector struct {
	// Immutable after New.
	rateHz    float64
	p         pulseParams
	ratio     int
	workHz    float64
	taps      []float64 // of the decimator
	hann      []float64
	lag       float64 // input samples from an event to its work sample
	tail      int     // work samples after the steepest point
	latency   int
	rawMask   int64
	workMask  int64
	shapeFrom int // template: work samples before the steepest point

	raw   []float64 // ring of the input, less the first sample
	dec   []float64 // ring at the work rate
	n     int64     // input samples taken
	k     int64     // work samples made
	due   int
	first float64

	polarity  polarity
	bands     [pulseBands]pulseBand
	band      int // the one listened to
	better    int // beats in a row for which another was better
	lastOut   int64
	lastSteep int64
	pointPrev float64
	pointCur  float64
	scratch   []float64
}

// pulseBand looks for beats in the signal freed of drift by one high-pass.
type pulseBand struct {
	highPass *filter.Cascade
	y        []float64 // ring: smoothed, high-passed

	// Zigzag.
	up         bool
	begun      bool
	ext        float64 // the extreme so far
	extAt      int64
	turn       float64 // the turning point before it
	turnAt     int64
	steep      float64 // steepest slope of this swing, positive
	steepAt    int64
	prevHeight float64
	swingLevel float64

	deciders [2]decider // for the signal and its inverse
	shape    pulseShape
	uneven   float64 // of its last beats
}

// swing is a rise (of the signal or of its inverse) in work samples.
type swing struct {
	foot, peak, steep int64
	height            float64
	slope             float64
	depth             float64 // fall from the peak before to the foot
	weight            float64
}

type pendingBeat struct {
	swing
	before swing // the beat before it
	back   bool  // from search-back
}

// decider picks the beats among the rises of one polarity.
type decider struct {
	held     [64]swing // before the first decision
	heldN    int
	started  bool
	weights  ring8
	rr       ring8
	last     swing
	haveLast bool
	missed   [8]swing // rises rejected since the last beat
	missedN  int
	takes    takes
	double   int // above 0: a dicrotic wave is expected after each beat
	pending  [16]pendingBeat
	pendingN int
}

// ring8 keeps the last eight values and their median.
type ring8 struct {
	v [8]float64
	n int
}

func (r *ring8) add(x float64) { r.v[r.n%8] = x; r.n++ }
func (r *ring8) reset()        { r.n = 0 }
func (r *ring8) len() int      { return min(r.n, 8) }
func (r *ring8) median() float64 {
	n := r.len()
	if n == 0 {
		return 0
	}
	v := r.v
	slices.Sort(v[:n])
	return (v[(n-1)/2] + v[n/2]) / 2
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
	m := max(1, int(math.Round(p.smoothSeconds*d.workHz/2))) // half length
	sum := 0.0
	for i := -m + 1; i < m; i++ {
		w := 0.5 + 0.5*math.Cos(math.Pi*float64(i)/float64(m))
		d.hann = append(d.hann, w)
		sum += w
	}
	for i := range d.hann {
		d.hann[i] /= sum
	}
	d.lag = float64(len(d.taps)-1)/2 + float64(len(d.hann)-1)/2*float64(d.ratio)
	d.tail = int(math.Ceil(p.tailSeconds * d.workHz))
	// A peak lies after the steepest point, so the tail and the lag bound it.
	d.latency = int(math.Ceil(p.tailSeconds*rateHz+d.lag)) + 2*d.ratio
	const rememberSeconds = 12
	d.raw = make([]float64, pow2(rememberSeconds*rateHz+float64(len(d.taps))))
	d.dec = make([]float64, pow2(float64(len(d.hann)+2)))
	d.polarity.init(d.workHz)
	size := pow2(rememberSeconds * d.workHz)
	d.rawMask, d.workMask = int64(len(d.raw)-1), int64(size-1)
	d.shapeFrom = int(math.Round(0.2 * d.workHz))
	for i, hz := range []float64{p.highPassHz, p.highPassHz * p.bandStep, p.highPassHz * p.bandStep * p.bandStep} {
		s, err := filter.ButterworthHighPass(d.workHz, hz, 2)
		if err != nil {
			return nil, err
		}
		b := &d.bands[i]
		if b.highPass, err = filter.NewCascade(s, d.workHz); err != nil {
			return nil, err
		}
		b.y = make([]float64, size)
		b.shape.init(d.shapeFrom + d.tail)
	}
	d.scratch = make([]float64, int(1.6*rateHz)+8)
	d.Reset()
	return d, nil
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
	d.polarity.reset()
	d.band, d.better = 0, 0
	d.lastOut, d.lastSteep = -1<<60, -1<<60
	d.pointPrev, d.pointCur = 0, 0
	for i := range d.bands {
		b := &d.bands[i]
		b.highPass.Reset()
		b.shape.reset()
		*b = pulseBand{highPass: b.highPass, y: b.y, shape: b.shape, uneven: 0.5}
	}
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

// PointDelaySamples is the delay of ProcessPoint's point, the high-pass's own
// lead left out.
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
	s := [1]float64{}
	for i, h := range d.hann {
		s[0] += h * d.dec[(d.k-int64(i))&dm]
	}
	if d.polarity.add(s[0], float64(d.k) >= d.p.startSeconds*d.workHz) {
		for i := range d.bands {
			d.bands[i].shape.reset()
		}
	}
	dst = d.look(dst, s[0])
	d.k++
	return dst
}

// look takes one smoothed sample into every band.
func (d *PulseDetector) look(dst []Beat, v float64) []Beat {
	decide := float64(d.k) >= d.p.startSeconds*d.workHz
	for i := range d.bands {
		b := &d.bands[i]
		s := [1]float64{v}
		b.highPass.Process(s[:], s[:])
		y, slope := s[0], 0.0
		if d.k > 0 {
			slope = y - b.y[(d.k-1)&d.workMask]
		}
		b.y[d.k&d.workMask] = y
		d.zigzag(b, y, slope)
		if decide {
			for j := range b.deciders {
				b.deciders[j].tick(d)
			}
			dst = d.emit(dst, i)
		}
		if i == d.band {
			d.pointPrev, d.pointCur = d.pointCur, y
		}
	}
	return dst
}

// zigzag follows the rises and falls.
func (d *PulseDetector) zigzag(b *pulseBand, y, slope float64) {
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
	// The level of swings decays, so that the hysteresis adapts.
	b.swingLevel *= math.Exp(-1 / (3 * d.workHz))
	if sign*(y-b.ext) >= 0 {
		b.ext, b.extAt = y, d.k
		b.swingLevel = max(b.swingLevel, min(math.Abs(b.ext-b.turn), 1.5*b.swingLevel+math.Abs(b.ext-b.turn)/(0.3*d.workHz)))
		return
	}
	if sign*(b.ext-y) <= d.p.hysteresis*b.swingLevel {
		return
	}
	// The swing from turn to ext is over.
	height := math.Abs(b.ext - b.turn)
	c := 0.1 * d.workHz
	sw := swing{foot: b.turnAt, peak: b.extAt, steep: b.steepAt, height: height, slope: b.steep,
		weight: math.Sqrt(height * b.steep * c)}
	other := &b.deciders[1]
	if b.up {
		other = &b.deciders[0]
	}
	sw.depth = b.prevHeight
	b.prevHeight = height
	other.add(d, sw)
	b.up = !b.up
	b.turn, b.turnAt = b.ext, b.extAt
	b.ext, b.extAt = y, d.k
	// The steepest point of the new swing is among the samples since the turn.
	b.steep, b.steepAt = 0, d.k
	for j := b.turnAt + 1; j <= d.k; j++ {
		if s := -sign * (b.y[j&d.workMask] - b.y[(j-1)&d.workMask]); s > b.steep {
			b.steep, b.steepAt = s, j
		}
	}
}
