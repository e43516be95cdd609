package session

import (
	"fmt"
	"math"
	"slices"
	"time"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	parts "pulsewright/dsp/board"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
)

// channel runs one channel's path, beats and meters. The session's goroutine
// owns it.
type channel struct {
	info   acquire.Channel
	kind   string
	scale  ScaleSettings
	board  *parts.Board // before the converter, nil when nobody drew it
	rateHz float64

	factor, offset float64 // value = offset + count × factor
	unit           string

	undo    *filter.Cascade // of the coupling capacitor, nil when it is left
	recent  *recent         // values before undo
	clipped int64           // session index after the newest value with the converter at its end, 0 for none
	path    *signalpath.Path
	monitor *beat.Monitor
	meter   *meter.Meter

	base   int64     // session index of the monitor's and the meter's sample 0
	seen   int64     // session index after the newest value
	valued time.Time // arrival of the newest block with a number in it
	last   float64
	hole   int  // samples without a value that were seen last, over all calls
	fresh  bool // nothing since the last reset
	begun  bool // the beat finder began anew and nobody was told
	values []float64
	stage  [signalpath.Points][]float64
	detail []float64         // what the beat finder looks at
	out    [points][]float32 // for the frame under way
	found  []beat.Beat       // since the last frame
	why    []beat.Candidate  // what was weighed as a beat, in session indices; at most mostWhy
	view   [signalpath.Points][]float64
}

// mostWhy is about ten minutes of an ECG's candidates at fifteen a second.
const mostWhy = 9000

func newChannel(info acquire.Channel, rateHz float64) (*channel, error) {
	c := &channel{info: info, kind: info.Kind, rateHz: rateHz, fresh: true}
	if c.kind == acquire.KindUnknown {
		c.kind = acquire.KindPulse
	}
	c.scale = ScaleSettings{Source: "board", Gain: 1, ReferenceVolts: 5, Bits: 10}
	if !info.Scaled() {
		c.scale.Source = "unknown"
	}
	return c, c.rebuild(signalpath.Preset(c.kind, rateHz))
}

// rebuild makes path, beats and meter anew for the present scale, kind and rate.
func (c *channel) rebuild(settings signalpath.Settings) error {
	path, err := signalpath.New(settings, c.rateHz)
	if err != nil {
		return err
	}
	c.path = path
	return c.rescale()
}

// rescale takes over the scale settings; beats and meters begin anew, since
// what they learned was in the old unit.
func (c *channel) rescale() error {
	s := c.scale
	decimals := math.Pow10(-c.info.Digits)
	switch s.Source {
	case "board":
		if c.info.Scaled() {
			c.factor, c.offset, c.unit = c.info.VoltsPerCount, c.info.OffsetVolts, c.info.Unit
		} else {
			c.factor, c.offset, c.unit = decimals, 0, "counts"
			if c.info.Unit != "" {
				c.unit = c.info.Unit
			}
		}
	case "converter":
		c.factor, c.offset, c.unit = decimals*s.ReferenceVolts/math.Pow(2, float64(s.Bits)), 0, "V"
	case "fullscale":
		c.factor, c.offset, c.unit = s.FullScaleVolts/c.full(), 0, "V"
	default:
		c.factor, c.offset, c.unit = decimals, 0, "counts"
	}
	if s.Gain != 0 && s.Gain != 1 {
		c.factor, c.offset = c.factor/s.Gain, c.offset/s.Gain
	}
	if s.Invert {
		turn := 0.0
		if s.MidRailVolts != nil {
			turn = 2 * *s.MidRailVolts / s.Gain
		}
		c.factor, c.offset = -c.factor, turn-c.offset
	}
	undo, err := s.uncouple(c.rateHz)
	if err != nil {
		return err
	}
	c.undo = undo
	c.recent = newRecent(int(recentSeconds * c.rateHz))
	c.restart()
	low, high := c.ends()
	config := beat.MonitorConfig{Kind: beat.Kind(c.kind), RateHz: c.rateHz, Low: low, High: high, Step: c.step(), Volts: c.unit == "V"}
	if low == high || c.undo != nil { // with the coupling undone the ends are no fixed values any more; counts tell, see clip
		config.Low, config.High = math.NaN(), math.NaN()
	}
	c.monitor, c.why = nil, nil
	if c.kind == acquire.KindECG || c.kind == acquire.KindPulse {
		m, err := beat.NewMonitor(config)
		if err != nil {
			return err
		}
		c.monitor = m
		m.Explain(c.explain)
	}
	railLow, railHigh, middle := c.rails()
	mc := meter.Config{RateHz: c.rateHz, Kind: c.kind, SupplyLow: railLow, SupplyHigh: railHigh,
		MidRail: middle, ConverterLow: config.Low, ConverterHigh: config.High, VoltsPerCount: c.step(), Unit: c.unit}
	m, err := meter.New(mc)
	if err != nil {
		return err
	}
	c.meter = m
	return nil
}

func orNaN(v *float64, gain float64) float64 {
	if v == nil {
		return math.NaN()
	}
	if gain == 0 {
		gain = 1
	}
	return *v / gain
}

// ends are the converter's lowest and highest value in the channel's unit, or
// both 0 when unknown.
func (c *channel) ends() (low, high float64) {
	lo, hi := float64(c.info.MinCount), float64(c.info.MaxCount)
	if c.scale.Source == "converter" {
		span := math.Pow(2, float64(c.scale.Bits))
		lo, hi = 0, span-1
		if c.scale.Signed {
			lo, hi = -span/2, span/2-1
		}
		lo, hi = lo*math.Pow10(c.info.Digits), hi*math.Pow10(c.info.Digits)
	}
	if lo == hi {
		return 0, 0
	}
	low, high = c.offset+lo*c.factor, c.offset+hi*c.factor
	return min(low, high), max(low, high)
}

// full is the count of full scale: one more than the highest.
func (c *channel) full() float64 {
	if c.info.MaxCount <= 0 {
		return 1
	}
	return float64(c.info.MaxCount) + 1
}

// uncouple makes what undoes the coupling capacitor, nil when it is left.
func (s ScaleSettings) uncouple(rateHz float64) (*filter.Cascade, error) {
	if s.CouplingHz == 0 {
		return nil, nil
	}
	sections, err := filter.Uncouple(rateHz, s.CouplingHz, s.floorHz())
	if err != nil {
		return nil, err
	}
	return filter.NewCascade(sections, rateHz)
}

// defaultFloorHz is the corner left where the coupling is undone: of a pulse at 60
// a minute 3 % of the shape is lost, and a step is gone after some 10 s.
const defaultFloorHz = 0.05

func (s ScaleSettings) floorHz() float64 {
	if s.CouplingFloorHz == 0 {
		return defaultFloorHz
	}
	return s.CouplingFloorHz
}

// clipSeconds is for how long a converter at its end is told of.
const clipSeconds = 2

// clip notes that the converter was at its end just before session index end.
func (c *channel) clip(end int64) { c.clipped = end }

// atEnd tells that one of counts is at an end of the converter.
func (c *channel) atEnd(counts []int32) bool {
	low, high := c.info.MinCount, c.info.MaxCount
	return low < high && slices.ContainsFunc(counts, func(n int32) bool { return n != acquire.MissingCount && (n <= low || n >= high) })
}

// step is one count in the channel's unit, 0 when the scale is unknown.
func (c *channel) step() float64 {
	if c.unit == "counts" {
		return 0
	}
	return math.Abs(c.factor)
}

// restart begins anew after a gap.
func (c *channel) restart() {
	c.fresh, c.begun = true, true
	if c.path != nil {
		c.path.Reset()
	}
	if c.monitor != nil {
		c.monitor.Reset()
	}
	if c.meter != nil {
		c.meter.Reset()
	}
	if c.recent != nil {
		c.recent.reset()
	}
	if c.undo != nil {
		c.undo.Start(0) // what is coupled has no constant part that stood since ever
	}
	c.clipped = 0
}

// grow sizes the buffers for n samples of input appended to this frame.
func (c *channel) grow(n int) {
	if cap(c.values) < n {
		c.values, c.detail = make([]float64, n), make([]float64, n)
		for i := range c.stage {
			c.stage[i] = make([]float64, n)
		}
	}
}

// process runs n values that begin at session index first. A NaN is a sample
// without a value: the page sees the hole; a hole of at most bridge samples is
// bridged with the last value for filters and beats, a longer one restarts them.
func (c *channel) process(first int64, values []float64, bridge int) {
	c.grow(len(values))
	for at := 0; at < len(values); {
		if math.IsNaN(values[at]) {
			end := at
			for end < len(values) && math.IsNaN(values[end]) {
				end++
			}
			if c.hole += end - at; c.hole <= bridge && !c.fresh {
				for i := range end - at {
					c.values[i] = c.last
				}
				c.run(first+int64(at), c.values[:end-at], true)
			} else {
				if !c.fresh {
					c.restart()
				}
				for p := range c.out {
					for range end - at {
						c.out[p] = append(c.out[p], float32(math.NaN()))
					}
				}
			}
			at = end
			continue
		}
		end := at
		for end < len(values) && !math.IsNaN(values[end]) {
			end++
		}
		c.hole = 0
		c.run(first+int64(at), values[at:end], false)
		at = end
	}
}

// recentSeconds of values before the coupling is undone are kept for measuring it.
const recentSeconds = 8

// recent is a ring of the newest gap-free values.
type recent struct {
	ring []float64
	n    int64
}

func newRecent(size int) *recent { return &recent{ring: make([]float64, max(1, size))} }

func (r *recent) reset() { r.n = 0 }

func (r *recent) add(values []float64) {
	if len(values) > len(r.ring) {
		r.n += int64(len(values) - len(r.ring))
		values = values[len(values)-len(r.ring):]
	}
	at := int(r.n % int64(len(r.ring)))
	k := copy(r.ring[at:], values)
	copy(r.ring, values[k:])
	r.n += int64(len(values))
}

// values copies them, oldest first.
func (r *recent) values() []float64 {
	n := min(r.n, int64(len(r.ring)))
	out := make([]float64, n)
	for i := range out {
		out[i] = r.ring[(r.n-n+int64(i))%int64(len(r.ring))]
	}
	return out
}

// run takes a run of values through path, beats and meter.
func (c *channel) run(first int64, values []float64, hidden bool) {
	n := len(values)
	if c.fresh {
		c.base, c.fresh = first, false
	}
	c.last = values[n-1]
	c.recent.add(values)
	if c.undo != nil {
		c.undo.Process(values, values)
	}
	c.seen = first + int64(n)
	for i := range c.stage {
		c.view[i] = c.stage[i][:n]
	}
	c.path.Process(&c.view, values)
	detail := c.detail[:n]
	if c.monitor != nil {
		before := len(c.found)
		c.found = c.monitor.ProcessPoint(c.found, detail, values)
		if len(c.found) > before {
			c.meter.Beats(c.found[before:])
		}
		for i := before; i < len(c.found); i++ {
			c.found[i].Sample += c.base
			c.found[i].Foot += c.base
		}
	} else {
		copy(detail, c.view[signalpath.PointSmooth])
	}
	c.meter.Process(values)
	for p := range c.out {
		src := detail
		if p < signalpath.Points {
			src = c.view[p]
		}
		for _, v := range src {
			if hidden {
				v = math.NaN()
			}
			c.out[p] = append(c.out[p], float32(v))
		}
	}
}

// explain notes what became of a place that was weighed as a beat.
func (c *channel) explain(q beat.Candidate) {
	q.Sample += c.base
	for _, v := range []*float64{&q.Feature, &q.Threshold, &q.Agreement, &q.Floor} {
		if math.IsNaN(*v) || math.IsInf(*v, 0) {
			*v = 0 // JSON has no word for it
		}
	}
	if len(c.why) >= mostWhy {
		c.why = c.why[:copy(c.why, c.why[mostWhy/4:])]
	}
	c.why = append(c.why, q)
}

func (c *channel) reading() beat.Reading {
	if c.monitor == nil {
		return beat.Reading{State: "off", Reason: "this channel is not read for beats"}
	}
	if c.fresh {
		return beat.Reading{State: "searching", Reason: "waiting for samples"}
	}
	if c.clipped > 0 && float64(c.seen-c.clipped) < clipSeconds*c.rateHz {
		return beat.Reading{State: beat.StateClipping, Reason: "the input reaches the end of its converter: turn its level down, or divide the signal more"}
	}
	return c.monitor.Reading()
}

func (c *channel) state() ChannelState {
	low, high := c.ends()
	s := ChannelState{Label: c.info.Label, Kind: c.kind, Unit: c.unit, Path: c.path.Settings(), Scale: c.scale, Board: c.board,
		HumHz: c.path.HumHz(), StepVolts: c.step(), LowVolts: low, HighVolts: high}
	if c.undo != nil {
		const low, high = 0.5, 40
		corner, floor := c.scale.CouplingHz, c.scale.floorHz()
		s.Coupling = &CouplingState{CornerHz: corner, FloorHz: floor, GainDB: 20 * math.Log10(corner/floor),
			NoiseTimes: filter.UncoupleNoise(corner, floor, low, high), NoiseLowHz: low, NoiseHighHz: high}
	}
	if c.monitor != nil {
		s.LatencySeconds = float64(c.monitor.LatencySamples()) / c.rateHz
	}
	return s
}

// checkScale tells what is wrong with scale settings.
func checkScale(s ScaleSettings) error {
	if !slices.Contains([]string{"board", "converter", "fullscale", "unknown"}, s.Source) {
		return fmt.Errorf("scale source %q: choose board, converter, fullscale or unknown", s.Source)
	}
	if s.Source == "fullscale" && !(s.FullScaleVolts > 0 && s.FullScaleVolts <= 1000) {
		return fmt.Errorf("full scale of %g V: give volts above 0 and at most 1000", s.FullScaleVolts)
	}
	if s.CouplingHz != 0 { // the rest of the rule depends on the rate
		if _, err := filter.Uncouple(1000, s.CouplingHz, s.floorHz()); err != nil {
			return err
		}
	}
	if s.Source == "converter" {
		if !(s.ReferenceVolts > 0 && s.ReferenceVolts <= 1000) {
			return fmt.Errorf("reference of %g V: give the converter's reference, above 0 and at most 1000 V", s.ReferenceVolts)
		}
		if s.Bits < 1 || s.Bits > 32 {
			return fmt.Errorf("%d bits: a converter here has 1 to 32", s.Bits)
		}
	}
	if !(math.Abs(s.Gain) >= 1e-6 && math.Abs(s.Gain) <= 1e6) {
		return fmt.Errorf("gain %g: give a factor from 0.000001 to 1000000; 1 shows volts at the converter", s.Gain)
	}
	for name, v := range map[string]*float64{"lower supply rail": s.SupplyLowVolts, "upper supply rail": s.SupplyHighVolts, "mid-rail": s.MidRailVolts} {
		if v != nil && !(math.Abs(*v) <= 1000) {
			return fmt.Errorf("%s of %g V: give a voltage from −1000 to 1000", name, *v)
		}
	}
	if s.SupplyLowVolts != nil && s.SupplyHighVolts != nil && *s.SupplyLowVolts >= *s.SupplyHighVolts {
		return fmt.Errorf("supply from %g to %g V: the upper rail must be above the lower one", *s.SupplyLowVolts, *s.SupplyHighVolts)
	}
	return nil
}
