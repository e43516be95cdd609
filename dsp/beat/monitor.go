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
	latency int

	rateHz  float64 // the measured clock's
	fresh   []Beat
	n       int64
	hopAt   int
	now     hopStats
	hops    [hopKept]hopStats // ring, newest at hopN−1
	hopN    int64
	prev    float64
	run     int
	step    float64 // smallest difference seen
	meter   rateMeter
	quality [8]float64
	beats   int64 // with a quality noted
	last    Beat  // last beat let through
	have    bool
	broken  bool // the next interval spans something that was not let through
	slow    int  // intervals over 3 s in a row
	slowSec float64
	dropped [8]int64 // samples of the last beats not let through
	dropN   int64
	reading Reading
}

const (
	hopSeconds = 0.25
	hopKept    = 32 // 8 s
)

// hopStats describe a quarter of a second of the input.
type hopStats struct {
	low, high   float64
	atLow       int // samples at the converter's ends
	atHigh      int
	n           int
	flatLow     int // samples in runs of equal values at the lowest and highest
	flatHigh    int
	roughness   float64 // sum of squared second differences
	first, last float64
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
	m.fresh = make([]Beat, 0, 64)
	m.Reset()
	return m, nil
}

// Reset forgets everything, as after a gap; samples count from 0 again.
func (m *Monitor) Reset() {
	m.find.Reset()
	if m.band != nil {
		m.band.Reset()
	}
	m.rateHz = m.config.RateHz
	m.n, m.hopAt, m.hopN, m.run = 0, 0, 0, 0
	m.step = math.Inf(1)
	m.meter.reset()
	m.beats, m.have, m.broken, m.slow, m.dropN = 0, false, false, 0, 0
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
func (m *Monitor) Reading() Reading { return m.reading }

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
			m.hopAt = 0
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

// ends tells whether the converter's ends are known.
func (m *Monitor) ends() bool {
	return m.config.High > m.config.Low // false for NaN and for both 0
}
