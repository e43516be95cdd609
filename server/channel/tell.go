package channel

import (
	"fmt"
	"math"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
)

// Reading is the rate, or the reason for none, at the newest sample.
func (e *Engine) Reading() beat.Reading { return e.ReadingAfter(0) }

// ReadingAfter is as Reading so many seconds later, without any value since.
func (e *Engine) ReadingAfter(seconds float64) beat.Reading {
	hole := e.MissingSeconds() + seconds
	switch {
	case e.monitor == nil && e.parts&Beats != 0 && e.settings.tooSlow(e.rateHz) != "":
		return beat.Reading{State: "off", Reason: e.settings.tooSlow(e.rateHz)}
	case e.monitor == nil:
		return beat.Reading{State: "off", Reason: "this channel is not read for beats"}
	case hole > e.bridgeSeconds:
		return beat.Reading{State: beat.StateNoSignal, Reason: fmt.Sprintf("no samples for %.1f s: a gap; if it lasts, look at what the board prints", hole)}
	case e.fresh:
		return beat.Reading{State: beat.StateSearching, Reason: "waiting for samples"}
	case e.clipped > 0 && float64(e.seen-e.clipped) < clipSeconds*e.rateHz:
		return beat.Reading{State: beat.StateClipping, Reason: "the input reaches the end of its converter: turn its level down, or divide the signal more"}
	}
	r := e.monitor.Reading()
	if e.doubt != "" && r.State == beat.StateReading {
		return beat.Reading{State: beat.StateSearching, Quality: r.Quality, Reason: e.doubt}
	}
	return r
}

// MissingSeconds is how long there has been no value.
func (e *Engine) MissingSeconds() float64 { return float64(e.hole) / float64(e.ratio) / e.clockHz }

// Report is what the meters show at the newest sample; false before the first one.
func (e *Engine) Report() (meter.Report, bool) {
	if e.meter == nil || e.fresh {
		return meter.Report{}, false
	}
	return e.meter.Report(), true
}

// Trimmer advises on a low-pass for the present signal.
func (e *Engine) Trimmer(t meter.TrimmerConfig) (meter.Advice, error) {
	if e.meter == nil {
		return meter.Advice{}, fmt.Errorf("channel: %s: %.3g samples a second are too few to advise on a trimmer: %d are needed", e.settings.Label, e.rateHz, filter.MinRateHz)
	}
	return e.meter.Trimmer(t)
}

// Settings are those that hold, with the path's defaults filled in.
func (e *Engine) Settings() Settings { return e.settings }

// Linear is how counts become values.
func (e *Engine) Linear() Linear { return e.linear }

// Described is the channel as the source describes it.
func (e *Engine) Described() acquire.Channel { return e.described }

// RateHz is the rate of the points that everything is designed for.
func (e *Engine) RateHz() float64 { return e.rateHz }

// Ratio is source samples a point.
func (e *Engine) Ratio() int { return e.ratio }

// Point is the index after the newest point.
func (e *Engine) Point() int64 { return e.point }

// Path is the signal path; it must not be changed but by Set.
func (e *Engine) Path() *signalpath.Path { return e.path }

// HumHz is the mains frequency that was found.
func (e *Engine) HumHz() float64 { return e.path.Found() }

// Uncoupled reports whether a coupling capacitor is undone.
func (e *Engine) Uncoupled() bool { return e.undo != nil }

// Watched reports whether beats are looked for.
func (e *Engine) Watched() bool { return e.monitor != nil }

// LatencySeconds is how late a beat may be told.
func (e *Engine) LatencySeconds() float64 {
	if e.monitor == nil {
		return 0
	}
	return float64(e.monitor.LatencySamples()) / e.rateHz
}

// Doubt is why the source's clock is not to be trusted now, "" when it is.
func (e *Engine) Doubt() string { return e.doubt }

// ClippedSeconds is how long ago the converter was at an end, as far as values do not
// tell it themselves; infinite for never.
func (e *Engine) ClippedSeconds() float64 {
	if e.clipped == 0 {
		return math.Inf(1)
	}
	return float64(e.seen-e.clipped) / e.rateHz
}

// Recent are the newest values, eight seconds at most, back to the newest gap, before a
// coupling is undone.
func (e *Engine) Recent() []float64 { return e.recent.values() }

// Why are what was weighed as a beat, in points, oldest first.
func (e *Engine) Why() []beat.Candidate { return e.why }

// explain notes what became of a place that was weighed as a beat.
func (e *Engine) explain(q beat.Candidate) {
	q.Sample += e.base
	for _, v := range []*float64{&q.Feature, &q.Threshold, &q.Agreement, &q.Floor} {
		if math.IsNaN(*v) || math.IsInf(*v, 0) {
			*v = 0 // JSON has no word for it
		}
	}
	if len(e.why) >= mostWhy {
		e.why = e.why[:copy(e.why, e.why[mostWhy/4:])]
	}
	e.why = append(e.why, q)
}

// Coupling describes a coupling capacitor that is undone.
type Coupling struct {
	CornerHz float64 `json:"cornerHz"`
	FloorHz  float64 `json:"floorHz"`
	// GainDB is the gain at 0 Hz.
	GainDB float64 `json:"gainDb"`
	// NoiseTimes is by how much white noise from NoiseLowHz to NoiseHighHz, where
	// heartbeats are, becomes larger.
	NoiseTimes  float64 `json:"noiseTimes"`
	NoiseLowHz  float64 `json:"noiseLowHz"`
	NoiseHighHz float64 `json:"noiseHighHz"`
}

// Coupling tells what undoing the capacitor does and costs, nil where it is left.
func (s Scale) Coupling() *Coupling {
	if s.CouplingHz == 0 {
		return nil
	}
	const low, high = 0.5, 40
	corner, floor := s.CouplingHz, s.FloorHz()
	return &Coupling{CornerHz: corner, FloorHz: floor, GainDB: 20 * math.Log10(corner/floor),
		NoiseTimes: filter.UncoupleNoise(corner, floor, low, high), NoiseLowHz: low, NoiseHighHz: high}
}

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
