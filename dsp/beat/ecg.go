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
	// Feature is, of an ECG, the QRS-band level there, weighed with the shape's
	// agreement, of a pulse the weight of the rise (PulseDetector.Explain);
	// Threshold is what it was held against (0 while searching). Input's unit.
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
	// MinVolts refuses beats whose swing (peak to peak around R) is smaller, in the
	// input's unit; 0 is off. With an input in volts at the electrodes, EC13's
	// limit is 0.15 mV.
	MinVolts float64
}

// Rates the ECG detector is tested for.
const (
	ECGMinRateHz = 100
	ECGMaxRateHz = filter.MaxRateHz
)

const (
	ecgRateHz = 250 // internal rate, samples per second
	ecgRing   = 2048
	ecgCands  = 128
	ecgSpare  = 8 // of them not looked at any more, soon to be overwritten
	ecgChunk  = 256

	shapeStep = 2  // shapes are kept at every second internal sample
	shapeLen  = 35 // samples of a shape: 280 ms
	shapeLag  = 5  // search for the best fit, samples of a shape: ±40 ms
	shapeFull = shapeLen + 2*shapeLag
	shapeMax  = 6  // kinds of beat remembered
	history   = 8  // beats and intervals remembered
	spikeMax  = 16 // half the longest running median, steps of 1 to 2 ms

	slopeMillis = 60 // the slope is sought within ± this of the level's maximum

	tailStep = 4  // a kind's tail is kept in bins of so many internal samples: 16 ms
	tailLen  = 38 // bins: 608 ms
)

// ecgCand is a local maximum of the QRS-band level.
type ecgCand struct {
	at        int64 // internal index of the maximum, in the level's time
	sample    int64 // R peak, input samples
	level     float64
	floor     float64 // background level around it
	quiet     float64 // level between the beats
	agreement float64
	feature   float64
	threshold float64
	amplitude float64
	swing     float64
	taken     bool
	slope     float64 // greatest slope nearby in the wider band
	clipped   bool
	fault     string // why the input there is no QRS at all
	shadowed  bool   // a stronger one follows at once
	refusal   string
	shape     [shapeFull]float64
}

type ecgShape struct {
	v     [shapeLen]float64
	count int
	last  int64
	// Mean slope of its beats: QRS complexes are steep, P and T waves are not.
	slope float64
	// What follows a beat of this kind, share of its level: the greatest level in
	// each bin of the time after it, a mean over beats, and how many were seen.
	tail  [tailLen]float64
	tails [tailLen]int
}

// ECGDetector finds R peaks in a raw ECG; see NewECG.
type ECGDetector struct {
	// Immutable after New.
	config  ECGConfig
	p       ecgParams
	ratio   float64 // input samples per internal sample
	back    float64 // input samples from a level's internal index, scaled, back to the event
	shift   int64   // internal samples from the level's time to the shape's time
	half    int64   // half the level's window, internal samples
	ahead   int64   // a candidate is judged so much after its maximum
	explain func(Candidate)

	lowpass, qrs, broad *filter.Cascade
	chunk               [ecgChunk]float64
	outU, outF, outM    []float64

	// Input side.
	raw  []float64 // ring of raw input, power of two
	n    int64     // input samples seen
	tap  [4]float64
	next int64 // internal samples made

	// Internal side.
	f2, level, shape [ecgRing]float64
	sum              float64
	j                int64

	cands      [ecgCands]ecgCand
	made       int64            // candidates made
	judged     int64            // candidates judged
	peaks      [history]float64 // levels of the last beats
	slopes     [history]float64 // their slopes
	nPeaks     int64
	rr         [history]float64
	nRR        int64
	last       int64 // internal index of the last beat, level's time
	lastCand   ecgCand
	lastKind   int
	lastSample int64
	overdue    int64 // internal index from which on the next beat is overdue
	looked     int64 // candidates judged when it was last looked for, and nothing found
	searching  bool
	nextTry    int64
	shapes     [shapeMax]ecgShape
	scratch    [ecgRing]float64
}

// NewECG makes a detector for a rate of 100 to 192000 Hz; see NewECGConfig.
func NewECG(rateHz float64) (*ECGDetector, error) {
	return NewECGConfig(ECGConfig{RateHz: rateHz})
}

// NewECGConfig makes a detector of R peaks.
func NewECGConfig(c ECGConfig) (*ECGDetector, error) { return newECG(c, defaultECGParams()) }

func newECG(c ECGConfig, p ecgParams) (*ECGDetector, error) {
	if !(c.RateHz >= ECGMinRateHz && c.RateHz <= ECGMaxRateHz) {
		return nil, fmt.Errorf("beat: rate %g Hz: an ECG needs %d to %d Hz; sample faster, or decimate first", c.RateHz, ECGMinRateHz, ECGMaxRateHz)
	}
	if !(c.MinVolts >= 0) || math.IsInf(c.MinVolts, 1) {
		return nil, fmt.Errorf("beat: smallest beat %g V: must be 0 (off) or more", c.MinVolts)
	}
	d := &ECGDetector{config: c, p: p, ratio: c.RateHz / ecgRateHz}
	lp, err := filter.ButterworthLowPass(c.RateHz, 40, 4)
	if err != nil {
		return nil, fmt.Errorf("beat: %w", err)
	}
	if d.lowpass, err = filter.NewCascade(lp, c.RateHz); err != nil {
		return nil, fmt.Errorf("beat: %w", err)
	}
	band := func(low, high float64) (*filter.Cascade, error) {
		hp, err := filter.ButterworthHighPass(ecgRateHz, low, 2)
		if err != nil {
			return nil, err
		}
		lp, err := filter.ButterworthLowPass(ecgRateHz, high, 2)
		if err != nil {
			return nil, err
		}
		return filter.NewCascade(filter.Join(hp, lp), ecgRateHz)
	}
	if d.qrs, err = band(p.qrsLowHz, p.qrsHighHz); err != nil {
		return nil, fmt.Errorf("beat: %w", err)
	}
	if d.broad, err = band(p.shapeLowHz, p.shapeHighHz); err != nil {
		return nil, fmt.Errorf("beat: %w", err)
	}
	d.half = int64(p.windowSeconds * ecgRateHz / 2)
	d.ahead = int64(p.aheadSeconds * ecgRateHz)
	mid := math.Sqrt(p.qrsLowHz * p.qrsHighHz)
	gQRS, gShape := d.qrs.GroupDelaySamples(mid), d.broad.GroupDelaySamples(mid)
	d.back = d.lowpass.GroupDelaySamples(mid) + gQRS*d.ratio
	d.shift = int64(math.Round(gShape - gQRS))
	size := 1
	for float64(size) < 1.5*c.RateHz+2*ecgChunk {
		size *= 2
	}
	d.raw = make([]float64, size)
	most := int(ecgChunk/d.ratio) + 4
	d.outU, d.outF, d.outM = make([]float64, most), make([]float64, most), make([]float64, most)
	d.Reset()
	return d, nil
}

// Explain has fn called for every candidate as it is judged, from within Process;
// nil ends it. A candidate refused may be reported again when search-back takes it.
func (d *ECGDetector) Explain(fn func(Candidate)) { d.explain = fn }

// LatencySamples is the longest delay from a beat's R peak to the input sample that
// reports it in steady rhythm.
func (d *ECGDetector) LatencySamples() int {
	s := d.back/d.config.RateHz + float64(d.half+d.ahead)/ecgRateHz + d.p.locateSeconds
	return int(math.Ceil(s*d.config.RateHz)) + 3
}

// Reset forgets everything; the next sample is sample 0.
func (d *ECGDetector) Reset() {
	d.lowpass.Reset()
	d.qrs.Reset()
	d.broad.Reset()
	d.n, d.next, d.j, d.sum = 0, 0, 0, 0
	clear(d.f2[:])
	clear(d.level[:])
	clear(d.shape[:])
	d.made, d.judged, d.nPeaks, d.nRR = 0, 0, 0, 0
	d.last, d.lastSample = -1<<40, -1<<62
	d.lastCand = ecgCand{}
	d.searching, d.nextTry = true, 0
	clear(d.shapes[:])
}

// Process takes samples in and appends the beats that have become certain.
func (d *ECGDetector) Process(dst []Beat, src []float64) []Beat {
	for len(src) > 0 {
		k := min(len(src), ecgChunk)
		dst = d.process(dst, src[:k])
		src = src[k:]
	}
	return dst
}

func (d *ECGDetector) process(dst []Beat, src []float64) []Beat {
	y := d.chunk[:len(src)]
	d.lowpass.Process(y, src)
	mask := int64(len(d.raw) - 1)
	for i, v := range y {
		d.raw[d.n&mask] = src[i]
		if d.n == 0 {
			d.tap = [4]float64{v, v, v, v}
		}
		d.tap[0], d.tap[1], d.tap[2], d.tap[3] = d.tap[1], d.tap[2], d.tap[3], v
		d.n++
		// Internal samples between tap[1] (input n−3) and tap[2].
		k := 0
		for {
			at := float64(d.next) * d.ratio
			whole := math.Floor(at)
			if int64(whole) > d.n-3 {
				break
			}
			d.outU[k] = cubic(&d.tap, at-whole)
			k++
			d.next++
		}
		if k > 0 {
			u, f, m := d.outU[:k], d.outF[:k], d.outM[:k]
			d.qrs.Process(f, u)
			d.broad.Process(m, u)
			for q := range u {
				dst = d.step(dst, f[q], m[q])
			}
		}
	}
	return dst
}

// cubic interpolates between t[1] and t[2] (Catmull and Rom 1974).
func cubic(t *[4]float64, x float64) float64 {
	return t[1] + 0.5*x*(t[2]-t[0]+x*(2*t[0]-5*t[1]+4*t[2]-t[3]+x*(3*(t[1]-t[2])+t[3]-t[0])))
}

// step takes one internal sample.
func (d *ECGDetector) step(dst []Beat, f, m float64) []Beat {
	const mask = ecgRing - 1
	w := 2*d.half + 1
	j := d.j
	d.f2[j&mask] = f * f
	d.shape[j&mask] = m
	// The window's sum is made anew now and then, so that rounding cannot grow.
	if j%64 == 0 {
		d.sum = 0
		for i := max(0, j-w+1); i <= j; i++ {
			d.sum += d.f2[i&mask]
		}
	} else {
		d.sum += f * f
		if j >= w {
			d.sum -= d.f2[(j-w)&mask]
		}
	}
	d.j++
	c := j - d.half // the level's own time
	if c < 0 {
		return dst
	}
	d.level[c&mask] = math.Sqrt(max(d.sum, 0) / float64(w))

	// A candidate is the greatest level within ±near.
	near := int64(d.p.nearSeconds * ecgRateHz)
	if p := c - near; p >= near {
		v := d.level[p&mask]
		peak := v > 0
		for i := p - near; peak && i <= p+near; i++ {
			if x := d.level[i&mask]; x > v || x == v && i < p {
				peak = false
			}
		}
		if peak {
			q := &d.cands[d.made%ecgCands]
			*q = ecgCand{at: p, level: v}
			d.made++
		}
	}
	for d.judged < d.made {
		q := &d.cands[d.judged%ecgCands]
		if q.at+d.ahead > c {
			break
		}
		d.judged++
		dst = d.judge(dst, q)
	}
	if !d.searching && c-d.last > int64(d.p.lostSeconds*ecgRateHz) {
		d.searching, d.nextTry = true, c
	}
	if d.searching && c >= d.nextTry {
		d.nextTry = c + ecgRateHz/4
		dst = d.search(dst, c)
	} else if !d.searching {
		dst = d.lookBack(dst, c)
	}
	return dst
}
