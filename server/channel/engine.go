package channel

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
)

const (
	// DecimateAboveHz: faster sources are decimated to about 1 kHz.
	DecimateAboveHz = 4000
	// BridgeSeconds is the longest hole over which filters and beats are carried with the
	// last value; a longer one restarts them.
	BridgeSeconds = 0.1
	// bridgeBefore was that of recordings that carry none: a display that a board draws each
	// second takes some 80 ms.
	bridgeBefore = 0.05
	// RunInSeconds before a stretch of a recording an engine begins, so that it has
	// settled there: the slowest corner, 0.05 Hz, has then forgotten all but e^−19.
	RunInSeconds = 60
	// clipSeconds is for how long a converter at its end is told of.
	clipSeconds = 2.0
	// RecentSeconds of values before the coupling is undone are kept for measuring it.
	RecentSeconds = 8
	// mostWhy is about ten minutes of an ECG's candidates at fifteen a second.
	mostWhy = 9000
)

// Points of an engine: those of the signal path, then what the beats are found in.
const (
	PointScale  = signalpath.PointScale
	PointDrift  = signalpath.PointDrift
	PointHum    = signalpath.PointHum
	PointSmooth = signalpath.PointSmooth
	PointBeats  = signalpath.Points
	Points      = signalpath.Points + 1
)

// PointNames are the points' names, in their order: in requests, on the command line and in files.
var PointNames = [Points]string{"scale", "drift", "hum", "smooth", "beats"}

// PointsOf reads names of points with commas between them, each once; ok is false for anything else.
func PointsOf(list string) (points []int, ok bool) {
	for name := range strings.SplitSeq(list, ",") {
		n := slices.Index(PointNames[:], strings.TrimSpace(name))
		if n < 0 || slices.Contains(points, n) {
			return nil, false
		}
		points = append(points, n)
	}
	return points, true
}

// Parts are what of an engine works; what is not asked for costs nothing.
type Parts uint

const (
	Path   Parts = 1 << iota // the points after scale
	Beats                    // beats, reading, the point of the beats
	Meters                   // the meters
	All    = Path | Beats | Meters
)

// Config of an Engine.
type Config struct {
	Described acquire.Channel // by the source
	Settings  Settings
	// RateHz of the source is what everything is designed for; ClockHz is that of its
	// clock as known now, 0 for the same.
	RateHz, ClockHz float64
	// Ratio is samples of the source a point, 0 for what suits the rate.
	Ratio int
	// HumHz is the mains frequency found before, 0 when none was.
	HumHz float64
	// First is the index of the source's first sample.
	First int64
	Parts Parts
	// Doubt is why the source's clock is not to be trusted at the start, "" when it is.
	Doubt string
	// BridgeSeconds is the longest hole that is bridged; 0 stands for [BridgeSeconds].
	BridgeSeconds float64
}

// Decimation is how many samples of a source make a point.
func Decimation(rateHz float64) int {
	if rateHz > DecimateAboveHz {
		return filter.RatioFor(rateHz)
	}
	return 1
}

// Engine is one channel at work: counts in; points, beats, reading and meters out. It is
// the only one in the program: what it makes of the same counts, [Event] by Event, is the
// same live and from a recording, bit for bit, however they are cut into calls.
//
// Point p shows source sample p times the decimation. A count that is missing is a hole:
// for 50 ms filters and beats go on with the last value, then they begin anew with the
// next one; every point of it is NaN. The points just before and after a hole of a source
// that is decimated are made of held values, and those after it are NaN for the
// decimator's delay. Not safe for concurrent use.
type Engine struct {
	described     acquire.Channel
	settings      Settings
	linear        Linear
	parts         Parts
	rateHz        float64 // of the points, as designed for
	clockHz       float64 // of the points
	ratio         int
	bridge        int64 // samples
	bridgeSeconds float64

	decimator *filter.Decimator // nil at ratio 1
	undo      *filter.Cascade   // of the coupling capacitor, nil when it is left
	recent    *recent           // values before undo
	path      *signalpath.Path
	monitor   *beat.Monitor // nil when the kind has no beats or none are asked for
	meter     *meter.Meter
	why       []beat.Candidate
	offset    *Offset // of what is brought into another scale, nil until then

	next    int64   // source sample
	point   int64   // next point
	fresh   bool    // no value since the restart
	hole    int64   // samples without a value just before next
	last    float64 // value
	base    int64   // point that is the monitor's and the meter's sample 0
	seen    int64   // point after the newest value
	doubt   string  // why the clock is not to be trusted, "" when it is
	clipped int64   // point after the newest value with the converter at its end, 0 for none
	lead    int     // points of the decimator that lie before the first sample
	blind   int     // points until the decimator is filled again
	masks   []span  // source samples of holes that are bridged, of a decimated source
	begun   bool    // the beat finder began anew and nobody was told

	values, held, detail []float64
	stage, view          [signalpath.Points][]float64
}

type span struct{ from, to int64 }

// Output is what an engine makes; Process appends to it.
type Output struct {
	// First is the index of the first point of Series.
	First int64
	// Series are the points, NaN where there is no value; those of parts that do not
	// work are empty.
	Series [Points][]float64
	// Beats' Sample and Foot are points.
	Beats []beat.Beat
	// Breaks tell before which of Beats the beat finder began anew: those from there on
	// do not follow those before.
	Breaks []int
}

// Clear empties it for use again.
func (o *Output) Clear() {
	for p := range o.Series {
		o.Series[p] = o.Series[p][:0]
	}
	o.Beats, o.Breaks = o.Beats[:0], o.Breaks[:0]
}

// Len is how many points it holds.
func (o *Output) Len() int { return len(o.Series[PointScale]) }

// New makes an engine. An error names what of the settings is not possible at the rate.
func New(c Config) (*Engine, error) {
	if c.Settings.Kind == "" || c.Settings.Label == "" {
		return nil, errors.New("channel: settings without kind or name: resolve them first")
	}
	e := &Engine{described: c.Described, settings: c.Settings, parts: c.Parts, ratio: c.Ratio, next: c.First, fresh: true, doubt: c.Doubt}
	if e.ratio == 0 {
		e.ratio = Decimation(c.RateHz)
	}
	if e.ratio > 1 {
		d, err := filter.NewDecimator(c.RateHz, e.ratio)
		if err != nil {
			return nil, fmt.Errorf("channel: %w", err)
		}
		e.decimator = d
		// Outputs are due at multiples of the ratio.
		d.Skip(c.First)
		e.lead = d.DelaySamples()
	}
	e.point = e.pointAt(c.First)
	e.bridgeSeconds = cmp.Or(c.BridgeSeconds, BridgeSeconds)
	e.bridge = int64(e.bridgeSeconds * c.RateHz)
	if err := e.build(c.RateHz/float64(e.ratio), c.HumHz); err != nil {
		return nil, err
	}
	e.blind = 0
	if c.ClockHz > 0 {
		e.Clock(c.ClockHz)
	}
	return e, nil
}

// pointAt is the point that comes out next when source sample first is the next one.
func (e *Engine) pointAt(first int64) int64 {
	if e.decimator == nil {
		return first
	}
	return (first+int64(e.ratio)-1)/int64(e.ratio) - int64(e.decimator.DelaySamples())
}

// build makes everything anew for a rate of points and the settings; what was there stays
// when that is not possible.
func (e *Engine) build(rateHz, humHz float64) error {
	path, err := pathAt(e.settings.Path, rateHz)
	if err != nil {
		return err
	}
	path.Expect(humHz)
	var undo *filter.Cascade
	if !slow(rateHz) {
		if undo, err = e.settings.Scale.uncouple(rateHz); err != nil {
			return err
		}
	}
	e.linear = e.settings.Linear(e.described)
	ends := e.knownEnds(undo != nil)
	var monitor *beat.Monitor
	if e.parts&Beats != 0 && e.settings.hasBeats() && e.settings.tooSlow(rateHz) == "" {
		monitor, err = beat.NewMonitor(beat.MonitorConfig{Kind: beat.Kind(e.settings.Kind), RateHz: rateHz, Low: ends[0], High: ends[1],
			Step: e.linear.Step(), Volts: e.linear.Unit == "V"})
		if err != nil {
			return err
		}
		monitor.Explain(e.explain)
	}
	var m *meter.Meter
	if e.parts&Meters != 0 && !slow(rateHz) {
		if m, err = meter.New(e.settings.Meter(e.described, rateHz)); err != nil {
			return err
		}
	}
	e.rateHz, e.clockHz = rateHz, rateHz
	e.path, e.undo, e.monitor, e.meter, e.why, e.offset = path, undo, monitor, m, nil, nil
	if !slow(rateHz) {
		e.settings.Path = path.Settings()
	}
	e.recent = newRecent(int(math.Ceil(RecentSeconds * rateHz)))
	e.Restart()
	return nil
}

func (s Settings) hasBeats() bool { return s.Kind == acquire.KindECG || s.Kind == acquire.KindPulse }

// knownEnds are the converter's ends, NaN when unknown, or when the coupling is undone:
// they are no fixed values then.
func (e *Engine) knownEnds(undone bool) [2]float64 {
	low, high := e.settings.Ends(e.described)
	if low == high || undone {
		return [2]float64{math.NaN(), math.NaN()}
	}
	return [2]float64{low, high}
}

// Meter is what the meters are told of a channel's board, at a rate of points.
func (s Settings) Meter(c acquire.Channel, rateHz float64) meter.Config {
	l := s.Linear(c)
	config := meter.Unknown(rateHz)
	config.Kind, config.Unit, config.VoltsPerCount = s.Kind, l.Unit, l.Step()
	config.Printed = s.Printed(c)
	rails := s.rails(l.Unit)
	config.SupplyLow, config.SupplyHigh, config.MidRail = s.Scale.At(rails.SupplyLowVolts), s.Scale.At(rails.SupplyHighVolts), s.Scale.At(rails.MidRailVolts)
	if config.SupplyLow > config.SupplyHigh { // a negative gain
		config.SupplyLow, config.SupplyHigh = config.SupplyHigh, config.SupplyLow
	}
	if low, high := s.Ends(c); low != high && s.Scale.CouplingHz == 0 {
		config.ConverterLow, config.ConverterHigh = low, high
	}
	return config
}

// rails are rails and mid-rail in a scale: those told, else, in volts, the board's span.
func (s Settings) rails(unit string) Scale {
	r := s.Scale
	if s.Board == nil || unit != "V" {
		return r
	}
	span := s.Board.Span()
	if r.SupplyLowVolts == nil && r.SupplyHighVolts == nil && span.LowVolts < span.HighVolts {
		r.SupplyLowVolts, r.SupplyHighVolts = &span.LowVolts, &span.HighVolts
	}
	if r.MidRailVolts == nil {
		r.MidRailVolts = &span.RestVolts
	}
	return r
}

// Restart forgets the signal, as after a gap, but not which mains was found.
func (e *Engine) Restart() {
	e.fresh, e.begun, e.clipped = true, true, 0
	e.path.Reset()
	if e.offset != nil {
		e.offset.Reset()
	}
	if e.monitor != nil {
		e.monitor.Reset()
	}
	if e.meter != nil {
		e.meter.Reset()
	}
	e.recent.reset()
	if e.undo != nil {
		e.undo.Start(0) // what is coupled has no constant part that stood since ever
	}
	if e.decimator != nil {
		e.decimator.Restart()
		e.blind = e.decimator.DelaySamples()
	}
}

// Set changes the settings. Path, rails and board are changed without a break; another
// kind, unit or scale makes everything anew, since what was learned was in the old unit. After an error
// the old settings hold.
func (e *Engine) Set(s Settings) error {
	old := e.settings
	if old.alike(s) {
		return e.change(s)
	}
	e.settings = s
	clock := e.clockHz
	if err := e.build(e.rateHz, e.path.Found()); err != nil {
		e.settings = old
		return err
	}
	e.setClock(clock)
	return nil
}

// alike tells whether what was learned with settings goes on with t: kind, unit and scale are the same.
func (s Settings) alike(t Settings) bool {
	return s.Kind == t.Kind && s.Unit == t.Unit && s.Scale.equal(t.Scale)
}

// change takes over path, rails and board.
func (e *Engine) change(s Settings) error {
	if e.meter != nil {
		m := s.Meter(e.described, e.rateHz)
		if err := e.meter.SetRails(m.SupplyLow, m.SupplyHigh, m.MidRail); err != nil {
			return err
		}
	}
	if slow(e.rateHz) {
		e.settings = s
		return nil
	}
	if err := e.path.Set(s.Path); err != nil {
		m := e.settings.Meter(e.described, e.rateHz)
		if e.meter != nil {
			err = errors.Join(err, e.meter.SetRails(m.SupplyLow, m.SupplyHigh, m.MidRail))
		}
		return err
	}
	e.settings = s
	e.settings.Path = e.path.Settings()
	return nil
}

// equal tells whether two scales make the same values: rails do not matter, the mid-rail
// only where the signal is turned about it.
func (s Scale) equal(t Scale) bool {
	same := func(a, b *float64) bool { return a == b || a != nil && b != nil && *a == *b }
	if s.Invert && !same(s.MidRailVolts, t.MidRailVolts) {
		return false
	}
	s.SupplyLowVolts, s.SupplyHighVolts, s.MidRailVolts = t.SupplyLowVolts, t.SupplyHighVolts, t.MidRailVolts
	return s == t
}

// Redesign makes everything anew for a rate of the source, as its clock turned out to
// have; the decimator keeps its ratio.
func (e *Engine) Redesign(sourceHz float64) error {
	e.bridge = int64(e.bridgeSeconds * sourceHz)
	return e.build(sourceHz/float64(e.ratio), e.path.Found())
}

// Clock tells the rate of the source's clock as known now: readings follow.
func (e *Engine) Clock(sourceHz float64) { e.setClock(sourceHz / float64(e.ratio)) }

func (e *Engine) setClock(hz float64) {
	e.clockHz = hz
	if e.monitor != nil {
		e.monitor.SetRateHz(hz)
	}
}

// Clip notes that the converter was at an end just before the next sample, though the
// counts do not show it. It is false when that is known since less than a second, so
// that not every call needs to be written down.
func (e *Engine) Clip() bool {
	now := max(e.seen, 1)
	if e.clipped > 0 && float64(now-e.clipped) < e.rateHz {
		return false
	}
	e.clipped = now
	return true
}

// Gap is as if the next n counts of a gap of all were missing, but gives none of the points without
// a value that a gap that is not bridged has.
func (e *Engine) Gap(out *Output, n, all int64) {
	k, had := min(n, e.bridge), out.Len()
	for at := int64(0); at < k; at += gapPiece {
		e.Process(out, missing[:min(gapPiece, k-at)])
	}
	if all <= e.bridge {
		return
	}
	if n -= k; n > 0 {
		e.miss(n) // the hole is too long now
		e.next += n
		if e.decimator != nil {
			e.decimator.Skip(n) // what came before the gap has come out with what is bridged
		}
	}
	if e.decimator == nil {
		out.cut(had)
	}
	e.point = e.pointAt(e.next)
}

// cut leaves n points.
func (o *Output) cut(n int) {
	for p := range o.Series {
		o.Series[p] = o.Series[p][:min(n, len(o.Series[p]))]
	}
}

const gapPiece = 256

var missing = func() (m [gapPiece]int32) {
	for i := range m {
		m[i] = acquire.MissingCount
	}
	return m
}()

// Process takes in the next counts.
func (e *Engine) Process(out *Output, counts []int32) {
	e.grow(len(counts))
	for len(counts) > 0 {
		n := 0
		if counts[0] == acquire.MissingCount {
			for n < len(counts) && counts[n] == acquire.MissingCount {
				n++
			}
			e.hollow(out, n)
		} else {
			for n < len(counts) && counts[n] != acquire.MissingCount {
				e.values[n] = e.linear.Value(counts[n])
				n++
			}
			e.hole, e.last = 0, e.values[n-1]
			e.take(out, e.values[:n], counts[:n])
		}
		counts = counts[n:]
	}
}

// hollow takes in n samples without a value.
func (e *Engine) hollow(out *Output, n int) {
	bridged := 0
	if !e.fresh {
		bridged = int(min(int64(n), max(0, e.bridge-e.hole)))
	}
	held := e.held[:n]
	for i := range held {
		held[i] = e.last
	}
	e.hole += int64(bridged)
	if bridged > 0 {
		if e.decimator != nil {
			e.mask(e.next, e.next+int64(bridged))
		}
		e.take(out, held[:bridged], nil)
	}
	if bridged == n {
		return
	}
	e.miss(int64(n - bridged))
	rest := held[bridged:]
	m := len(rest)
	if e.decimator != nil {
		m = e.decimator.Process(rest, rest)
		e.decimator.Restart()
		e.blind = e.decimator.DelaySamples()
		m -= e.leadOut(m)
	}
	e.next += int64(len(held) - bridged)
	e.nothing(out, m)
}

// leadOut passes over those of m points that lie before the first sample.
func (e *Engine) leadOut(m int) int {
	k := min(e.lead, m)
	e.lead -= k
	e.point += int64(k)
	return k
}

// miss notes n more samples of a hole that is not bridged.
func (e *Engine) miss(n int64) {
	if !e.fresh {
		e.Restart()
	}
	e.hole += n
}

// mask keeps the place of a bridged hole until its points have come out.
func (e *Engine) mask(from, to int64) {
	if k := len(e.masks); k > 0 && e.masks[k-1].to == from {
		e.masks[k-1].to = to
		return
	}
	e.masks = append(e.masks, span{from, to})
}

// masked reports whether a point lies in a hole that was bridged.
func (e *Engine) masked(point int64) bool {
	at := point * int64(e.ratio)
	for len(e.masks) > 0 && e.masks[0].to <= at {
		e.masks = e.masks[:copy(e.masks, e.masks[1:])]
	}
	return len(e.masks) > 0 && e.masks[0].from <= at
}

// nothing gives n points without a value.
func (e *Engine) nothing(out *Output, n int) {
	e.begin(out)
	for p := range out.Series {
		if !e.has(p) {
			continue
		}
		for range n {
			out.Series[p] = append(out.Series[p], math.NaN())
		}
	}
	e.point += int64(n)
}

// has reports whether a point is asked for.
func (e *Engine) has(point int) bool {
	switch point {
	case PointScale:
		return true
	case PointBeats:
		return e.parts&Beats != 0
	}
	return e.parts&Path != 0
}

// take takes in values, of counts or, when those are nil, held ones.
func (e *Engine) take(out *Output, values []float64, counts []int32) {
	e.next += int64(len(values))
	if e.decimator == nil {
		e.run(out, values, counts == nil)
		e.atEnds(counts)
		return
	}
	m := e.decimator.Process(values, values)
	values = values[e.leadOut(m):m]
	if k := min(e.blind, len(values)); k > 0 {
		e.blind -= k
		e.nothing(out, k)
		values = values[k:]
	}
	for len(values) > 0 {
		hidden, k := e.masked(e.point), 1
		for k < len(values) && e.masked(e.point+int64(k)) == hidden {
			k++
		}
		e.run(out, values[:k], hidden)
		values = values[k:]
	}
	e.atEnds(counts)
}

// atEnds notes where the newest of counts was at an end of the converter, of a channel
// whose values do not tell it.
func (e *Engine) atEnds(counts []int32) {
	low, high := e.described.MinCount, e.described.MaxCount
	if e.undo == nil || low >= high {
		return
	}
	for i := len(counts) - 1; i >= 0; i-- {
		if counts[i] <= low || counts[i] >= high {
			e.clipped = max(1, (e.next-int64(len(counts)-1-i))/int64(e.ratio))
			return
		}
	}
}

// run takes points through coupling, path, beats and meter.
func (e *Engine) run(out *Output, values []float64, hidden bool) {
	n := len(values)
	e.begin(out)
	if e.fresh {
		e.base, e.fresh = e.point, false
	}
	e.recent.add(values)
	if e.undo != nil {
		e.undo.Process(values, values)
	}
	e.point += int64(n)
	e.seen = e.point
	if e.begun {
		out.Breaks, e.begun = append(out.Breaks, len(out.Beats)), false
	}
	if e.parts&Path != 0 {
		for i := range e.stage {
			e.view[i] = e.stage[i][:n]
		}
		e.path.Process(&e.view, values)
	}
	detail := e.detail[:n]
	if e.monitor != nil {
		before := len(out.Beats)
		out.Beats = e.monitor.ProcessPoint(out.Beats, detail, values)
		if e.meter != nil && len(out.Beats) > before {
			e.meter.Beats(out.Beats[before:])
		}
		for i := before; i < len(out.Beats); i++ {
			out.Beats[i].Sample += e.base
			out.Beats[i].Foot += e.base
		}
	} else if e.parts&Path != 0 {
		copy(detail, e.view[PointSmooth])
	}
	if e.meter != nil {
		e.meter.Process(values)
	}
	e.give(out, values, hidden)
}

// begin notes where an empty output begins.
func (e *Engine) begin(out *Output) {
	if out.Len() == 0 {
		out.First = e.point
	}
}

// give appends the points.
func (e *Engine) give(out *Output, values []float64, hidden bool) {
	for p := range out.Series {
		if !e.has(p) {
			continue
		}
		src := values
		switch {
		case hidden:
			for range values {
				out.Series[p] = append(out.Series[p], math.NaN())
			}
			continue
		case p == PointBeats:
			src = e.detail[:len(values)]
		case p != PointScale:
			src = e.view[p]
		}
		out.Series[p] = append(out.Series[p], src...)
	}
}

// Finish gives the beats that would still be told had the last value stood on, as at the
// end of a recording. It goes on from there only with a Restart.
func (e *Engine) Finish(dst []beat.Beat) []beat.Beat {
	if e.monitor == nil || e.fresh || e.hole > 0 {
		return dst
	}
	held := make([]float64, e.monitor.LatencySamples()+1)
	for i := range held {
		held[i] = e.last
	}
	if e.undo != nil {
		e.undo.Process(held, held)
	}
	before := len(dst)
	dst = e.monitor.Process(dst, held)
	for i := before; i < len(dst); i++ {
		dst[i].Sample += e.base
		dst[i].Foot += e.base
	}
	return dst
}

// grow sizes the buffers for calls of n samples.
func (e *Engine) grow(n int) {
	if cap(e.values) >= n && e.values != nil {
		return
	}
	e.values, e.held, e.detail = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range e.stage {
		e.stage[i] = make([]float64, n)
	}
}
