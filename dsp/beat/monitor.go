package beat

import (
	"fmt"
	"math"

	"pulsewright/dsp/filter"
)

// State says whether a rate can be trusted, and if not, why.
type State string

const (
	StateReading    State = "reading"
	StateSearching  State = "searching"
	StateNoSignal   State = "no signal"
	StateClipping   State = "clipping"
	StateTooNoisy   State = "too noisy"
	StateOutOfRange State = "out of range"
	StateSensorOff  State = "sensor off"
	StateTooSmall   State = "signal too small"
	StateMoving     State = "electrode moving"
	StateUneven     State = "uneven rhythm"
)

// Reading is the rate, or the reason for none.
type Reading struct {
	State State `json:"state"`
	// RateBPM is 0 unless State is reading.
	RateBPM float64 `json:"rateBpm"`
	// Quality is the probability that the rate is right, 0 to 1: of the seconds shown
	// with quality q about the share q is. It is also told, as far as known, of a rate
	// that is not shown.
	Quality float64 `json:"quality"`
	// Reason is a sentence for a person.
	Reason string `json:"reason"`
}

// MonitorConfig says what is watched.
type MonitorConfig struct {
	Kind Kind
	// RateHz is the sample rate: 25 to 192000 Hz for a pulse, 100 to 192000 for an ECG.
	RateHz float64
	// Low and High are the converter's ends in the input's unit; NaN, or both 0,
	// when unknown. Then a lasting flat top or bottom is taken for clipping.
	Low, High float64
	// Step is one count in the input's unit, 0 when unknown.
	Step float64
	// Volts tells that the input is in volts at the sensor.
	Volts bool
}

// Monitor finds beats, judges them and keeps the rate.
//
// Beats come out only where the signal stands up: none from a flat or clipped
// stretch or from what does not look like a heartbeat. What is said of the rate
// changes every quarter of a second. After the last beat an old rate stands for
// at most 1.8 of the longest recent R–R (2 s at least, 3.2 s at most) and the
// latency. Not safe for concurrent use.
type Monitor struct {
	// Immutable after NewMonitor.
	config  MonitorConfig
	p       monitorParams
	find    Detector
	pulse   *PulseDetector  // nil for an ECG
	ecg     *ECGDetector    // nil for a pulse
	band    *filter.Cascade // an ECG's point
	hop     int
	still   int           // equal samples that stand still
	turn    [2]complex128 // of 50 and 60 Hz per sample, 0 above half the rate
	latency int

	rateHz  float64         // the measured clock's
	explain func(Candidate) // nil or what Explain was given
	fresh   []Beat
	n       int64
	hopAt   int
	now     hopStats
	hops    [hopKept]hopStats // ring, newest at hopN−1
	hopN    int64
	prev    float64
	phase   [2]complex128
	run     int
	step    float64 // smallest difference seen
	gate    *gate
	heights ring8 // of the last beats found
	seen    ring8 // and of those let through
	last    Beat  // last beat that the rate is made of
	shown   int64 // sample of the last beat let through
	have    bool
	broken  bool    // the next interval spans something that was not let through
	slow    int     // intervals over 3 s in a row
	reading Reading // Reason is a format when figure is a number
	figure  float64
}

const hopKept = 32 // 8 s

// monitorParams are the monitor's numbers: times in seconds, hops where it says so.
// METHOD.md tells what the rules are for. Some are named in the reasons told.
type monitorParams struct {
	gate gateParams

	hop float64 // what is said of the rate changes so often

	// Whether the input moves, and stands free.
	standing      float64 // equal samples for so long stand still,
	standingLeast int     // so many of them at least
	stillHops     int     // it does not move where in so many hops
	stillCounts   float64 // it moves by no more than so many counts,
	offCounts     float64 // and the sensor is off where it moves by more than this
	stillBeatHops int     // of a beat at least so many hops are asked for it
	beatShare     float64 // a pulse smaller than this share of the range there is none
	slideHops     int     // it slides where in so many hops
	slideShare    float64 // less than this share of all movement goes the other way
	sameHops      int     // counts are coarse where in so many hops
	sameShare     float64 // this share of the samples equals the one before
	clippedHops   int     // the reading is told to be clipped by so many hops,
	clippedTold   float64 // from more than this share of them on
	clippedBeat   float64 // a stretch clipped by more than this share claims no beats
	clippedPulse  int     // hops before a pulse that are asked for it
	humHops       int     // hum is told by the strongest of so many hops
	humShare      float64 // where its swing is more than this share of the range

	// Which beats are let through.
	smallBeats  int     // the QRS is too small where of so many beats at least
	smallVolts  float64 // the middle one is no more than this (EC13)
	smallCounts float64 // beats of no more than so many counts are told to be too small
	hideBeats   int     // beats are held back by the gate once it knows so many
	hideShare   float64 // or by this share of the last eight: noise after a lost pulse

	// Which rate is shown.
	known       int     // it takes so many intervals that are even, but after a step,
	knownUneven int     // or so many others
	standTimes  float64 // an old rate stands for so many of the longest recent intervals,
	standLeast  float64 // so long at least
	standMost   float64 // and at most
	slow        int     // so many intervals in a row longer than the slowest rate's are out of range,
	slowSeconds float64 // told for so long after the last beat
	uneven      float64 // from this unsteadiness on the reason tells of it

	// A rate is withheld for the uneven rhythm alone where the beats are at least so alike
	// and what lies between them is no more than this share of theirs.
	unevenAlike, unevenBetween float64
	// And for a moving electrode where the signal ranges over more than so many beats'
	// height, slowly: the mean slope between beats is less than this share of it. Not where the
	// level before a beat changes by no more than movingLevel of a beat's range from one to the
	// next: then uneven intervals are the rhythm's.
	movingRange, movingSlow, movingLevel float64
}

func defaultMonitorParams(k Kind) monitorParams {
	return monitorParams{
		gate: defaultGateParams(k), hop: 0.25,
		standing: 0.06, standingLeast: 3, stillHops: 4, stillCounts: 2.5, offCounts: 0.5, stillBeatHops: 2, beatShare: 1e-3,
		slideHops: 16, slideShare: 0.02, sameHops: 16, sameShare: 0.2,
		clippedHops: 8, clippedTold: 0.25, clippedBeat: 0.5, clippedPulse: 4, humHops: 8, humShare: 0.5,
		smallBeats: 3, smallVolts: 0.15e-3, smallCounts: 3, hideBeats: 6, hideShare: 0.05,
		known: 3, knownUneven: 5, standTimes: 1.8, standLeast: 2, standMost: 3.2, slow: 2, slowSeconds: 10, uneven: 0.1,
		unevenAlike: 0.85, unevenBetween: 0.4, movingRange: 1.5, movingSlow: 0.16, movingLevel: 0.1,
	}
}

// hopStats describe a quarter of a second of the input.
type hopStats struct {
	n             int
	low, high     float64
	same          int     // samples equal to the one before
	atLow, atHigh int     // samples at the converter's ends
	top, bottom   float64 // greatest and least value that stood still for a while
	topN, bottomN int     // and how many samples did
	mains         [2]complex128
	up, down      float64 // how far it rose and fell, all steps added up
	step          float64 // smallest difference of two samples, 0 for none
}

// NewMonitor makes a monitor. Errors name the value and its range.
func NewMonitor(c MonitorConfig) (*Monitor, error) {
	return newMonitor(c, defaultMonitorParams(c.Kind))
}

func newMonitor(c MonitorConfig, p monitorParams) (*Monitor, error) {
	m := &Monitor{config: c, p: p}
	switch c.Kind {
	case Pulse:
		d, err := NewPulse(c.RateHz)
		if err != nil {
			return nil, err
		}
		m.find, m.pulse = d, d
	case ECG:
		d, err := NewECG(c.RateHz)
		if err != nil {
			return nil, err
		}
		m.find, m.ecg = d, d
		// Near the band in which the detector weighs QRS complexes.
		hp, err := filter.ButterworthHighPass(c.RateHz, ecgLowHz, 2)
		if err != nil {
			return nil, err
		}
		lp, err := filter.ButterworthLowPass(c.RateHz, ecgHighHz, 2)
		if err != nil {
			return nil, err
		}
		if m.band, err = filter.NewCascade(filter.Join(hp, lp), c.RateHz); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("beat: monitor: kind %q; must be %q or %q", c.Kind, ECG, Pulse)
	}
	if !math.IsNaN(c.Low) && !math.IsNaN(c.High) && c.Low > c.High {
		return nil, fmt.Errorf("beat: monitor: converter's ends %g and %g; the lower one comes first", c.Low, c.High)
	}
	if !(c.Step >= 0) || math.IsInf(c.Step, 1) {
		return nil, fmt.Errorf("beat: monitor: step of one count %g; must be 0 (unknown) or more", c.Step)
	}
	m.hop = max(2, int(math.Round(p.hop*c.RateHz)))
	m.latency = m.find.LatencySamples()
	m.rateHz = c.RateHz
	m.still = max(p.standingLeast, int(math.Round(p.standing*c.RateHz)))
	for i, hz := range []float64{50, 60} {
		if c.RateHz > 2.2*hz {
			s, co := math.Sincos(-2 * math.Pi * hz / c.RateHz)
			m.turn[i] = complex(co, s)
		}
	}
	m.gate = newGate(c.Kind, c.RateHz, p.gate)
	m.fresh = make([]Beat, 0, 64)
	m.Reset()
	return m, nil
}

// Reset forgets everything but the measured rate, as after a gap; samples count
// from 0 again.
func (m *Monitor) Reset() {
	m.find.Reset()
	if m.band != nil {
		m.band.Reset()
	}
	m.n, m.hopAt, m.hopN, m.run = 0, 0, 0, 0
	m.step = math.Inf(1)
	m.gate.reset()
	m.have, m.broken, m.slow = false, false, 0
	m.heights.reset()
	m.seen.reset()
	m.now = hopStats{}
	m.phase = [2]complex128{1, 1}
	m.figure = math.NaN()
	m.reading = Reading{State: StateSearching, Reason: "waiting for the first beats"}
}

// LatencySamples is the longest delay from a beat's Sample to the input sample
// that reports it in steady rhythm.
func (m *Monitor) LatencySamples() int { return m.latency }

// SetRateHz tells the measured sample rate: the rate in bpm follows, the detector
// keeps the rate it was made for. Values of less than half or more than twice that
// are ignored.
func (m *Monitor) SetRateHz(hz float64) {
	if hz > 0.5*m.config.RateHz && hz < 2*m.config.RateHz {
		m.rateHz = hz
	}
}

// Reading is the present rate, or the reason for none.
func (m *Monitor) Reading() Reading {
	r := m.reading
	if !math.IsNaN(m.figure) {
		r.Reason = fmt.Sprintf(r.Reason, m.figure)
	}
	return r
}

// Process finds beats, judges them and updates the reading; dst gets those that
// stand up. The contract is Detector's.
func (m *Monitor) Process(dst []Beat, src []float64) []Beat {
	return m.ProcessPoint(dst, nil, src)
}

// ProcessPoint is Process that also fills point with what the detector looks at,
// as long as src: the band-passed signal, late by PointDelaySamples. point may be
// nil; it panics when the lengths differ.
func (m *Monitor) ProcessPoint(dst []Beat, point, src []float64) []Beat {
	if point != nil && len(point) != len(src) {
		panic(fmt.Sprintf("beat: ProcessPoint: point has %d samples, src %d; must be equal", len(point), len(src)))
	}
	for len(src) > 0 {
		k := min(len(src), m.hop-m.hopAt)
		var p []float64
		if point != nil {
			p, point = point[:k], point[k:]
		}
		if m.pulse != nil {
			m.fresh = m.pulse.ProcessPoint(m.fresh[:0], p, src[:k])
		} else {
			m.fresh = m.find.Process(m.fresh[:0], src[:k])
			if p != nil {
				m.band.Process(p, src[:k])
			}
		}
		m.measure(src[:k])
		m.gate.add(src[:k])
		for i, b := range m.fresh {
			margin := 0.0
			if m.ecg != nil {
				margin = m.ecg.margins[i]
			}
			dst = m.admit(dst, b, margin)
		}
		if m.hopAt == m.hop {
			m.hops[m.hopN%hopKept] = m.now
			if m.now.step > 0 {
				m.step = min(m.step, m.now.step)
			}
			m.hopN++
			m.hopAt, m.now = 0, hopStats{}
			m.phase = [2]complex128{1, 1}
			m.gate.settle()
			m.update()
		}
		src = src[k:]
	}
	return dst
}

// PointDelaySamples is how late ProcessPoint's point is.
func (m *Monitor) PointDelaySamples() int {
	if m.pulse != nil {
		return m.pulse.PointDelaySamples()
	}
	return int(math.Round(m.band.GroupDelaySamples(math.Sqrt(ecgLowHz * ecgHighHz))))
}

// Explain has fn called for every place that was weighed as a beat, from within
// Process; nil ends it: every candidate of an ECG, every rise of a pulse. One comes
// again when it is decided otherwise later: found looking back (a pulse's then at the
// very sample of its peak), or held back by the monitor. Samples count as those of the
// beats do.
func (m *Monitor) Explain(fn func(Candidate)) {
	m.explain = fn
	if d, ok := m.find.(interface{ Explain(func(Candidate)) }); ok {
		d.Explain(fn)
	}
}

// tell explains why a beat the detector found and told of is held back.
func (m *Monitor) tell(b Beat, heldBack string) {
	if m.explain != nil && heldBack != "" {
		m.explain(Candidate{Sample: b.Sample, Feature: math.Abs(b.Amplitude), Agreement: b.Quality, Reason: heldBack})
	}
}

// ends tells whether the converter's ends are known.
func (m *Monitor) ends() bool {
	return m.config.High > m.config.Low // false for NaN and for both 0
}

// measure takes part of a hop into its statistics.
func (m *Monitor) measure(src []float64) {
	h := &m.now
	half := 0.5 * m.config.Step
	known := m.ends()
	lo, hi := m.config.Low, m.config.High
	if known && half == 0 {
		half = 1e-6 * (hi - lo)
	}
	for _, x := range src {
		if h.n == 0 {
			h.low, h.high = x, x
			h.top, h.bottom = math.Inf(-1), math.Inf(1)
		}
		h.n++
		h.low, h.high = min(h.low, x), max(h.high, x)
		if known {
			if x <= lo+half {
				h.atLow++
			}
			if x >= hi-half {
				h.atHigh++
			}
		}
		if m.n > 0 {
			h.up += max(0, x-m.prev)
			h.down += max(0, m.prev-x)
		}
		if m.n > 0 && x == m.prev {
			m.run++
			h.same++
		} else {
			if d := math.Abs(x - m.prev); m.n > 0 && (h.step == 0 || d < h.step) {
				h.step = d
			}
			m.run = 1
		}
		if m.run >= m.still {
			add := 1
			if m.run == m.still {
				add = min(m.still, h.n)
			}
			if x > h.top {
				h.top, h.topN = x, add
			} else if x == h.top {
				h.topN += add
			}
			if x < h.bottom {
				h.bottom, h.bottomN = x, add
			} else if x == h.bottom {
				h.bottomN += add
			}
		}
		m.prev = x
		m.n++
		for i := range m.phase {
			if m.turn[i] != 0 {
				h.mains[i] += complex(x-h.low, 0) * m.phase[i]
				m.phase[i] *= m.turn[i]
			}
		}
	}
	m.hopAt += len(src)
}

// window sums up the last k whole hops before hop end (exclusive).
func (m *Monitor) window(end int64, k int) (h hopStats) {
	h.low, h.high = math.Inf(1), math.Inf(-1)
	h.top, h.bottom = math.Inf(-1), math.Inf(1)
	for i := max(0, end-int64(k), m.hopN-hopKept); i < min(end, m.hopN); i++ {
		w := &m.hops[i%hopKept]
		h.n += w.n
		h.same += w.same
		h.up += w.up
		h.down += w.down
		h.low, h.high = min(h.low, w.low), max(h.high, w.high)
		h.atLow += w.atLow
		h.atHigh += w.atHigh
		if w.topN > 0 && w.top > h.top {
			h.top, h.topN = w.top, 0
		}
		if w.topN > 0 && w.top == h.top {
			h.topN += w.topN
		}
		if w.bottomN > 0 && w.bottom < h.bottom {
			h.bottom, h.bottomN = w.bottom, 0
		}
		if w.bottomN > 0 && w.bottom == h.bottom {
			h.bottomN += w.bottomN
		}
	}
	return h
}

// flat tells whether a stretch holds nothing: it moves by no more than a few counts,
// known or the smallest seen.
func (m *Monitor) flat(h hopStats) bool {
	if h.n == 0 {
		return false
	}
	return h.high-h.low <= max(m.p.stillCounts*m.count(), 1e-9*max(math.Abs(h.low), math.Abs(h.high)))
}

// slides tells that the last seconds only rose, or only fell: no heart does, but the steps of
// a converter on a slope come as evenly as beats.
func (m *Monitor) slides() bool {
	h := m.window(m.hopN, m.p.slideHops)
	return h.n > 0 && min(h.up, h.down) < m.p.slideShare*(h.up+h.down)
}

// count is one count of the converter or, where that is not known and samples of the last
// seconds are often equal, the smallest difference seen; else 0.
func (m *Monitor) count() float64 {
	if h := m.window(m.hopN, m.p.sameHops); m.config.Step > 0 || float64(h.same) < m.p.sameShare*float64(h.n) || math.IsInf(m.step, 1) {
		return m.config.Step
	}
	return m.step
}

// clipped is the share of a stretch at the converter's ends or, when these are
// unknown, standing still at the top or bottom of what the stretch reaches.
func (m *Monitor) clipped(h hopStats) float64 {
	if h.n == 0 {
		return 0
	}
	if m.ends() {
		return float64(h.atLow+h.atHigh) / float64(h.n)
	}
	c := 0
	if h.topN > 0 && h.top == h.high {
		c += h.topN
	}
	if h.bottomN > 0 && h.bottom == h.low {
		c += h.bottomN
	}
	return float64(c) / float64(h.n)
}

// admit judges one beat and lets it through or not.
func (m *Monitor) admit(dst []Beat, b Beat, margin float64) []Beat {
	// The hops that hold the beat, as far as they are complete.
	from := b.Foot
	if m.pulse == nil {
		from = b.Sample - int64(m.hop)/2
	}
	end := min(b.Sample/int64(m.hop)+1, m.hopN)
	k := int(end - max(0, from/int64(m.hop)))
	m.heights.add(math.Abs(b.Amplitude))
	h := m.window(end, max(k, 1))
	heldBack := ""
	switch {
	case m.flat(m.window(end, max(k, m.p.stillBeatHops))) || m.pulse != nil && b.Amplitude < m.p.beatShare*(h.high-h.low):
		heldBack = "held back: the input does not move there"
	case m.clipped(h) > m.p.clippedBeat || m.pulse != nil && m.clipped(m.window(end, max(k, m.p.clippedPulse))) > m.p.clippedBeat:
		heldBack = "held back: clipped there"
	case m.tooSmall():
		heldBack = "held back: the signal is too small"
	}
	m.tell(b, heldBack)
	if heldBack != "" {
		m.broken = true
		return dst
	}
	rr, longest := float64(b.Sample-m.shown)/m.rateHz, 60/m.p.gate.meter.least
	m.shown = b.Sample
	switch {
	case !m.have || m.broken && rr <= longest:
		rr = 0
	case rr > longest && m.broken:
		m.slow = 0
	case rr > longest:
		m.slow++
	default:
		m.slow = 0
	}
	m.gate.beat(b, rr, margin)
	m.last, m.have, m.broken = b, true, false
	switch {
	case m.gate.seen.beats >= m.p.hideBeats && m.gate.probability() < m.gate.p.hide:
		m.tell(b, "held back: the waves around are too unlike a heart's")
		return dst
	case m.gate.probability() < m.gate.p.show && math.Abs(b.Amplitude) < m.p.hideShare*m.seen.median:
		m.tell(b, "held back: far smaller than the beats before")
		return dst
	}
	m.seen.add(math.Abs(b.Amplitude))
	return append(dst, b)
}

// tooSmall tells that the usual QRS is smaller than what may be answered.
func (m *Monitor) tooSmall() bool {
	return m.pulse == nil && m.config.Volts && m.heights.len() >= m.p.smallBeats && m.heights.median <= m.p.smallVolts
}

// update makes the reading anew, at the end of a hop.
func (m *Monitor) update() {
	m.figure = math.NaN()
	m.reading = Reading{Quality: m.gate.probability()}
	r := &m.reading
	since := math.Inf(1)
	if m.have {
		since = float64(m.n-m.last.Sample) / m.rateHz
	}
	p, meter := &m.p, &m.gate.meter
	least, most := meter.p.least, meter.p.most
	limit := min(max(p.standLeast, p.standTimes*meter.longest()), p.standMost) + float64(m.latency)/m.rateHz
	rate, intervals := meter.bpm()
	known := intervals >= p.knownUneven || intervals >= p.known && meter.even() || meter.stepped && intervals > 0
	switch c := m.clipped(m.window(m.hopN, p.clippedHops)); {
	case m.flat(m.window(m.hopN, p.stillHops)):
		r.State, r.Quality, r.Reason = StateNoSignal, 0, "the input does not move: is the sensor on and connected?"
		if h := m.window(m.hopN, p.stillHops); h.high-h.low > p.offCounts*m.count() {
			r.State, r.Reason = StateSensorOff, "the input moves by no more than two counts of the converter: is the sensor on and in its place?"
		}
	case m.slides():
		r.State, r.Quality, r.Reason = StateSearching, 0, "the input only rises, or only falls: let it settle"
	case c > p.clippedTold:
		r.State, r.Quality = StateClipping, 0
		r.Reason, m.figure = "%.0f %% of the last two seconds are cut off at the end of the range: less gain, less light, or wait until it settles", 100*c
	case m.slow >= p.slow && since < p.slowSeconds:
		r.State = StateOutOfRange
		r.Reason, m.figure = "below %.0f bpm: is the sensor in place, are the electrodes on?", least
	case m.tooSmall():
		r.State, r.Quality = StateTooSmall, 0
		r.Reason = "the beats are smaller than 0.15 mV: better contact of the electrodes, another place for them, and say the gain of the board"
	case since > limit:
		r.State, r.Quality = StateSearching, 0
		if m.have {
			r.Reason, m.figure = "no beat for %.0f s", since
		} else {
			r.Reason = "no beat found yet"
		}
	case !known:
		r.State, r.Quality, r.Reason = StateSearching, 0, "waiting for a few beats in a row"
	case rate > most:
		r.State, r.Reason, m.figure = StateOutOfRange, "above %.0f bpm: is it noise?", most
	case rate < least:
		r.State, r.Reason, m.figure = StateOutOfRange, "below %.0f bpm: is the sensor in place, are the electrodes on?", least
	case r.Quality < m.gate.p.show || m.gate.refuses():
		r.State, r.Reason, m.figure = m.doubt()
		r.Quality = min(r.Quality, m.gate.p.show)
	default:
		r.State, r.RateBPM = StateReading, rate
		switch {
		case meter.unsteady() > p.uneven && m.pulse != nil:
			r.Reason = reasonUneven
		case meter.unsteady() > p.uneven:
			r.Reason = "the beats are clear and come unevenly"
		default:
			r.Reason = "the beats look alike and come evenly"
		}
	}
}

// doubt says why the beats cannot be trusted.
func (m *Monitor) doubt() (State, string, float64) {
	s, p := &m.gate.seen, &m.p
	if hz := m.hum(); hz > 0 && !m.gate.halved() && !s.doubled {
		return StateTooNoisy, "%.0f Hz hum hides the beat", hz
	}
	nan := math.NaN()
	little := s.odds[evidenceBetween] <= p.unevenBetween
	rests := m.pulse == nil && little && s.unlevel <= p.movingLevel && !m.gate.blunt() // the electrode
	switch {
	case s.doubled:
		return StateTooNoisy, "two waves in every heartbeat look like beats: move the electrodes or the sensor a little", nan
	case m.heights.median <= p.smallCounts*m.count():
		return StateTooSmall, "the beats are no more than three counts of the converter high: more gain, or more light", nan
	case m.gate.halved():
		return StateTooNoisy, "every other beat may be missing: hold still, or move the sensor a little", nan
	case m.gate.switches():
		return StateTooNoisy, "the input jumps between two levels, a heart does not: a loose wire, or light switched?", nan
	case m.gate.swings():
		return StateTooNoisy, "the waves fall as they rise, a pulse does not: a lamp that flickers, or a movement?", nan
	case s.early:
		return StateUneven, "after many beats a weaker wave comes that may be an early beat: the rate is not sure", nan
	case little && s.alike >= p.unevenAlike && s.uneven > p.uneven, rests && !m.gate.meter.even():
		return StateUneven, "the beats come too unevenly for a rate: some may be missing or too many", nan
	case m.pulse == nil && (m.gate.blunt() || m.gate.moves() || !rests && s.wander > p.movingRange && s.slow < p.movingSlow):
		return StateMoving, "slow waves as large as the beats: hold still, press the electrodes on, fix the cables", nan
	}
	return StateTooNoisy, "the waves do not look like one heartbeat after another: hold still, or try another place", nan
}

// reasonUneven is told beside a rate of a pulse whose beats come unevenly, as those of a
// heart whose early beats move no blood to the finger.
const reasonUneven = "the beats come unevenly: of those that move little blood some may be missing"

// hum is the frequency of the mains where that makes up most of what the signal does,
// 0 where it does not.
func (m *Monitor) hum() float64 {
	last := m.window(m.hopN, m.p.humHops)
	var amp [2]float64
	for i := max(0, m.hopN-int64(m.p.humHops)); i < m.hopN; i++ {
		w := &m.hops[i%hopKept]
		for j, z := range w.mains {
			amp[j] = max(amp[j], 2*math.Hypot(real(z), imag(z))/float64(w.n))
		}
	}
	hz, a := 50.0, amp[0]
	if amp[1] > a {
		hz, a = 60, amp[1]
	}
	if 2*a > m.p.humShare*(last.high-last.low) {
		return hz
	}
	return 0
}
