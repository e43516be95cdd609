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
	"pulsewright/dsp/quantile"
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
	MainsHz                     float64 // 50, 60 or 0: found
	Unit                        string  // of the samples, default "V"
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
	settling Settling // newest one seen
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
	return &Meter{cfg: cfg, tracker: t, ring: make([]float64, n), linear: make([]float64, n)}, nil
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
	}
	m.tracker.Process(src)
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

// Report judges the present window. It costs a few milliseconds at 1 kHz and is
// meant to be called about once a second.
func (m *Meter) Report() Report {
	var list []beat.Beat
	for i := range m.beatsN {
		list = append(list, m.beats[(m.beatsAt-m.beatsN+i+maxBeats)%maxBeats])
	}
	r := analyse(m.cfg, m.window(), m.samples-int64(m.held), list, m.tracker.Measure(), m.settling)
	if r.Settling.Known {
		m.settling = r.Settling
	}
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
	r := analyse(cfg, x, 0, beats, hum, Settling{})
	r.Samples = int64(len(x))
	return r, nil
}

// analyse judges x, whose first sample has the index first.
func analyse(cfg Config, x []float64, first int64, beats []beat.Beat, hum mains.Measure, last Settling) Report {
	r := Report{Unit: cfg.Unit, Seconds: float64(len(x)) / cfg.RateHz}
	if r.Seconds < 1 {
		why := "it needs one second of signal; wait"
		r.Level.Reason, r.Clipping.Reason, r.Pulse.Reason, r.Hum.Reason = why, why, why, why
		r.Noise.Reason, r.Drift.Reason, r.Settling.Reason, r.Polarity.Reason = why, why, why, why
		r.Clipping.ConverterReason, r.Level.RailReason, r.Noise.ConverterReason = why, why, why
		r.Verdicts = []Verdict{{"signal", "unknown", "There is not enough signal yet.", "Wait a second."}}
		return r
	}
	r.Level = level(cfg, x)
	r.Clipping = clipping(cfg, x, r.Level)
	if r.Level.Stuck {
		why := "the signal does not move"
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
	r.Hum = humOf(hum)
	r.Pulse = pulse(cfg, x, first, beats, hum)
	if r.Hum.Found && r.Pulse.Known {
		r.Hum.ToPulseKnown = true
		r.Hum.ToPulseDB = 20 * math.Log10(2*math.Sqrt2*r.Hum.VoltsRMS/r.Pulse.HeightVolts)
	}
	r.Noise = noise(cfg, x, hum)
	r.Drift = drift(cfg, x)
	r.Settling = settling(cfg, x, first)
	if !r.Settling.Known && last.Known {
		r.Settling = last
	}
	r.Polarity = polarity(cfg, x, first, beats)
	r.Verdicts = verdicts(cfg, &r)
	return r
}

func level(cfg Config, x []float64) Level {
	l := Level{Known: true, LowVolts: x[0], HighVolts: x[0]}
	for _, v := range x {
		l.MeanVolts += (v - x[0]) / float64(len(x))
		l.LowVolts, l.HighVolts = min(l.LowVolts, v), max(l.HighVolts, v)
	}
	l.MeanVolts += x[0]
	l.SwingVolts = l.HighVolts - l.LowVolts
	// A converter's step to either side is no movement; without one, rounding is not.
	l.Stuck = l.SwingVolts <= max(2.01*cfg.VoltsPerCount, 1e-9*max(math.Abs(l.HighVolts), math.Abs(l.LowVolts)))
	if span := cfg.SupplyHigh - cfg.SupplyLow; span > 0 {
		l.RailKnown, l.RailShare = true, l.SwingVolts/span
	} else if span := cfg.ConverterHigh - cfg.ConverterLow; span > 0 {
		l.RailKnown, l.RailShare, l.RailReason = true, l.SwingVolts/span, "the supply is unknown: share of the converter's range"
	} else {
		l.RailReason = "the supply rails are unknown: set them"
	}
	if !math.IsNaN(cfg.MidRail) {
		l.MidRailKnown, l.MidRailOffsetVolts = true, l.MeanVolts-cfg.MidRail
	}
	return l
}

// thin is a sorted copy of at most some thousand values.
func thin(x []float64) []float64 {
	step := 1 + len(x)/8192
	s := make([]float64, 0, len(x)/step+1)
	for i := 0; i < len(x); i += step {
		s = append(s, x[i])
	}
	slices.Sort(s)
	return s
}

// clipping counts samples at the converter's ends, and looks for flat tops: many
// samples crowd at the extreme within a tolerance, far more than in the next bands
// of the same width, in runs. A parabola's top stays 1 : 0.41 : 0.32 of its time in
// successive bands from the top; a clipped one much more in the first.
func clipping(cfg Config, x []float64, l Level) Clipping {
	c := Clipping{Known: true}
	n := float64(len(x))
	atLow, atHigh := math.Inf(-1), math.Inf(1)
	if span := cfg.ConverterHigh - cfg.ConverterLow; span > 0 {
		c.ConverterKnown = true
		tol := max(cfg.VoltsPerCount/2, 1e-6*span)
		atLow, atHigh = cfg.ConverterLow+tol, cfg.ConverterHigh-tol
		for _, v := range x {
			if v <= atLow {
				c.ConverterLowShare += 1 / n
			} else if v >= atHigh {
				c.ConverterHighShare += 1 / n
			}
		}
	} else {
		c.ConverterReason = "the converter's range is unknown: set bits and reference"
	}
	if l.Stuck {
		c.Known, c.Reason = false, "the signal does not move"
		return c
	}
	// Noise of the quiet parts: the lower decile of the deviation in short blocks.
	const block = 8
	var dev []float64
	for i := 0; i+block <= len(x); i += block * (1 + len(x)/(block*4096)) {
		var s, s2 float64
		for _, v := range x[i : i+block] {
			d := v - x[i]
			s += d
			s2 += d * d
		}
		dev = append(dev, math.Sqrt(max(0, s2/block-s*s/block/block)))
	}
	slices.Sort(dev)
	quiet := 0.0
	if len(dev) > 0 {
		quiet = dev[len(dev)/10]
	}
	tol := max(1.5*cfg.VoltsPerCount, 0.006*l.SwingVolts, 6*quiet)
	if tol > l.SwingVolts/8 {
		return c // all noise: no top to speak of
	}
	run := max(3, int(0.004*cfg.RateHz))
	sorted := thin(x)
	mid := sorted[len(sorted)/2]
	if share := flat(x, tol, run); l.HighVolts < atHigh && mid < l.HighVolts-tol {
		c.FlatHighShare, c.FlatHighVolts = share(1, l.HighVolts)
	}
	if share := flat(x, tol, run); l.LowVolts > atLow && mid > l.LowVolts+tol {
		c.FlatLowShare, c.FlatLowVolts = share(-1, -l.LowVolts)
		c.FlatLowVolts = -c.FlatLowVolts
	}
	return c
}

// flat returns a function that gives the share of samples in flat runs below the
// extreme top of sign·x, and their mean.
func flat(x []float64, tol float64, run int) func(sign, top float64) (share, mean float64) {
	return func(sign, top float64) (float64, float64) {
		var first, second, third, inRuns, sum float64
		runs, longest, length := 0, 0, 0
		end := func(i int) {
			if length >= run {
				runs++
				longest = max(longest, length)
				for _, v := range x[i-length : i] {
					inRuns++
					sum += sign * v
				}
			}
			length = 0
		}
		for i, v := range x {
			d := top - sign*v
			switch {
			case d < tol:
				first++
				length++
				continue
			case d < 2*tol:
				second++
			case d < 3*tol:
				third++
			}
			end(i)
		}
		end(len(x))
		if runs < 2 && longest < 20*run || first < 5*second || first < 6*third || inRuns < 0.002*float64(len(x)) {
			return 0, 0
		}
		return inRuns / float64(len(x)), sum / inRuns
	}
}

func humOf(m mains.Measure) Hum {
	h := Hum{Known: m.Found || m.LimitVoltsRMS > 0, Reason: m.Reason, Found: m.Found, LimitVoltsRMS: m.LimitVoltsRMS}
	if !m.Found {
		return h
	}
	h.VoltsRMS, h.FreqHz, h.NominalHz, h.HarmonicsVoltsRMS = m.TotalVoltsRMS, m.FreqHz, m.NominalHz, m.AmplitudeVoltsRMS
	h.UncertaintyVoltsRMS = m.UncertaintyVoltsRMS[0]
	return h
}

// cycle is one period of the mains in samples: 2·half + 1 whole ones and a share edge
// of the one before and of the one after, so that the mean over it takes the hum out
// at any rate.
type cycle struct {
	half int
	edge float64
}

func mainsCycle(cfg Config, hum mains.Measure) cycle {
	f := 50.0
	if hum.Found {
		f = hum.FreqHz
	} else if cfg.MainsHz != 0 {
		f = cfg.MainsHz
	}
	width := cfg.RateHz / f
	half := max(0, int((width-1)/2))
	return cycle{half, max(0, (width-float64(2*half+1))/2)}
}

// reach is how far the mean looks to either side.
func (c cycle) reach() int { return c.half + 1 }

// mean is about i, which lies reach or more from both ends of x.
func (c cycle) mean(x []float64, i int) float64 {
	var s float64
	for _, v := range x[i-c.half : i+c.half+1] {
		s += v
	}
	return c.level(x, i, s)
}

// level is the mean, from the sum of the whole samples.
func (c cycle) level(x []float64, i int, sum float64) float64 {
	return (sum + c.edge*(x[i-c.half-1]+x[i+c.half+1])) / (float64(2*c.half+1) + 2*c.edge)
}

func pulse(cfg Config, x []float64, first int64, beats []beat.Beat, hum mains.Measure) Pulse {
	c := mainsCycle(cfg, hum)
	half := c.reach()
	var h []float64
	for _, b := range beats {
		i, f := int(b.Sample-first), int(b.Foot-first)
		if b.Kind == beat.ECG {
			// The PR segment, 60 to 100 ms before R, over whole mains cycles.
			f = i - int(0.08*cfg.RateHz)
			if f-half < 0 || i+half >= len(x) {
				continue
			}
			h = append(h, math.Abs(peakNear(x, i, int(0.004*cfg.RateHz), b.Amplitude)-c.mean(x, f)))
			continue
		}
		if f-half < 0 || i+half >= len(x) || f >= i {
			continue
		}
		h = append(h, c.swing(x, f, i))
	}
	if len(h) >= 3 {
		slices.Sort(h)
		return Pulse{Known: h[len(h)/2] > 0, HeightVolts: h[len(h)/2], Beats: len(h)}
	}
	if cfg.Kind == "ecg" {
		return Pulse{Reason: "fewer than three heartbeats in the window"}
	}
	// Without beats: the swing of each two seconds with the mains cycle averaged out.
	step := int(2 * cfg.RateHz)
	for i := 0; i+step <= len(x); i += step {
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := i + half; k < i+step-half; k += max(1, half/4) {
			v := c.mean(x, k)
			lo, hi = min(lo, v), max(hi, v)
		}
		h = append(h, hi-lo)
	}
	if len(h) < 2 {
		return Pulse{Reason: "fewer than three heartbeats in the window"}
	}
	slices.Sort(h)
	return Pulse{Known: h[len(h)/2] > 0, HeightVolts: h[len(h)/2], Reason: "no heartbeats were found: the swing of each two seconds"}
}

// swing is the height of a pulse with its foot at f and its peak at i, both as a
// detector places them: the foot, where tangents meet, lies above the lowest value,
// which comes before it, and hum moves the peak. So both extremes are looked for
// within a rise's length, the mains cycle averaged out.
func (c cycle) swing(x []float64, f, i int) float64 {
	rise := i - f
	up := c.mean(x, i) > c.mean(x, f)
	extreme := func(from, to int, highest bool) float64 {
		from, to = max(from, c.reach()), min(to, len(x)-1-c.reach())
		sum := 0.0
		for _, v := range x[from-c.half : from+c.half+1] {
			sum += v
		}
		best := c.level(x, from, sum)
		for k := from + 1; k <= to; k++ {
			sum += x[k+c.half] - x[k-1-c.half]
			if v := c.level(x, k, sum); highest == (v > best) {
				best = v
			}
		}
		return best
	}
	return math.Abs(extreme(i-rise/2, i+rise/2, up) - extreme(f-rise, f+rise/2, !up))
}

// peakNear is the extreme value near i in the direction of sign.
func peakNear(x []float64, i, reach int, sign float64) float64 {
	best := x[i]
	for k := max(0, i-reach); k <= min(len(x)-1, i+reach); k++ {
		if sign < 0 && x[k] < best || sign >= 0 && x[k] > best {
			best = x[k]
		}
	}
	return best
}

// noise is the density in a band that neither heartbeat nor hum reaches: a
// Blackman–Harris window (4-term; half main lobe 4 bins, bandwidth 2.0044 bins)
// turned to 80 Hz, 0.2 s long, has its zeros at 60 and 100 Hz. Frames' powers are
// exponentially distributed; those with a QRS stand out. From the lower quartile
// (−ln 0.75 of the mean) on, the mean of all below five times the estimate is
// taken, and its 3.4 % made good.
func noise(cfg Config, x []float64, hum mains.Measure) Noise {
	var r Noise
	var span float64
	for _, c := range []struct{ centre, seconds float64 }{{80, 0.2}, {36, 0.4}} {
		reach := 4 / c.seconds
		clear := c.centre+reach <= cfg.RateHz/2
		lines := []float64{50, 60, 100, 120}
		if hum.Found {
			lines = []float64{hum.FreqHz, 2 * hum.FreqHz, 3 * hum.FreqHz}
		}
		for _, f := range lines {
			folded := math.Abs(f - cfg.RateHz*math.Round(f/cfg.RateHz))
			if math.Abs(folded-c.centre) < 0.9*reach {
				clear = false
			}
		}
		if clear {
			r.CentreHz, span = c.centre, c.seconds
			break
		}
	}
	if span == 0 {
		r.Reason = fmt.Sprintf("at %.4g Hz there is no band free of heartbeat and hum; sample at 125 Hz or more", cfg.RateHz)
		r.ConverterReason = r.Reason
		return r
	}
	n := int(math.Round(span * cfg.RateHz))
	w, cs, sn := make([]float64, n), make([]float64, n), make([]float64, n)
	var s1, s2 float64
	for i := range w {
		a := 2 * math.Pi * float64(i) / float64(n)
		w[i] = 0.35875 - 0.48829*math.Cos(a) + 0.14128*math.Cos(2*a) - 0.01168*math.Cos(3*a) // Harris 1978, table 1
		s1 += w[i]
		s2 += w[i] * w[i]
		p := 2 * math.Pi * r.CentreHz * float64(i) / cfg.RateHz
		cs[i], sn[i] = w[i]*math.Cos(p), w[i]*math.Sin(p)
	}
	hop := max(1, n/4, len(x)/400)
	var power []float64
	for at := 0; at+n <= len(x); at += hop {
		level := x[at]
		var re, im float64
		for i, v := range x[at : at+n] {
			d := v - level
			re += d * cs[i]
			im += d * sn[i]
		}
		// One-sided density, Welch's normalisation.
		power = append(power, 2*(re*re+im*im)/(cfg.RateHz*s2))
	}
	if len(power) < 16 {
		r.Reason = "it needs two seconds of signal; wait"
		r.ConverterReason = r.Reason
		return r
	}
	slices.Sort(power)
	q := quantile.Of(power, 0.25) / -math.Log(0.75)
	for range 3 {
		var sum, k float64
		for _, p := range power {
			if p < 5*q {
				sum += p
				k++
			}
		}
		if k == 0 { // q is 0: a still line between the beats
			break
		}
		q = sum / k / (1 - 5*math.Exp(-5)/(1-math.Exp(-5)))
	}
	r.Known, r.VoltsPerRootHz = true, math.Sqrt(q)
	band := 15.0
	if cfg.Kind == "ecg" {
		band = 40
	}
	r.InHeartbeatBandVolts = r.VoltsPerRootHz * math.Sqrt(band)
	if cfg.VoltsPerCount > 0 {
		r.ConverterKnown = true
		r.LimitVoltsPerRootHz = cfg.VoltsPerCount / math.Sqrt(12) / math.Sqrt(cfg.RateHz/2)
		r.RMSInSteps = r.VoltsPerRootHz * math.Sqrt(cfg.RateHz/2) / cfg.VoltsPerCount
		r.ConverterLimited = r.VoltsPerRootHz < 1.5*r.LimitVoltsPerRootHz
	} else {
		r.ConverterReason = "the converter's step is unknown: set bits and reference"
	}
	return r
}

// points are means over 20 ms (one sample below 75 Hz): a cycle of 50 Hz.
func points(cfg Config, x []float64) (p []float64, perSecond float64, block int) {
	block = max(1, int(math.Round(cfg.RateHz*0.02)))
	for i := 0; i+block <= len(x); i += block {
		var s float64
		for _, v := range x[i : i+block] {
			s += v
		}
		p = append(p, s/float64(block))
	}
	return p, cfg.RateHz / float64(block), block
}

// drift smooths with a Hann window of four seconds, whose first zero is at 0.5 Hz.
func drift(cfg Config, x []float64) Drift {
	p, rate, _ := points(cfg, x)
	n := int(4 * rate)
	if float64(len(p)) < 6*rate {
		return Drift{Reason: "it needs six seconds of signal; wait"}
	}
	w := make([]float64, n)
	var sw float64
	for i := range w {
		w[i] = 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
		sw += w[i]
	}
	step := max(1, int(rate/4), (len(p)-n)/2000)
	lo, hi := math.Inf(1), math.Inf(-1)
	var k, st, sv, stt, stv float64
	base := p[0]
	for at := 0; at+n <= len(p); at += step {
		var v float64
		for i, c := range w {
			v += c * (p[at+i] - base)
		}
		v /= sw
		lo, hi = min(lo, v), max(hi, v)
		t := float64(at) / rate
		k++
		st += t
		sv += v
		stt += t * t
		stv += t * v
	}
	d := Drift{Known: true, SwingVolts: hi - lo}
	if den := k*stt - st*st; den > 0 {
		d.VoltsPerMinute = 60 * (k*stv - st*sv) / den
	}
	return d
}

// settling looks for an excursion of more than twice the normal swing that has
// ended 1.5 s before the window's end.
func settling(cfg Config, x []float64, first int64) Settling {
	p, rate, block := points(cfg, x)
	second := int(rate)
	none := Settling{Reason: "no touch or step was seen: touch the sensor's input once and let go"}
	if len(p) < 4*second {
		none.Reason = "it needs four seconds of signal; wait"
		return none
	}
	var ranges []float64
	for i := 0; i+second <= len(p); i += second / 2 {
		ranges = append(ranges, slices.Max(p[i:i+second])-slices.Min(p[i:i+second]))
	}
	tail := p[len(p)-3*second/2:]
	tailRange := slices.Max(tail) - slices.Min(tail)
	slices.Sort(ranges)
	normal := min(ranges[len(ranges)/4], tailRange)
	if tailRange > 2.5*ranges[len(ranges)/4]+2*cfg.VoltsPerCount {
		none.Reason = "the signal has not settled yet"
		return none
	}
	final := slices.Clone(tail)
	slices.Sort(final)
	end := final[len(final)/2]
	// The newest excursion: backwards to the last one above the threshold, then on to
	// its height.
	threshold := 2*max(normal, tailRange) + 4*cfg.VoltsPerCount
	at := -1
	for i := len(p) - 1; i >= 0; i-- {
		if math.Abs(p[i]-end) > threshold {
			at = i
			break
		}
	}
	if at < 0 {
		return none
	}
	height := 0.0
	for i := at; i >= 0 && i > at-10*second; i-- {
		height = max(height, math.Abs(p[i]-end))
	}
	peak := at
	for peak > 0 && math.Abs(p[peak]-end) < 0.95*height {
		peak--
	}
	band := 0.05*height + 0.75*normal
	in := peak
	for i := peak; i < len(p); i++ {
		if math.Abs(p[i]-end) > band {
			in = i
		}
	}
	return Settling{Known: true, Seconds: float64(in+1-peak) / rate, StepVolts: height, BandVolts: band, AtSample: first + int64(peak*block)}
}

// polarity: an ECG by the sign of its beats; a pulse by its slope, which is steeper
// on the way up when upright (third moment of the slope).
func polarity(cfg Config, x []float64, first int64, beats []beat.Beat) Polarity {
	if cfg.Kind == "other" {
		return Polarity{Reason: "set the channel's kind to pulse or ECG"}
	}
	if cfg.Kind == "ecg" {
		up, n := 0, 0
		for _, b := range beats {
			i := int(b.Sample - first)
			f := i - int(0.08*cfg.RateHz)
			if f < 0 || i >= len(x) {
				continue
			}
			n++
			if b.Amplitude > 0 || b.Amplitude == 0 && x[i] > x[f] {
				up++
			}
		}
		switch {
		case n < 3:
			return Polarity{Reason: "fewer than three heartbeats in the window"}
		case 4*up >= 3*n:
			return Polarity{Known: true, Upright: true}
		case 4*up <= n:
			return Polarity{Known: true}
		}
		return Polarity{Reason: "some beats point up and some down"}
	}
	p, rate, _ := points(cfg, x)
	reach := max(1, int(rate*0.04)) // slopes over 80 ms, hum averaged out
	var s2, s3, n float64
	for i := reach; i+reach < len(p); i++ {
		d := p[i+reach] - p[i-reach]
		s2 += d * d
		s3 += d * d * d
		n++
	}
	if n < 2*rate || s2 == 0 {
		return Polarity{Reason: "it needs two seconds of signal; wait"}
	}
	skew := s3 / n / math.Pow(s2/n, 1.5)
	if math.Abs(skew) < 0.25 {
		return Polarity{Reason: "rise and fall are equally steep"}
	}
	return Polarity{Known: true, Upright: skew > 0}
}
