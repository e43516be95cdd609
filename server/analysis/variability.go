package analysis

import (
	"context"
	"fmt"
	"math"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/variability"
	"pulsewright/server/channel"
)

// Intervals is what the intervals between the beats of a stretch of a recording show.
type Intervals struct {
	Channel string  `json:"channel"`
	Kind    string  `json:"kind"`
	RateHz  float64 `json:"rateHz"`
	From    int64   `json:"from"`
	To      int64   `json:"to"`
	// Report is over the whole stretch.
	Report variability.Report `json:"report"`
	// Intervals are the last quarter of an hour's, or all as the part says; Sample counts from the
	// recording's first sample.
	Intervals []variability.Interval `json:"intervals"`
	// Edited counts the beats of the stretch that were edited by hand.
	Edited    Edited `json:"edited"`
	edits     []recording.Edit
	Breathing []Breath `json:"breathing"`
	// Arrival is nil unless the recording has an ECG and a pulse.
	Arrival *Arrivals `json:"arrival"`
}

// Breath is the breathing rate of the minute before a moment.
type Breath struct {
	// AtSeconds from the recording's first sample.
	AtSeconds float64 `json:"atSeconds"`
	variability.Breathing
}

// Arrivals is the pulse's arrival between two channels.
type Arrivals struct {
	ECGLabel   string    `json:"ecgLabel"`
	PulseLabel string    `json:"pulseLabel"`
	At         []Arrived `json:"at"`
}

// Arrived is the pulse's arrival in the half minute before a moment.
type Arrived struct {
	AtSeconds float64 `json:"atSeconds"`
	variability.Arrival
}

const (
	// lookEvery spaces the looks at breathing and arrival, mostLooks of them at most.
	lookEvery = 15.0
	mostLooks = 480
)

// Variability gives the interval measures of a stretch by the beats that the live view
// finds, and breathing and the pulse's arrival every 15 s and at the end or, of more than
// two hours, in 480 places.
func Variability(ctx context.Context, p Part) (Intervals, error) {
	settings := p.settings()
	if settings.Kind == acquire.KindOther {
		return Intervals{}, fmt.Errorf("channel %d (%s): it is neither a pulse nor an ECG, so it has no beats", p.Channel+1, settings.Label)
	}
	out := Intervals{Channel: settings.Label, Kind: settings.Kind, RateHz: p.Rec.Info.ClaimedRateHz, From: p.From, To: p.To, Breathing: []Breath{}}
	f := &following{part: p, out: &out, channels: []int{p.Channel}}
	if other := partner(p.Rec, p.Channel); other >= 0 {
		f.channels = append(f.channels, other)
	}
	for _, n := range f.channels {
		t, err := variability.NewTracker(variability.Config{Kind: beat.Kind(p.Rec.Channels[n].Kind), RateHz: p.Rec.PointHz(), KeepAll: p.AllIntervals})
		if err != nil {
			return out, err
		}
		f.trackers, f.hands = append(f.trackers, t), append(f.hands, p.hand(n))
	}
	f.begin()
	out.edits, out.Edited = p.Edits[p.Channel], p.Edits.Count(p.Channel, p.From, p.To)
	err := p.Rec.Run(ctx, channel.Run{Channels: f.channels, Parts: channel.Beats, From: p.From, To: p.To, Whole: p.Whole, Finish: true, Progress: p.Progress, Take: f.take})
	if err != nil {
		return out, err
	}
	for k := range f.trackers {
		f.hands[k].Until(math.MaxInt64, f.tell(k))
	}
	if end := float64(p.To) / out.RateHz; end-f.last > f.step/2 {
		f.look(end)
	}
	stretch := f.trackers[0].Stretch(0)
	for i := range stretch.Intervals {
		stretch.Intervals[i].Sample *= int64(p.Rec.Start.Ratio)
	}
	out.Report, out.Intervals = stretch.Report(), stretch.Intervals
	return out, nil
}

// following is a Variability under way: trackers of the channel and, where there is one,
// its partner, in points.
type following struct {
	part             Part
	out              *Intervals
	channels         []int
	trackers         []*variability.Tracker
	hands            []*Hand
	ecg, pulse       int     // trackers of an arrival
	last, next, step float64 // seconds: looked, to be looked, between
}

// begin sets when to look, and at whose arrival.
func (f *following) begin() {
	f.last = float64(f.part.From) / f.out.RateHz
	f.step = max(lookEvery, float64(f.part.To-f.part.From)/f.out.RateHz/mostLooks)
	f.next = f.last + f.step
	if len(f.channels) < 2 {
		return
	}
	if f.pulse = 1; f.part.settings().Kind == acquire.KindPulse {
		f.ecg, f.pulse = 1, 0
	}
	label := func(k int) string { return f.part.Rec.Channels[f.channels[k]].Label }
	f.out.Arrival = &Arrivals{ECGLabel: label(f.ecg), PulseLabel: label(f.pulse), At: []Arrived{}}
}

func (f *following) look(now float64) {
	f.last = now
	f.out.Breathing = append(f.out.Breathing, Breath{now, f.trackers[0].Breathing()})
	if f.out.Arrival != nil {
		a, _ := variability.PulseArrival(f.trackers[f.ecg], f.trackers[f.pulse])
		f.out.Arrival.At = append(f.out.Arrival.At, Arrived{now, a})
	}
}

func (f *following) take(k int, e *channel.Engine, out *channel.Output, _ int64) {
	f.part.Rec.AsAtEnd(f.channels[k], e, out)
	if now := float64(out.First*int64(e.Ratio())) / f.out.RateHz; k == 0 && out.Len() > 0 && now >= f.next {
		f.next += f.step
		f.look(now)
	}
	t, hand := f.trackers[k], f.hands[k]
	t.Doubt(out.First, e.Doubt() != "")
	t.Samples(out.First, out.Series[channel.PointScale])
	hand.Samples(out.First, out.Series[channel.PointScale])
	told := 0
	tell := func(to int) {
		for _, b := range out.Beats[told:to] {
			hand.Beat(b, f.tell(k))
		}
		told = to
	}
	for _, at := range out.Breaks {
		tell(at)
		hand.Until(out.First, f.tell(k))
		t.Break()
	}
	tell(len(out.Beats))
	hand.Until(out.First-int64(toldSeconds*f.part.Rec.PointHz()), f.tell(k)) // none found will come before
}

// tell gives a beat of the stretch, in points, to tracker k.
func (f *following) tell(k int) func(beat.Beat) {
	return func(b beat.Beat) {
		from := place(b, f.part.Rec.Start.Ratio)
		if from.Sample < f.part.To && from.Sample >= f.part.From && (b.Kind == beat.ECG || from.Foot >= f.part.From) {
			f.trackers[k].Beats([]beat.Beat{b})
		}
	}
}

// partner is the first channel of the other kind, the pulse to an ECG or the ECG to a
// pulse; −1 for none.
func partner(rec *channel.Recording, n int) int {
	want := acquire.KindECG
	if rec.Channels[n].Kind == acquire.KindECG {
		want = acquire.KindPulse
	}
	return slices.IndexFunc(rec.Channels, func(c channel.Resolved) bool { return c.Kind == want && c.From.Kind != channel.PlaceUsual })
}
