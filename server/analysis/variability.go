package analysis

import (
	"context"
	"fmt"

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
}

// Breath is the breathing rate of the minute before a moment.
type Breath struct {
	// AtSeconds from the recording's first sample.
	AtSeconds float64 `json:"atSeconds"`
	variability.Breathing
}

const (
	// breathEvery spaces the breathing rates, mostBreaths of them at most.
	breathEvery = 15.0
	mostBreaths = 480
)

// Variability gives the interval measures of the samples [from, to) of a channel by
// the live view's detector, and the breathing rate every 15 s or, of more than two
// hours, in 480 places.
func Variability(ctx context.Context, file *recording.File, channel int, from, to int64) (Intervals, error) {
	info := file.Describe()
	c := info.Channels[channel]
	if c.Kind == acquire.KindOther {
		return Intervals{}, fmt.Errorf("channel %d (%s): it is neither a pulse nor an ECG, so it has no beats", channel+1, c.Label)
	}
	kind := KindOf(c)
	out := Intervals{Channel: c.Label, Kind: string(kind), RateHz: info.ClaimedRateHz, From: from, To: to, Breathing: []Breath{}}
	tracker, err := variability.NewTracker(variability.Config{Kind: kind, RateHz: info.ClaimedRateHz})
	if err != nil {
		return out, err
	}
	step := max(breathEvery, float64(to-from)/info.ClaimedRateHz/mostBreaths)
	next := float64(from)/info.ClaimedRateHz + step
	err = follow(ctx, file, channel, kind, from, to, hooks{
		values: func(at int64, values []float64) {
			now := float64(at) / info.ClaimedRateHz
			if now >= next {
				next += step
				out.Breathing = append(out.Breathing, Breath{now, tracker.Breathing()})
			}
			tracker.Samples(at, values)
		},
		restarted: tracker.Break,
		found:     func(b beat.Beat) { tracker.Beats([]beat.Beat{b}) },
	})
	if err != nil {
		return out, err
	}
	stretch := tracker.Stretch(0)
	out.Report, out.Intervals = stretch.Report(), stretch.Intervals
	return out, nil
}
