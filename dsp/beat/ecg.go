package beat

import (
	"fmt"
	"math"

	"pulsewright/dsp/filter"
)

// Candidate is a place where a detector looked for a beat, and what it
// decided, for a page that shows why a beat was or was not taken.
type Candidate struct {
	// Sample is where the R peak or the peak of the pulse would be.
	Sample int64 `json:"sample"`
	// Feature is, of an ECG, the QRS-band level there, of a pulse the weight of the
	// rise (PulseDetector.Explain); Threshold is what it was held against (0 while
	// searching). Input's unit.
	Feature   float64 `json:"feature"`
	Threshold float64 `json:"threshold"`
	// Agreement is the best correlation with the shapes known so far, −1 to 1.
	Agreement float64 `json:"agreement"`
	// Floor is the background level around it.
	Floor float64 `json:"floor"`
	Taken bool    `json:"taken"`
	// Reason in plain words.
	Reason string `json:"reason"`
}

// ECGConfig configures an ECGDetector.
type ECGConfig struct {
	// RateHz is the sample rate, 100 to 192000 Hz.
	RateHz float64
}

// Rates the ECG detector is tested for.
const (
	ECGMinRateHz = 100
	ECGMaxRateHz = filter.MaxRateHz
)

const (
	ecgRing     = 4096 // internal samples kept: 13.6 s
	ecgMask     = ecgRing - 1
	ecgCands    = 128
	ecgSpare    = 8  // of them not looked at any more, soon to be overwritten
	pendingMost = 24 // candidates that wait for what follows
	decideEach  = 3  // internal samples, 10 ms
	weakMost    = 8  // refused ones remembered
	steadyLeast = 4  // intervals make a rhythm
	history     = 8  // beats and intervals remembered
)

// ecgCand is a local maximum of the level.
type ecgCand struct {
	at        int64 // internal index
	level     float64
	slow      float64 // range of slow waves there
	quick     float64 // logarithm of the level and its share of slow waves: how far it is a QRS, no P or T wave
	usual     float64 // level of a usual beat when it was judged
	around    float64 // rms around it
	floor     float64 // background level
	slope     float64 // greatest nearby
	tip       float64 // internal index of the greatest height nearby
	height    float64 // there, signed
	r         int64   // R, so far as it is known
	fault     string  // why the input there is no QRS at all
	step      bool    // the level does not come back
	kind      int     // the kind of beat it is likest, −1 for none
	lag       float64 // by which it is later than that kind
	agreement float64 // and their correlation
	points    float64
	followed  bool    // what follows it has been looked at
	margin    float64 // of the likeliest sequence with it over that without
	shape     [shapeFull]float64
}

// ECGDetector finds R peaks in a raw ECG; see NewECG and METHOD.md.
type ECGDetector struct {
	// Immutable after New.
	config                  ECGConfig
	p                       ecgParams
	front                   *ecgFront
	drift, low, half, ahead int64 // internal samples
	near, before            int64
	beside                  int64 // what is near a candidate is known so long after it
	explain                 func(Candidate)

	smooth, sharp, f2, level [ecgRing]float64
	j                        int64

	cands      [ecgCands]ecgCand
	pending    [pendingMost]*ecgCand // judged, neither taken nor refused, oldest first
	nPending   int
	weak       [weakMost]float64 // levels of the last ones refused
	nWeak      int64
	made       int64 // candidates made
	judged     int64 // candidates judged
	met        int64 // candidates whose kind knows what was near
	peaks      [history]float64
	nPeaks     int64
	rr         [history]float64
	nRR        int64
	last       ecgCand // the last beat
	lastSample int64
	searching  bool
	pairs      int        // intervals in a row with a second beat at the same distance
	second     bool       // a wave that but for the rhythm were a beat came after the last one
	midway     bool       // so did one midway to the next, as strong as they are
	halves     int        // intervals in a row with such a one
	pairGap    int64      // that distance
	levels     [2]float64 // of the last two beats
	lastGap    int64      // the last interval
	nextTry    int64
	kinds      [kindsMax]ecgKind
	scratch    [ecgRing]float64
	out        []Beat
	margins    []float64 // of each: ecgCand.margin, 0 for one of a start
}

// NewECG makes a detector for a rate of 100 to 192000 Hz.
func NewECG(rateHz float64) (*ECGDetector, error) {
	return NewECGConfig(ECGConfig{RateHz: rateHz})
}

// NewECGConfig makes a detector of R peaks.
func NewECGConfig(c ECGConfig) (*ECGDetector, error) { return newECG(c, defaultECGParams()) }

func newECG(c ECGConfig, p ecgParams) (*ECGDetector, error) {
	if !(c.RateHz >= ECGMinRateHz && c.RateHz <= ECGMaxRateHz) {
		return nil, fmt.Errorf("beat: rate %g Hz: an ECG needs %d to %d Hz; sample faster, or decimate first", c.RateHz, ECGMinRateHz, ECGMaxRateHz)
	}
	front, err := newECGFront(c.RateHz)
	if err != nil {
		return nil, fmt.Errorf("beat: %w", err)
	}
	half := func(seconds float64) int64 { return int64(math.Round((seconds*ecgRateHz - 1) / 2)) }
	d := &ECGDetector{config: c, p: p, front: front, margins: make([]float64, 0, ecgCands)}
	d.drift, d.low, d.half, d.before = half(p.driftSeconds), half(p.smoothSeconds), half(p.windowSeconds), half(p.aroundSeconds)
	d.ahead = int64(p.aheadSeconds * ecgRateHz)
	d.near = int64(nearSeconds * ecgRateHz)
	d.beside = int64((p.backSeconds + p.aheadSeconds) * ecgRateHz)
	d.Reset()
	return d, nil
}

// The band of the QRS that a monitor shows.
const ecgLowHz, ecgHighHz = 8, 20

const nearSeconds = 0.06 // a candidate is the greatest level within ± this

// Explain has fn called for every candidate as it is judged, from within Process;
// nil ends it. A candidate refused may be reported again when search-back takes it.
func (d *ECGDetector) Explain(fn func(Candidate)) { d.explain = fn }

// LatencySamples is the longest delay from a beat's R peak to the input sample that
// reports it in steady rhythm.
func (d *ECGDetector) LatencySamples() int {
	f := d.front
	internal := f.delay + float64(d.drift+d.half) + d.p.lookSeconds*ecgRateHz + decideEach + reachSeconds*ecgRateHz
	return int(math.Ceil((internal*f.ratio+2)*float64(f.mean))) + 1
}

// Reset forgets everything; the next sample is sample 0.
func (d *ECGDetector) Reset() {
	d.front.reset()
	d.j = 0
	clear(d.f2[:])
	clear(d.level[:])
	d.made, d.judged, d.met, d.nPeaks, d.nRR = 0, 0, 0, 0, 0
	d.last = ecgCand{at: -1 << 40, r: -1 << 40}
	d.lastSample = -1 << 62
	d.nPending, d.nWeak = 0, 0
	d.searching, d.nextTry = true, 0
	d.pairs, d.pairGap, d.second, d.midway, d.halves, d.lastGap, d.levels = 0, 0, false, false, 0, 0, [2]float64{}
	clear(d.kinds[:])
}

// Process takes samples in and appends the beats that have become certain.
func (d *ECGDetector) Process(dst []Beat, src []float64) []Beat {
	d.out, d.margins = dst, d.margins[:0]
	d.front.process(src, d.step)
	dst, d.out = d.out, nil
	return dst
}

// step takes one internal sample.
func (d *ECGDetector) step(smooth, sharp float64) {
	j := d.j
	if j == 0 {
		for i := range d.smooth {
			d.smooth[i], d.sharp[i] = smooth, sharp
		}
	}
	d.smooth[j&ecgMask], d.sharp[j&ecgMask] = smooth, sharp
	d.j++
	// The wave stands drift samples back, where its mean is known.
	i := j - d.drift
	if i < 0 {
		return
	}
	mean := 0.0
	for k := i - d.drift; k <= j; k++ {
		mean += d.smooth[k&ecgMask]
	}
	m := d.smooth[i&ecgMask]
	if d.low > 0 {
		m = 0
		for k := i - d.low; k <= i+d.low; k++ {
			m += d.smooth[k&ecgMask] / float64(2*d.low+1)
		}
	}
	f := m - mean/float64(2*d.drift+1)
	d.f2[i&ecgMask] = f * f
	c := i - d.half
	if c < 0 {
		return
	}
	d.level[c&ecgMask] = d.rms(c-d.half, i)
	d.find(c - d.near)
	for d.judged < d.made {
		q := &d.cands[d.judged%ecgCands]
		if q.at+d.ahead > c {
			break
		}
		d.judged++
		d.judge(q, c)
	}
	for d.met < d.judged && d.cands[d.met%ecgCands].at+d.beside < c {
		d.meet(d.met)
		d.met++
	}
	if d.nPending > 0 && c%decideEach == 0 {
		d.decide(c)
	}
	d.seek(c)
}

// rms of the wave over internal samples from to to, both included.
func (d *ECGDetector) rms(from, to int64) float64 {
	sum := 0.0
	for k := from; k <= to; k++ {
		sum += d.f2[k&ecgMask]
	}
	return math.Sqrt(sum / float64(to-from+1))
}

// find makes a candidate of p if the level is greatest there within ± near.
func (d *ECGDetector) find(p int64) {
	if p < d.near {
		return
	}
	v := d.level[p&ecgMask]
	if !(v > 0) {
		return
	}
	for i := p - d.near; i <= p+d.near; i++ {
		if x := d.level[i&ecgMask]; x > v || x == v && i < p {
			return
		}
	}
	d.cands[d.made%ecgCands] = ecgCand{at: p, level: v, kind: -1}
	d.made++
}
