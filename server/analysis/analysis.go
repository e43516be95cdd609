// Package analysis judges a stretch of a recording: its beats as the live view finds
// them, the meters' figures and the spectrum. The command line and the page's
// comparison of recordings both call it, so that their numbers agree.
//
// Samples are counted from the recording's first one; values are in the unit and scale
// that hold at the recording's end. All goes through the one [channel.Engine]. The
// functions are safe for concurrent use on different files.
package analysis

import (
	"context"
	"fmt"
	"math"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/quantile"
	"pulsewright/dsp/spectrum"
	"pulsewright/server/channel"
)

// segmentSeconds of a spectrum: bins about a quarter of a hertz apart.
const segmentSeconds = 4

// Part is a stretch of one channel of a recording: samples From to To, without the last.
type Part struct {
	Rec      *channel.Recording
	Channel  int
	From, To int64
	// Whole has the engine begin at the recording's start, as it was live, and not
	// shortly before the stretch.
	Whole bool
	// AllIntervals has Variability list every interval.
	AllIntervals bool
	// Edits are put into the beats found; nil are none.
	Edits Edits
	// Progress, unless nil, is told now and then which share of the work is done.
	Progress func(share float64)
}

// All is a channel of a recording, from its first sample to its last.
func All(rec *channel.Recording, n int) Part {
	return Part{Rec: rec, Channel: n, To: rec.File.Len(), Whole: true}
}

// settings are the channel's.
func (p Part) settings() channel.Settings {
	p.Rec.Learn()
	return p.Rec.Channels[p.Channel].Settings
}

// run takes the stretch through the channel's engine.
func (p Part) run(ctx context.Context, parts channel.Parts, take func(e *channel.Engine, out *channel.Output, end int64)) error {
	return p.Rec.Run(ctx, channel.Run{Channels: []int{p.Channel}, Parts: parts, From: p.From, To: p.To, Whole: p.Whole, Finish: true, Progress: p.Progress,
		Take: func(_ int, e *channel.Engine, out *channel.Output, end int64) {
			p.Rec.AsAtEnd(p.Channel, e, out)
			take(e, out, end)
		}})
}

// place turns a beat's points into samples of the recording.
func place(b beat.Beat, ratio int) beat.Beat {
	b.Sample *= int64(ratio)
	b.Foot *= int64(ratio)
	return b
}

// Values are a gap-free run of a channel's values.
type Values struct {
	Values []float64
	RateHz float64 // of the values
	Start  int64   // sample of the first one
	Ratio  int64   // samples a value
}

// End is the sample after the last value.
func (v Values) End() int64 { return v.Start + int64(len(v.Values))*v.Ratio }

// Longest reads the longest run without a missing sample, mostSeconds at most.
func Longest(ctx context.Context, p Part, mostSeconds float64) (Values, error) {
	ratio := int64(p.Rec.Start.Ratio)
	v := Values{RateHz: p.Rec.PointHz(), Ratio: ratio}
	l := &longest{most: int(mostSeconds * v.RateHz)}
	from := (p.From + ratio - 1) / ratio
	if len(p.Rec.File.Gaps()) == 0 { // the first run is the longest
		p.To = min(p.To, p.From+int64(mostSeconds*p.Rec.Info.ClaimedRateHz)+ratio*64)
	}
	err := p.run(ctx, 0, func(_ *channel.Engine, out *channel.Output, _ int64) {
		values := out.Series[channel.PointScale]
		skip := min(max(0, from-out.First), int64(len(values)))
		l.add(out.First+skip, values[skip:])
	})
	if err != nil {
		return v, err
	}
	l.end()
	if v.Values, v.Start = l.best, l.start*ratio; len(v.Values) == 0 {
		return v, fmt.Errorf("channel %d (%s): it holds no sample between %d and %d", p.Channel+1, p.settings().Label, p.From, p.To)
	}
	return v, nil
}

// longest keeps the longest run of values without a NaN.
type longest struct {
	most            int
	run, best       []float64
	runStart, start int64
}

func (l *longest) add(first int64, values []float64) {
	for i, v := range values {
		switch {
		case math.IsNaN(v):
			l.end()
		case len(l.run) < l.most:
			if len(l.run) == 0 {
				l.runStart = first + int64(i)
			}
			l.run = append(l.run, v)
		}
	}
}

// end ends a run.
func (l *longest) end() {
	if len(l.run) > len(l.best) {
		l.best, l.start, l.run = l.run, l.runStart, l.best
	}
	l.run = l.run[:0]
}

// Beats tells every beat of a stretch, in order, as it was found live, and the edits of it.
func Beats(ctx context.Context, p Part, found func(beat.Beat)) error {
	hand := p.hand(p.Channel)
	tell := func(b beat.Beat) {
		if b = place(b, p.Rec.Start.Ratio); b.Sample < p.To {
			found(b)
		}
	}
	err := p.run(ctx, channel.Beats, func(_ *channel.Engine, out *channel.Output, _ int64) {
		hand.Samples(out.First, out.Series[channel.PointScale])
		for _, b := range out.Beats {
			hand.Beat(b, tell)
		}
	})
	hand.Until(math.MaxInt64, tell)
	return err
}

// hand puts the edits of channel n to work.
func (p Part) hand(n int) *Hand {
	list := p.Edits[n]
	if from := p.From; !p.Whole { // those before are none of the stretch
		list = slices.DeleteFunc(slices.Clone(list), func(e recording.Edit) bool { return e.Place() < from })
	}
	return NewHand(list, beat.Kind(p.Rec.Channels[n].Kind), p.Rec.PointHz(), p.Rec.Start.Ratio)
}

// Readings tells what a person would have seen of a channel at the end of each second,
// 1 and on, of a part that is [All] of a recording. While samples are missing the state is
// [beat.StateNoSignal].
func Readings(ctx context.Context, p Part, second func(n int64, r beat.Reading)) error {
	hz, told := p.Rec.Info.ClaimedRateHz, int64(0)
	return p.run(ctx, channel.Beats, func(e *channel.Engine, _ *channel.Output, end int64) {
		if next := told + 1; end == int64(math.Round(float64(next)*hz)) {
			told = next
			second(next, e.Reading())
		}
	})
}

// Spectrum is a Welch density, live or of a recording.
type Spectrum struct {
	FreqHz                []float64 `json:"freqHz"`
	DensityVoltsPerRootHz []float64 `json:"densityVoltsPerRootHz"` // at each of FreqHz, in the unit of the values
	BandwidthHz           float64   `json:"bandwidthHz"`
	Averages              int       `json:"averages"` // segments
}

// LeastSamples is what a spectrum needs.
const LeastSamples = 16

// SpectrumOf gives the density of values without a gap, in segments of about
// segmentSeconds or, of fewer values, in one. It has no frequencies for fewer than
// [LeastSamples] values.
func SpectrumOf(values []float64, rateHz float64) (Spectrum, error) {
	s := Spectrum{FreqHz: []float64{}, DensityVoltsPerRootHz: []float64{}}
	segment := min(spectrum.SegmentNear(segmentSeconds, rateHz), len(values))
	if segment < LeastSamples {
		return s, nil
	}
	d, err := spectrum.Of(spectrum.Config{RateHz: rateHz, SegmentSamples: segment}, values)
	if err != nil {
		return s, err
	}
	s.DensityVoltsPerRootHz = d.RootHz(nil)
	s.BandwidthHz, s.Averages = d.BandwidthHz, d.Averages
	s.FreqHz = make([]float64, len(s.DensityVoltsPerRootHz))
	for i := range s.FreqHz {
		s.FreqHz[i] = d.FreqHz(i)
	}
	return s, nil
}

// Stretch is what a stretch of a recording shows.
type Stretch struct {
	Channel string       `json:"channel"`
	Kind    string       `json:"kind"`
	Unit    string       `json:"unit"`
	RateHz  float64      `json:"rateHz"`
	From    int64        `json:"from"` // the gap-free run that was judged
	To      int64        `json:"to"`
	Report  meter.Report `json:"report"`
	// Spectrum has no frequencies when the run is shorter than LeastSamples.
	Spectrum Spectrum    `json:"spectrum"`
	Beats    []beat.Beat `json:"beats"` // counted from the recording's first sample
	// MedianBPM is 60 over the median interval of neighbouring beats, 0 with fewer
	// than two beats.
	MedianBPM float64 `json:"medianBpm"`
	Average   Average `json:"average"`
}

// Judge judges the longest gap-free run of a stretch, mostSeconds at most.
func Judge(ctx context.Context, p Part, mostSeconds float64) (Stretch, error) {
	run, err := Longest(ctx, p, mostSeconds)
	if err != nil {
		return Stretch{}, err
	}
	settings, c := p.settings(), p.Rec.Info.Channels[p.Channel]
	s := Stretch{Channel: settings.Label, Kind: settings.Kind, Unit: settings.Linear(c).Unit, RateHz: run.RateHz, From: run.Start, To: run.End(), Beats: []beat.Beat{}}
	counted, err := within(ctx, p, run, &s.Beats)
	if err != nil {
		return s, err
	}
	var at []float64
	for _, b := range counted {
		at = append(at, float64(b.Sample)/s.RateHz)
	}
	s.MedianBPM = MedianBPM(at)
	s.Average = averageBeat(run.Values, counted, s.RateHz, beat.Kind(s.Kind))
	if s.Report, err = meter.Whole(settings.Meter(c, run.RateHz), run.Values, counted); err != nil {
		return s, err
	}
	s.Spectrum, err = SpectrumOf(run.Values, s.RateHz)
	return s, err
}

// Report is what the meters tell of a run of values, with what told adds of the board, and
// the beats in it.
func Report(ctx context.Context, p Part, run Values, told func(*meter.Config)) (meter.Report, []beat.Beat, error) {
	var beats []beat.Beat
	counted, err := within(ctx, p, run, &beats)
	if err != nil {
		return meter.Report{}, nil, err
	}
	config := p.settings().Meter(p.Rec.Info.Channels[p.Channel], run.RateHz)
	told(&config)
	r, err := meter.Whole(config, run.Values, counted)
	return r, beats, err
}

// within appends the beats in a run to placed, in samples of the recording, and returns
// them counted from its first value. A channel without beats has none.
func within(ctx context.Context, p Part, run Values, placed *[]beat.Beat) (counted []beat.Beat, err error) {
	if p.settings().Kind == acquire.KindOther {
		return nil, nil
	}
	p.From, p.To, p.Edits = run.Start, run.End(), nil
	err = Beats(ctx, p, func(b beat.Beat) {
		if b.Foot < run.Start {
			return
		}
		*placed = append(*placed, b)
		b.Sample, b.Foot = (b.Sample-run.Start)/run.Ratio, (b.Foot-run.Start)/run.Ratio
		counted = append(counted, b)
	})
	return counted, err
}

// MedianBPM is 60 over the median interval of beats at some seconds, in order; 0 with
// fewer than two beats. One outside of 0.2 to 3 s (300 to 20 a minute) spans a gap or a
// missed beat, or is none, and is left out.
func MedianBPM(seconds []float64) float64 {
	var intervals []float64
	for i := 1; i < len(seconds); i++ {
		if d := seconds[i] - seconds[i-1]; d >= 0.2 && d <= 3 {
			intervals = append(intervals, d)
		}
	}
	if len(intervals) == 0 {
		return 0
	}
	slices.Sort(intervals)
	return 60 / quantile.Of(intervals, 0.5)
}
