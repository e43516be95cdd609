package analysis

import (
	"context"
	"fmt"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/variability"
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
	// Intervals are the last quarter of an hour's; Sample counts from the
	// recording's first sample.
	Intervals []variability.Interval `json:"intervals"`
	Breathing []Breath               `json:"breathing"`
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

// Variability gives the interval measures of the samples [from, to) of a channel by
// the live view's detector, and breathing and the pulse's arrival every 15 s and at the
// end or, of more than two hours, in 480 places. The detector starts settleSeconds
// earlier where the recording reaches back so far.
func Variability(ctx context.Context, file *recording.File, channel int, from, to int64) (Intervals, error) {
	info := file.Describe()
	c := info.Channels[channel]
	if c.Kind == acquire.KindOther {
		return Intervals{}, fmt.Errorf("channel %d (%s): it is neither a pulse nor an ECG, so it has no beats", channel+1, c.Label)
	}
	rate := info.ClaimedRateHz
	out := Intervals{Channel: c.Label, Kind: string(KindOf(c)), RateHz: rate, From: from, To: to, Breathing: []Breath{}}
	channels := []int{channel}
	if other := partner(info, channel); other >= 0 {
		channels = append(channels, other)
	}
	trackers := make([]*variability.Tracker, len(channels))
	list := make([]followed, len(channels))
	for k, n := range channels {
		kind := KindOf(info.Channels[n])
		t, err := variability.NewTracker(variability.Config{Kind: kind, RateHz: rate})
		if err != nil {
			return out, err
		}
		trackers[k] = t
		list[k] = followed{channel: n, kind: kind, values: t.Samples, restarted: t.Break, found: func(b beat.Beat) {
			if b.Sample >= from && (kind == beat.ECG || b.Foot >= from) {
				t.Beats([]beat.Beat{b})
			}
		}}
	}
	look := func(float64) {}
	if len(channels) == 2 {
		ecg, pulse := 0, 1
		if list[0].kind == beat.Pulse {
			ecg, pulse = 1, 0
		}
		out.Arrival = &Arrivals{ECGLabel: info.Channels[channels[ecg]].Label, PulseLabel: info.Channels[channels[pulse]].Label, At: []Arrived{}}
		look = func(now float64) {
			a, _ := variability.PulseArrival(trackers[ecg], trackers[pulse])
			out.Arrival.At = append(out.Arrival.At, Arrived{now, a})
		}
	}
	last := float64(from) / rate
	step := max(lookEvery, float64(to-from)/rate/mostLooks)
	next := last + step
	at := func(now float64) {
		last = now
		out.Breathing = append(out.Breathing, Breath{now, trackers[0].Breathing()})
		look(now)
	}
	list[0].values = func(first int64, values []float64) {
		if now := float64(first) / rate; now >= next {
			next += step
			at(now)
		}
		trackers[0].Samples(first, values)
	}
	if err := follow(ctx, file, max(0, from-int64(settleSeconds*rate)), to, list...); err != nil {
		return out, err
	}
	if end := float64(to) / rate; end-last > step/2 {
		at(end)
	}
	stretch := trackers[0].Stretch(0)
	out.Report, out.Intervals = stretch.Report(), stretch.Intervals
	return out, nil
}

// partner is the first channel of the other kind, the pulse to an ECG or the ECG to a
// pulse; −1 for none.
func partner(info acquire.Info, channel int) int {
	want := acquire.KindECG
	switch info.Channels[channel].Kind {
	case acquire.KindECG:
		want = acquire.KindPulse
	case acquire.KindPulse:
	default:
		return -1
	}
	return slices.IndexFunc(info.Channels, func(c acquire.Channel) bool { return c.Kind == want })
}
