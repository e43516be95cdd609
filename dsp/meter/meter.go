// Package meter judges a heartbeat front end by its signal: level and swing,
// clipping, pulse height, hum, noise, drift, settling and polarity, with verdicts
// in plain words.
//
// A Meter follows a live signal and looks at its last ten seconds (hum: the last
// two); Whole judges a recording. A learning aid for people who build such boards,
// never a medical device.
package meter

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/mains"
)

const (
	windowSeconds = 10.0
	maxBeats      = 64
)

// Config describes the signal and its board. Volts are at the point that the
// samples are scaled to.
type Config struct {
	RateHz float64 // 25 Hz to 192 kHz
	Kind   string  // "pulse", "ecg" or "other" (default)
	// SupplyLow and SupplyHigh are the amplifier's rails, MidRail its reference, in
	// volts; NaN is unknown.
	SupplyLow, SupplyHigh float64
	MidRail               float64
	// ConverterLow and ConverterHigh are the volts at the lowest and the highest
	// count; NaN is unknown. Order does not matter.
	ConverterLow, ConverterHigh float64
	VoltsPerCount               float64 // the converter's step; 0 is unknown
	// Printed says that VoltsPerCount is the last decimal that values are printed with, which is no converter's step.
	Printed bool
	MainsHz float64 // 50, 60 or 0: found
	Unit    string  // of the samples, default "V"
}

// Unknown is a Config in which everything but the rate is unknown.
func Unknown(rateHz float64) Config {
	n := math.NaN()
	return Config{RateHz: rateHz, SupplyLow: n, SupplyHigh: n, MidRail: n, ConverterLow: n, ConverterHigh: n}
}

// Meter is a running judgement. Not safe for concurrent use.
type Meter struct {
	cfg      Config
	tracker  *mains.Tracker
	ring     []float64
	next     int
	held     int
	samples  int64
	bad      int64
	beats    [maxBeats]beat.Beat
	beatsAt  int
	beatsN   int
	second   int64    // of samples
	settling Settling // newest one seen at the end of a second
	settler  settler
	linear   []float64
}

// New checks the configuration. Rates at which a quantity cannot be measured are
// no error: the report says so.
func New(cfg Config) (*Meter, error) {
	cfg, err := cfg.check()
	if err != nil {
		return nil, err
	}
	t, err := newTracker(cfg)
	if err != nil {
		return nil, err
	}
	n := int(math.Round(windowSeconds * cfg.RateHz))
	return &Meter{cfg: cfg, tracker: t, second: max(1, int64(math.Round(cfg.RateHz))), ring: make([]float64, n), linear: make([]float64, n)}, nil
}

func newTracker(cfg Config) (*mains.Tracker, error) {
	t, err := mains.NewTracker(mains.Config{RateHz: cfg.RateHz, NominalHz: cfg.MainsHz, Harmonics: 5})
	if err != nil {
		return nil, fmt.Errorf("meter: %w", err)
	}
	return t, nil
}

func (cfg Config) check() (Config, error) {
	if !(cfg.RateHz >= 25 && cfg.RateHz <= 192000) {
		return cfg, fmt.Errorf("meter: sample rate %v Hz: it must be from 25 Hz to 192 kHz", cfg.RateHz)
	}
	switch cfg.Kind {
	case "":
		cfg.Kind = "other"
	case "pulse", "ecg", "other":
	default:
		return cfg, fmt.Errorf("meter: kind %q: it must be pulse, ecg or other", cfg.Kind)
	}
	if cfg.SupplyHigh <= cfg.SupplyLow {
		return cfg, fmt.Errorf("meter: supply from %v to %v V: the upper rail must be above the lower one", cfg.SupplyLow, cfg.SupplyHigh)
	}
	if cfg.ConverterHigh < cfg.ConverterLow { // an inverted scale
		cfg.ConverterLow, cfg.ConverterHigh = cfg.ConverterHigh, cfg.ConverterLow
	}
	if cfg.ConverterHigh == cfg.ConverterLow {
		return cfg, fmt.Errorf("meter: converter from %v to %v V: it must have a range; NaN if unknown", cfg.ConverterLow, cfg.ConverterHigh)
	}
	cfg.VoltsPerCount = math.Abs(cfg.VoltsPerCount)
	for _, v := range []float64{cfg.SupplyLow, cfg.SupplyHigh, cfg.MidRail, cfg.ConverterLow, cfg.ConverterHigh} {
		if math.IsInf(v, 0) {
			return cfg, fmt.Errorf("meter: a rail or end of %v V: it must be finite; NaN if unknown", v)
		}
	}
	if math.IsNaN(cfg.VoltsPerCount) || math.IsInf(cfg.VoltsPerCount, 0) {
		return cfg, fmt.Errorf("meter: %v V per count: it must be finite; 0 if unknown", cfg.VoltsPerCount)
	}
	if cfg.Unit == "" {
		cfg.Unit = "V"
	}
	return cfg, nil
}

// Process takes in samples. It allocates nothing; calls on pieces equal one call
// on the whole. A NaN or an infinity is counted and begins the window anew, as a
// gap does.
func (m *Meter) Process(src []float64) {
	for _, v := range src {
		m.samples++
		if math.IsNaN(v) || math.IsInf(v, 0) {
			m.bad++
			m.held, m.next = 0, 0
			continue
		}
		m.ring[m.next] = v
		if m.next++; m.next == len(m.ring) {
			m.next = 0
		}
		if m.held < len(m.ring) {
			m.held++
		}
		if m.samples%m.second == 0 {
			m.settle()
		}
	}
	m.tracker.Process(src)
}

// settle remembers the newest settling, once a second of samples: what is remembered is
// then the same whenever, and however often, a report is asked for.
func (m *Meter) settle() {
	x := m.window()
	if m.held == 0 || level(m.cfg, x).Stuck {
		return
	}
	if s := m.settler.settling(m.cfg, x, m.samples-int64(m.held)); s.Known {
		m.settling = s
	}
}

// Beats takes in heartbeats whose Sample and Foot count from the first sample
// after New or Reset. The newest 64 are kept. Beats may come before or after
// their samples.
func (m *Meter) Beats(b []beat.Beat) {
	for _, v := range b {
		m.beats[m.beatsAt] = v
		m.beatsAt = (m.beatsAt + 1) % maxBeats
		m.beatsN = min(m.beatsN+1, maxBeats)
	}
}

// Reset forgets everything, as after a gap; samples count from 0 again.
func (m *Meter) Reset() {
	m.tracker.Reset()
	m.next, m.held, m.samples, m.bad, m.beatsAt, m.beatsN = 0, 0, 0, 0, 0, 0
	m.settling = Settling{}
}

// window is the last seconds in order; valid until the next call.
func (m *Meter) window() []float64 {
	n := m.held
	start := m.next - n
	if start < 0 {
		k := copy(m.linear, m.ring[start+len(m.ring):])
		copy(m.linear[k:n], m.ring[:m.next])
	} else {
		copy(m.linear[:n], m.ring[start:m.next])
	}
	return m.linear[:n]
}

// Report judges the present window; it changes nothing that a later one tells. It costs a few milliseconds at 1 kHz and is
// meant to be called about once a second.
func (m *Meter) Report() Report {
	var list []beat.Beat
	for i := range m.beatsN {
		list = append(list, m.beats[(m.beatsAt-m.beatsN+i+maxBeats)%maxBeats])
	}
	r := stretch{m.cfg, m.window(), m.samples - int64(m.held), list, m.tracker.Measure()}.analyse(m.settling)
	r.Samples, r.NotFinite = m.samples, m.bad
	return r
}

// Whole judges a recording. Beats count from x's first sample. A value that is not
// finite is an error that names its sample: cut the recording there.
func Whole(cfg Config, x []float64, beats []beat.Beat) (Report, error) {
	cfg, err := cfg.check()
	if err != nil {
		return Report{}, err
	}
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Report{}, fmt.Errorf("meter: sample %d is %v: judge the signal before and after it by itself", i, v)
		}
	}
	t, err := newTracker(cfg)
	if err != nil {
		return Report{}, err
	}
	// The median of at most 200 windows of two seconds, by their total.
	step := int(2 * cfg.RateHz)
	skip := max(1, len(x)/step/200)
	var all []mains.Measure
	for i, k := 0, 0; i < len(x); i, k = i+step, k+1 {
		end := min(len(x), i+step)
		t.Process(x[i:end])
		if k%skip == 0 && (end-i == step || len(all) == 0) {
			all = append(all, t.Measure())
		}
	}
	if len(all) == 0 {
		all = append(all, t.Measure())
	}
	found := slices.DeleteFunc(slices.Clone(all), func(m mains.Measure) bool { return !m.Found })
	hum := all[len(all)-1]
	if 2*len(found) >= len(all) {
		slices.SortFunc(found, func(a, b mains.Measure) int {
			switch {
			case a.TotalVoltsRMS < b.TotalVoltsRMS:
				return -1
			case a.TotalVoltsRMS > b.TotalVoltsRMS:
				return 1
			}
			return 0
		})
		hum = found[len(found)/2]
	} else if hum.Found {
		for _, v := range all {
			if !v.Found {
				hum = v
			}
		}
	}
	r := stretch{cfg, x, 0, beats, hum}.analyse(Settling{})
	r.Samples = int64(len(x))
	return r, nil
}

// stretch is a signal that is judged.
type stretch struct {
	cfg   Config
	x     []float64
	first int64 // index of x's first sample
	beats []beat.Beat
	hum   mains.Measure
}

// analyse judges it; last is the settling that was seen before.
func (s stretch) analyse(last Settling) Report {
	cfg, x := s.cfg, s.x
	r := Report{Unit: cfg.Unit, Seconds: float64(len(x)) / cfg.RateHz}
	if r.Seconds < 1 {
		why := "it needs one second of signal; wait"
		r.Level.Reason, r.Clipping.Reason, r.Pulse.Reason, r.Hum.Reason = why, why, why, why
		r.Noise.Reason, r.Drift.Reason, r.Settling.Reason, r.Polarity.Reason = why, why, why, why
		r.Clipping.ConverterReason, r.Level.RailReason, r.Noise.ConverterReason = why, why, why
		r.Verdicts = []Verdict{said(noAnswer, "signal.short")}
		return r
	}
	r.Level = level(cfg, x)
	r.Clipping = clipping(cfg, x, r.Level)
	if r.Level.Stuck {
		why := whyStill
		r.Pulse.Reason, r.Hum.Reason, r.Noise.Reason, r.Polarity.Reason = why, why, why, why
		r.Noise.ConverterReason = why
		r.Drift = Drift{Known: true}
		r.Settling = last
		if !last.Known {
			r.Settling.Reason = why
		}
		r.Verdicts = verdicts(cfg, &r)
		return r
	}
	r.Hum = humOf(s.hum)
	r.Noise = s.noise()
	r.Pulse = s.pulseOrNone(&r)
	if r.Hum.Found && r.Pulse.Known {
		r.Hum.ToPulseKnown = true
		r.Hum.ToPulseDB = 20 * math.Log10(2*math.Sqrt2*r.Hum.VoltsRMS/r.Pulse.HeightVolts)
	}
	r.Drift = drift(cfg, x)
	r.Settling = new(settler).settling(cfg, x, s.first)
	if !r.Settling.Known && last.Known {
		r.Settling = last
	}
	r.Polarity = polarity(cfg, x, s.first, s.beats)
	if r.Pulse.None {
		r.Polarity = Polarity{Reason: r.Pulse.Reason}
	}
	r.Verdicts = verdicts(cfg, &r)
	return r
}

// humOf is the hum for a report.
func humOf(m mains.Measure) Hum {
	h := Hum{Known: m.Found || m.LimitVoltsRMS > 0, Reason: m.Reason, Found: m.Found, LimitVoltsRMS: m.LimitVoltsRMS}
	if !m.Found {
		if m.Blind != "" {
			h.Known, h.Reason = false, m.Blind
		}
		return h
	}
	h.VoltsRMS, h.FreqHz, h.NominalHz, h.HarmonicsVoltsRMS = m.TotalVoltsRMS, m.FreqHz, m.NominalHz, m.AmplitudeVoltsRMS
	h.UncertaintyVoltsRMS = m.UncertaintyVoltsRMS[0]
	return h
}
