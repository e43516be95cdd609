package channel

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

// Recording is an open file with what is known of its channels. The file stays the
// caller's, who closes it.
type Recording struct {
	File *recording.File
	// Info describes the file's channels as the file does.
	Info acquire.Info
	// Start is what the engines begin with at its first sample.
	Start Start
	// Channels are the settings that hold at its end, in which all of it is shown.
	Channels []Resolved
	// Note is the remark on it: the one that it carries, unless another is put there.
	Note string

	said    Sidecar
	carried Carried
	events  []Placed
	known   bool // the events were read
}

// Open puts together what is known of a file's channels; said is what was said of them
// afterwards. What happened to them within the recording is read when it is first
// needed, or by Learn, since a long file has to be read through for it.
func Open(file *recording.File, said Sidecar) *Recording {
	r := &Recording{File: file, Info: file.Describe(), said: said, carried: ParseCarried(file.Settings())}
	r.Note = r.carried.Note
	r.Start = Start{RateHz: r.Info.ClaimedRateHz, HumHz: make([]float64, len(r.Info.Channels))}
	if r.carried.RateHz > 0 {
		r.Start.RateHz, r.Start.ClockHz, r.Start.Ratio, r.Start.Doubt = r.carried.RateHz, r.carried.ClockHz, r.carried.Ratio, r.carried.Doubt
		r.Start.BridgeSeconds = bridgeBefore
		if b := r.carried.BridgeSeconds; b > 0 && b <= 1 {
			r.Start.BridgeSeconds = b
		}
	}
	r.known = r.carried.Version == 0 // made before there were any, or by others
	copy(r.Start.HumHz, r.carried.HumHz)
	if r.Start.Ratio < 1 || r.Start.Ratio > mostRatio {
		r.Start.Ratio = Decimation(r.Start.RateHz)
	}
	for n := range r.Info.Channels {
		resolved := r.resolve(n, r.carried.Of(n))
		r.Channels = append(r.Channels, resolved)
		r.Start.Channels = append(r.Start.Channels, resolved.Settings)
	}
	return r
}

const mostRatio = 400 // see filter.MaxRatio

// resolve puts channel n's settings together, with what the recording carries of it at
// some place.
func (r *Recording) resolve(n int, recorded Said) Resolved {
	return Resolve(Places{Said: r.said.Of(n), Recorded: recorded, Described: r.Info.Channels[n], RateHz: r.Start.RateHz / float64(r.Start.Ratio)})
}

// Learn reads what happened to the channels within the recording. It may be called
// again.
func (r *Recording) Learn() { r.LearnFrom(r.File.Annotations) }

// Known reports whether there is nothing left to learn.
func (r *Recording) Known() bool { return r.known }

// LearnFrom is Learn with the annotations read by the caller.
func (r *Recording) LearnFrom(annotations func() []recording.Annotation) {
	if r.known {
		return
	}
	r.known = true
	for _, a := range annotations() {
		if !recording.IsEngine(a.Text) {
			continue
		}
		v, ok := ParseEvent(a.Text, len(r.Info.Channels))
		if !ok {
			continue
		}
		if v.Settings != nil {
			recorded := v.Settings.All()
			if r.carried.Said != nil {
				recorded = r.carried.Said.Of(v.Channel).Over(recorded)
			}
			resolved := r.resolve(v.Channel, recorded)
			r.Channels[v.Channel], v.Settings = resolved, &resolved.Settings
		}
		r.events = append(r.events, Placed{a.Sample, v})
	}
}

// At is what an engine that begins at a sample begins with.
func (r *Recording) At(sample int64) Start {
	r.Learn()
	s := r.Start
	for _, v := range r.events {
		if v.Sample >= sample {
			break
		}
		s = s.After(v.Event)
	}
	return s
}

// With is the recording with something else said of its channels.
func (r *Recording) With(said Sidecar) *Recording {
	r.Learn()
	list := make([]Placed, len(r.events))
	other := Open(r.File, said)
	other.known, other.Note = true, r.Note
	for i, v := range r.events {
		if v.Settings != nil {
			resolved := other.resolve(v.Channel, v.Settings.All())
			other.Channels[v.Channel], v.Settings = resolved, &resolved.Settings
		}
		list[i] = v
	}
	other.events = list
	return other
}

// Say is the recording with more said of channel n.
func (r *Recording) Say(n int, more Said) *Recording {
	said := Sidecar{Channels: slices.Clone(r.said.Channels), Read: r.said.Read}
	said.Set(n, said.Of(n).Change(more))
	return r.With(said)
}

// PointHz is the rate of the points, by the recording's own rate.
func (r *Recording) PointHz() float64 { return r.Info.ClaimedRateHz / float64(r.Start.Ratio) }

// AsAtEnd brings what an engine of channel n made before the settings changed into the
// scale in which all of the recording is shown.
func (r *Recording) AsAtEnd(n int, e *Engine, out *Output) {
	end := r.Channels[n].Settings
	if end.Linear(r.Info.Channels[n]) == e.linear {
		return
	}
	c := end.ChangeOf(r.Info.Channels[n], e.settings)
	if e.offset == nil {
		e.offset = NewOffset(e.settings, e.rateHz)
	}
	e.offset.Set(e.settings)
	shares := e.offset.Next(out.Len())
	for p := range out.Series {
		for i := range out.Series[p] {
			out.Series[p][i] = out.Series[p][i]*c.Factor + c.Shift*shares[p][i]
		}
	}
	for i := range out.Beats {
		out.Beats[i].Amplitude *= math.Abs(c.Factor)
	}
}

// Rescaled tells of each channel, where values among the samples from … to were live in another scale than that of the
// end, in which they are given, until when; without channels of all.
func (r *Recording) Rescaled(from, to int64, channels ...int) (list []string) {
	r.Learn()
	for n, c := range r.Channels {
		if len(channels) > 0 && !slices.Contains(channels, n) {
			continue
		}
		until, since := int64(0), int64(0)
		end, now := c.Linear(r.Info.Channels[n]), r.Start.Channels[n].Linear(r.Info.Channels[n])
		for _, v := range r.events {
			if v.Settings == nil || v.Channel != n {
				continue
			}
			if now != end && v.Sample > from && since < to {
				until = v.Sample
			}
			now, since = v.Settings.Linear(r.Info.Channels[n]), v.Sample
		}
		if until > 0 {
			list = append(list, fmt.Sprintf("%s: until %.6g s other volts or another polarity were set; values from before are in the scale that was set last", c.Label, float64(until)/r.Info.ClaimedRateHz))
		}
	}
	return list
}

// Run says what of a recording is to go through engines.
type Run struct {
	Channels []int
	Parts    Parts
	// From and To are samples; the engines begin RunInSeconds before From.
	From, To int64
	// Whole lets them begin at the recording's first sample, so that all is as it was
	// live, bit for bit.
	Whole bool
	// Finish gives the beats at the recording's end too that would have been told had
	// the last value stood on.
	Finish bool
	// Ends tells, from a sample on, where Take is called next; nil is at each whole second.
	Ends func(from int64) int64
	// Take is given what came out up to there or less, channel after channel; k counts Channels. Out is valid during the call, e stands at sample
	// end.
	Take func(k int, e *Engine, out *Output, end int64)
	// Progress, unless nil, is told now and then which share of the work is done.
	Progress func(share float64)
}

// Run takes a stretch of the recording through one engine for each channel.
func (r *Recording) Run(ctx context.Context, run Run) error {
	r.Learn()
	from := int64(0)
	if !run.Whole {
		from = max(0, run.From-int64(RunInSeconds*r.Info.ClaimedRateHz))
	}
	start := r.At(from)
	engines := make([]*Engine, len(run.Channels))
	for k, n := range run.Channels {
		e, err := New(start.Config(n, r.Info.Channels[n], from, run.Parts))
		if err != nil {
			return fmt.Errorf("channel %d (%s): %w", n+1, r.Channels[n].Label, err)
		}
		engines[k] = e
	}
	d := &drive{run: run, engines: engines, rateHz: r.Info.ClaimedRateHz, outs: make([]Output, len(engines)), begin: from}
	d.events = r.events[:len(r.events):len(r.events)]
	for len(d.events) > 0 && d.events[0].Sample < from {
		d.events = d.events[1:]
	}
	if d.run.Ends == nil {
		d.run.Ends = func(from int64) int64 { return SecondAfter(from, d.rateHz) }
	}
	to := min(run.To, r.File.Len())
	d.run.To = to
	if err := r.File.Blocks(ctx, from, to, d.block); err != nil {
		return err
	}
	if run.Finish && to == r.File.Len() {
		for k, e := range engines {
			out := &d.outs[k]
			out.Clear()
			out.Beats = e.Finish(out.Beats)
			run.Take(k, e, out, to)
		}
	}
	return nil
}

// drive is a Run under way.
type drive struct {
	run     Run
	engines []*Engine
	outs    []Output
	events  []Placed
	rateHz  float64
	begin   int64
	told    float64 // share
}

// progress tells how far the work is, at each two-hundredth of it.
func (d *drive) progress(at int64) {
	if d.run.Progress == nil {
		return
	}
	if share := float64(at-d.begin) / float64(max(1, d.run.To-d.begin)); share >= d.told+0.005 {
		d.told = share
		d.run.Progress(min(1, share))
	}
}

// block takes in counts, cut where an event stands and at whole seconds.
func (d *drive) block(at int64, counts [][]int32) error {
	d.progress(at)
	end := at + int64(len(counts[0]))
	for from := at; from < end; {
		for len(d.events) > 0 && d.events[0].Sample <= from {
			for k, e := range d.engines {
				_ = e.Apply(d.run.Channels[k], d.events[0].Event) // not possible: as live
			}
			d.events = d.events[1:]
		}
		to := min(end, max(from+1, d.run.Ends(from)))
		if len(d.events) > 0 {
			to = min(to, d.events[0].Sample)
		}
		for k, e := range d.engines {
			out := &d.outs[k]
			out.Clear()
			e.Process(out, counts[d.run.Channels[k]][from-at:to-at])
			d.run.Take(k, e, out, to)
		}
		from = to
	}
	return nil
}

// SecondAfter is the first sample after from at which a second of the recording ends.
func SecondAfter(from int64, rateHz float64) int64 {
	n := math.Floor(float64(from)/rateHz) + 1
	at := int64(math.Round(n * rateHz))
	if at <= from {
		at = int64(math.Round((n + 1) * rateHz))
	}
	return max(at, from+1)
}

// CarriedValues is what a copy that holds values in units, as CSV does, carries so that the copy
// is read as the recording is: each channel's kind, path, board, rails and coupling. Gain and turning are in the values.
func (r *Recording) CarriedValues() Carried {
	r.Learn()
	said := &Sidecar{}
	for n := range r.Channels {
		said.Set(n, r.carriedValues(n))
	}
	return Carried{Version: carriedVersion, Said: said, Note: r.Note}
}

// Changed names what changed within the recording after a sample, or was in doubt there, which CarriedValues does not tell: of each
// channel and of the clock what it is and when it first changed.
func (r *Recording) Changed(after int64) (list []string) {
	was, told := r.At(after+1), map[string]bool{}
	tell := func(differs bool, sample int64, format string, a ...any) {
		if text := fmt.Sprintf(format, a...); differs && !told[text] {
			told[text] = true
			list = append(list, fmt.Sprintf("%s (from %.6g s on)", text, float64(sample)/r.Info.ClaimedRateHz))
		}
	}
	tell(was.Doubt != "", after, "doubt of the clock")
	for _, v := range r.events {
		if v.Sample <= after {
			continue
		}
		tell(v.Doubt != nil && *v.Doubt != "", v.Sample, "doubt of the clock")
		tell(v.Restart, v.Sample, "where the signal begins anew")
		name := strconv.Quote(r.Channels[v.Channel].Label)
		tell(v.Clipped, v.Sample, "the converter of %s at its end", name)
		if v.Settings == nil {
			continue
		}
		a, b := was.Channels[v.Channel], *v.Settings
		tell(a.Label != b.Label, v.Sample, "name of %s", name)
		tell(a.Kind != b.Kind, v.Sample, "kind of %s", name)
		tell(a.Unit != b.Unit, v.Sample, "unit of %s", name)
		tell(!reflect.DeepEqual(a.Scale, b.Scale), v.Sample, "volts of %s", name)
		tell(!reflect.DeepEqual(a.Path, b.Path), v.Sample, "path of %s", name)
		tell(!reflect.DeepEqual(a.Board, b.Board), v.Sample, "board of %s", name)
		was = was.After(v.Event)
	}
	return list
}

// CarriedPoint is as CarriedValues of a copy that holds the values of channels at a point: their coupling is undone
// there and, after the scale, their path applied.
func (r *Recording) CarriedPoint(channels []int, point int) Carried {
	r.Learn()
	said := &Sidecar{}
	for k, n := range channels {
		one := r.carriedValues(n)
		if one.Unit = nil; one.Scale != nil { // the file's steps are its own
			one.Scale.Source = ScaleBoard
			one.Scale.CouplingHz, one.Scale.CouplingFloorHz = 0, 0
		}
		if point != PointScale {
			one.Path = nil
		}
		said.Set(k, one)
	}
	return Carried{Version: carriedVersion, Said: said, Note: r.Note}
}

func (r *Recording) carriedValues(n int) Said {
	c := r.Channels[n]
	one := c.All()
	one.Label, one.Scale = nil, nil // the copy's own
	source := ScaleUnknown          // numbers as they came
	if c.Scale.Source != ScaleUnknown {
		source, one.Unit = ScaleBoard, nil
	}
	if s := c.Scale; s.SupplyLowVolts != nil || s.SupplyHighVolts != nil || s.MidRailVolts != nil || s.CouplingHz != 0 {
		low, high, mid := s.At(s.SupplyLowVolts), s.At(s.SupplyHighVolts), s.At(s.MidRailVolts)
		if s.gain() < 0 {
			low, high = high, low
		}
		if about := mid; s.Invert {
			if math.IsNaN(about) {
				about = 0
			}
			low, high = 2*about-high, 2*about-low
		}
		one.Scale = &Scale{Source: source, Gain: 1, CouplingHz: s.CouplingHz, CouplingFloorHz: s.CouplingFloorHz, SupplyLowVolts: unlessNaN(low), SupplyHighVolts: unlessNaN(high), MidRailVolts: unlessNaN(mid)}
	}
	return one
}

func unlessNaN(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

// Shown is how the recording's channels are written where there are only samples, as in
// CSV: with what was said of name, kind, unit and scale.
func (r *Recording) Shown() []acquire.Channel {
	r.Learn()
	list := slices.Clone(r.Info.Channels)
	for n := range list {
		list[n] = r.Channels[n].Describe(list[n])
	}
	return list
}
