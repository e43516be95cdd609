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
)

// Reading is the rate, or the reason for none.
type Reading struct {
	State State `json:"state"`
	// RateBPM is 0 unless State is reading.
	RateBPM float64 `json:"rateBpm"`
	// Quality of the last beats, 0 to 1.
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
	find    Detector
	pulse   *PulseDetector  // nil for an ECG
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
	meter   rateMeter
	quality [rateKept]float64 // of the last beats
	beats   int64             // with a quality noted
	last    Beat              // last beat that the rate is made of
	shown   int64             // sample of the last beat let through
	held    [4]float64        // intervals to doubtful beats since then
	heldN   int
	tiny    int // beats in a row far smaller than that
	have    bool
	broken  bool    // the next interval spans something that was not let through
	slow    int     // intervals over 3 s in a row
	reading Reading // Reason is a format when figure is a number
	figure  float64
}

const (
	hopSeconds = 0.25
	hopKept    = 32 // 8 s
)

// hopStats describe a quarter of a second of the input.
type hopStats struct {
	n             int
	low, high     float64
	atLow, atHigh int     // samples at the converter's ends
	top, bottom   float64 // greatest and least value that stood still for a while
	topN, bottomN int     // and how many samples did
	mains         [2]complex128
}

// NewMonitor makes a monitor. Errors name the value and its range.
func NewMonitor(c MonitorConfig) (*Monitor, error) {
	m := &Monitor{config: c}
	switch c.Kind {
	case Pulse:
		d, err := NewPulse(c.RateHz)
		if err != nil {
			return nil, err
		}
		m.find, m.pulse = d, d
	case ECG:
		e := ECGConfig{RateHz: c.RateHz}
		if c.Volts {
			e.MinVolts = 0.15e-3 // EC13: no response to 0.15 mV
		}
		d, err := NewECGConfig(e)
		if err != nil {
			return nil, err
		}
		m.find = d
		// The band in which the detector weighs QRS complexes.
		p := defaultECGParams()
		hp, err := filter.ButterworthHighPass(c.RateHz, p.qrsLowHz, 2)
		if err != nil {
			return nil, err
		}
		lp, err := filter.ButterworthLowPass(c.RateHz, p.qrsHighHz, 2)
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
	m.hop = max(2, int(math.Round(hopSeconds*c.RateHz)))
	m.latency = m.find.LatencySamples()
	m.rateHz = c.RateHz
	m.still = max(3, int(math.Round(0.06*c.RateHz)))
	for i, hz := range []float64{50, 60} {
		if c.RateHz > 2.2*hz {
			s, co := math.Sincos(-2 * math.Pi * hz / c.RateHz)
			m.turn[i] = complex(co, s)
		}
	}
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
	m.meter.reset()
	m.beats, m.have, m.broken, m.slow, m.heldN, m.tiny = 0, false, false, 0, 0, 0
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
		for _, b := range m.fresh {
			dst = m.admit(dst, b)
		}
		if m.hopAt == m.hop {
			m.hops[m.hopN%hopKept] = m.now
			m.hopN++
			m.hopAt, m.now = 0, hopStats{}
			m.phase = [2]complex128{1, 1}
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
	p := defaultECGParams()
	return int(math.Round(m.band.GroupDelaySamples(math.Sqrt(p.qrsLowHz * p.qrsHighHz))))
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
		if m.n > 0 && x == m.prev {
			m.run++
		} else {
			if d := math.Abs(x - m.prev); m.n > 0 && d < m.step {
				m.step = d
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

// flat tells whether a stretch holds nothing: it moves by no more than two counts,
// or not at all when the count is unknown.
func (m *Monitor) flat(h hopStats) bool {
	if h.n == 0 {
		return false
	}
	size := max(math.Abs(h.low), math.Abs(h.high))
	return h.high-h.low <= max(2.5*m.config.Step, 1e-9*size)
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

// Levels of quality. The rate is made of beats that look like beats; it is claimed
// only when most of the last ones do.
const (
	beatQuality       = 0.15
	claimQuality      = 0.6
	claimPulseQuality = 0.5
	// Nor is it claimed of a pulse when the quality less twice the unsteadiness of the
	// intervals is below this: uneven waves at uneven times are a moving hand's.
	claimSteady = 0.25
	// Nor when mean and median of the intervals differ by more than a rate may be off.
	claimLopsided = 0.1
	surelyAlike   = 0.9
	// From this unsteadiness the reason tells of it.
	tellUnsteady = 0.1
	// A doubtful beat is still shown when the last eight have this much on average
	// and it does not come earlier than this share of the usual interval.
	doubtQuality = 0.3
	doubtEarly   = 0.65
	// Where they have less, of an ECG less than unlikeQuality, only a beat as good as
	// goodQuality is shown.
	unlikeQuality = 0.4
	goodQuality   = 0.6
	// What is this much smaller than the last good beat is noise after a lost pulse
	// and not shown, until eight have come that look alike: a gain turned down.
	tinyShare = 0.02
	// A stretch clipped by more than this claims no beats, and the reading says so
	// from half of it.
	clippedShare = 0.5
)

// admit judges one beat and lets it through or not.
func (m *Monitor) admit(dst []Beat, b Beat) []Beat {
	// The hops that hold the beat, as far as they are complete.
	from := b.Foot
	if m.pulse == nil {
		from = b.Sample - int64(m.hop)/2
	}
	end := min(b.Sample/int64(m.hop)+1, m.hopN)
	k := int(end - max(0, from/int64(m.hop)))
	m.quality[m.beats%rateKept] = b.Quality
	m.beats++
	h := m.window(end, max(k, 1))
	heldBack := ""
	unlike := doubtQuality
	if m.pulse == nil {
		unlike = unlikeQuality
	}
	doubtful := m.pulse != nil && b.Quality < beatQuality
	switch {
	case m.flat(m.window(end, max(k, 2))) || m.pulse != nil && b.Amplitude < 1e-3*(h.high-h.low):
		heldBack = "held back: the input does not move there"
	case m.clipped(h) > clippedShare || m.pulse != nil && m.clipped(m.window(end, max(k, 4))) > clippedShare: // of a pulse, a second
		heldBack = "held back: clipped there"
	case doubtful && (m.meter.n < 3 || m.recentQuality() < doubtQuality):
		heldBack = "held back: hardly looks like the other beats"
	case m.pulse != nil && m.have && b.Amplitude < tinyShare*m.last.Amplitude && (m.tiny < 8 || m.recentQuality() < claimQuality):
		m.tiny++
		heldBack = "held back: far smaller than the beats before"
	case m.beats >= 8 && b.Quality < goodQuality && m.recentQuality() < unlike:
		heldBack = "held back: the waves around are too unlike one another"
	case doubtful && float64(b.Sample-m.shown)/m.rateHz < doubtEarly*m.meter.median():
		heldBack = "held back: early and unlike the other beats"
	}
	m.tell(b, heldBack)
	if heldBack != "" {
		m.broken = true
		return dst
	}
	rr := float64(b.Sample-m.shown) / m.rateHz
	m.shown = b.Sample
	if doubtful {
		// Its interval counts once a good beat has followed.
		if m.heldN == len(m.held) {
			m.broken = true
		}
		if !m.broken {
			m.held[m.heldN] = rr
			m.heldN++
		}
		return append(dst, b)
	}
	if m.have {
		switch {
		case rr > 60.0/minRateBPM:
			m.meter.reset()
			if m.broken {
				m.slow = 0
			} else {
				m.slow++
			}
		case !m.broken && rr > 0:
			m.slow = 0
			for _, x := range m.held[:m.heldN] {
				m.meter.add(x)
			}
			m.meter.add(rr)
		}
	}
	m.tiny = 0
	m.last, m.have, m.broken, m.heldN = b, true, false, 0
	return append(dst, b)
}

// recentQuality is the mean of the last eight beats', 0 without beats.
func (m *Monitor) recentQuality() float64 { return m.meanQuality(8) }

// meanQuality is that of the last few beats, at most rateKept.
func (m *Monitor) meanQuality(last int64) float64 {
	n := min(m.beats, last)
	if n == 0 {
		return 0
	}
	q := 0.0
	for i := m.beats - n; i < m.beats; i++ {
		q += m.quality[i%rateKept]
	}
	return q / float64(n)
}

// update makes the reading anew, at the end of a hop.
func (m *Monitor) update() {
	q := m.recentQuality()
	r := Reading{Quality: q}
	m.figure = math.NaN()
	two := m.window(m.hopN, 8)
	since := math.Inf(1)
	if m.have {
		since = float64(m.n-m.last.Sample) / m.rateHz
	}
	latency := float64(m.latency) / m.rateHz
	limit := min(max(2, 1.8*m.meter.longest()), 3.2) + latency
	rate, intervals := m.meter.bpm()
	enough := claimQuality
	if m.pulse != nil {
		enough = claimPulseQuality
	}
	switch c := m.clipped(two); {
	case m.flat(m.window(m.hopN, 4)):
		r.State, r.Quality = StateNoSignal, 0
		r.Reason = "the input does not move: is the sensor on and connected?"
	case c > clippedShare/2:
		r.State, r.Quality = StateClipping, 0
		r.Reason, m.figure = "%.0f %% of the last two seconds are cut off at the end of the range: less gain, less light, or wait until it settles", 100*c
	case m.slow >= 2 && since < 10:
		r.State = StateOutOfRange
		r.Reason, m.figure = "below %.0f bpm", minRateBPM
	case since > limit:
		r.State, r.Quality = StateSearching, 0
		if m.have {
			r.Reason, m.figure = "no beat for %.0f s", since
		} else {
			r.Reason = "no beat found yet"
		}
	case intervals < 3 && !m.meter.stepped:
		r.State, r.Reason = StateSearching, "waiting for a few beats in a row"
		if m.beats >= 3 && q < enough {
			r.State = StateTooNoisy
			r.Reason, m.figure = m.noise()
		}
	case q < enough:
		r.State = StateTooNoisy
		r.Reason, m.figure = m.noise()
	case m.pulse != nil && q-2*m.meter.unsteady() < claimSteady:
		r.State = StateTooNoisy
		r.Reason = "the waves and the times between them are too uneven for a rate: hold still"
	case m.pulse != nil && m.meter.lopsided() > claimLopsided && m.meanQuality(rateKept) < surelyAlike:
		r.State = StateTooNoisy
		r.Reason = "some beats are missing or too many: hold still, or the heart beats too unevenly for a rate from the finger"
	case rate > maxRateBPM:
		r.State, r.Reason, m.figure = StateOutOfRange, "above %.0f bpm", maxRateBPM
	case rate < minRateBPM:
		r.State, r.Reason, m.figure = StateOutOfRange, "below %.0f bpm", minRateBPM
	default:
		r.State, r.RateBPM = StateReading, rate
		switch {
		case m.pulse != nil && m.meter.unsteady() > tellUnsteady:
			r.Reason = reasonUneven
		case q > 0.8:
			r.Reason = "the beats look alike"
		default:
			r.Reason = "the beats look fairly alike"
		}
	}
	m.reading = r
}

// reasonUneven is told beside a rate of a pulse whose beats come unevenly, as those of a
// heart whose early beats move no blood to the finger.
const reasonUneven = "the beats come unevenly: of those that move little blood some may be missing"

// noise says what is wrong with a signal whose beats do not look alike.
func (m *Monitor) noise() (reason string, figure float64) {
	two := m.window(m.hopN, 8)
	var amp [2]float64
	for i := max(0, m.hopN-8); i < m.hopN; i++ {
		w := &m.hops[i%hopKept]
		for j, z := range w.mains {
			amp[j] = max(amp[j], 2*math.Hypot(real(z), imag(z))/float64(w.n))
		}
	}
	hz, a := 50.0, amp[0]
	if amp[1] > a {
		hz, a = 60, amp[1]
	}
	if 2*a > 0.5*(two.high-two.low) {
		return "%.0f Hz hum hides the beat", hz
	}
	return "the waves do not look like one heartbeat after another: hold still", math.NaN()
}
