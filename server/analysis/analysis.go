// Package analysis judges a stretch of a recording: its beats by the live view's
// detector, the meters' figures and the spectrum. The command line and the page's
// comparison of recordings both call it, so that their numbers agree.
//
// Samples are counted from the recording's first one; values are in the channel's
// unit, or counts when that is unknown. The functions are safe for concurrent use
// on different files.
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
	"pulsewright/dsp/spectrum"
)

const (
	// bridgeSeconds is the longest hole that is filled with the last value.
	bridgeSeconds = 0.05
	// settleSeconds of signal before a stretch let the detector settle.
	settleSeconds = 20
	// segmentSeconds of a spectrum: bins about a quarter of a hertz apart.
	segmentSeconds = 4
)

// Unit is the unit of a channel's values.
func Unit(c acquire.Channel) string {
	if c.Scaled() && c.Unit != "" {
		return c.Unit
	}
	return "counts"
}

// KindOf is the kind of beats to look for in a channel: pulse unless it is an ECG.
func KindOf(c acquire.Channel) beat.Kind {
	if c.Kind == acquire.KindECG {
		return beat.ECG
	}
	return beat.Pulse
}

// MeterConfig is what a recording tells of a channel's board; the rails and the
// mid-rail are unknown.
func MeterConfig(info acquire.Info, channel int, kind string) meter.Config {
	c := info.Channels[channel]
	config := meter.Unknown(info.ClaimedRateHz)
	config.Kind, config.Unit = kind, Unit(c)
	if c.Scaled() {
		config.VoltsPerCount = math.Abs(c.VoltsPerCount)
	}
	if c.MinCount != c.MaxCount {
		config.ConverterLow, config.ConverterHigh = c.Value(c.MinCount), c.Value(c.MaxCount)
	}
	return config
}

// each reads the samples [from, to) of a channel, in order, at most a second at a time;
// a missing one is NaN. values is valid during the call only.
func each(ctx context.Context, file *recording.File, channel int, from, to int64, take func(at int64, values []float64)) error {
	return together(ctx, file, []int{channel}, from, to, func(_ int, at int64, values []float64) { take(at, values) })
}

// together is each of several channels at once: take gets the same second of one after
// the other, k counting the channels asked for.
func together(ctx context.Context, file *recording.File, channels []int, from, to int64, take func(k int, at int64, values []float64)) error {
	info := file.Describe()
	values := make([]float64, max(1, min(recording.BlockSamples, int(info.ClaimedRateHz))))
	return file.Blocks(ctx, from, to, func(at int64, block [][]int32) error {
		for first := 0; first < len(block[channels[0]]); first += len(values) {
			for k, channel := range channels {
				c := info.Channels[channel]
				counts := block[channel][first:min(first+len(values), len(block[channel]))]
				for i, count := range counts {
					if count == acquire.MissingCount {
						values[i] = math.NaN()
					} else {
						values[i] = c.Value(count)
					}
				}
				take(k, at+int64(first), values[:len(counts)])
			}
		}
		return nil
	})
}

// Longest reads a channel's longest run without a missing sample in [from, to),
// mostSeconds at most, and tells where it begins.
func Longest(ctx context.Context, file *recording.File, channel int, from, to int64, mostSeconds float64) (values []float64, start int64, err error) {
	info := file.Describe()
	most := int(mostSeconds * info.ClaimedRateHz)
	var run []float64
	var runStart int64
	end := to
	if len(file.Gaps()) == 0 { // the first run is the longest
		end = min(to, from+int64(most))
	}
	err = each(ctx, file, channel, from, end, func(at int64, part []float64) {
		for i, v := range part {
			switch {
			case math.IsNaN(v):
				if len(run) > len(values) {
					values, start, run = run, runStart, values
				}
				run = run[:0]
			case len(run) < most:
				if len(run) == 0 {
					runStart = at + int64(i)
				}
				run = append(run, v)
			}
		}
	})
	if err != nil {
		return nil, 0, err
	}
	if len(run) > len(values) {
		values, start = run, runStart
	}
	if len(values) == 0 {
		return nil, 0, fmt.Errorf("channel %d (%s): it holds no sample between %d and %d", channel+1, info.Channels[channel].Label, from, to)
	}
	return values, start, nil
}

// Beats runs the live view's detector over the samples [from, to) of a channel
// and tells every beat in order. A missing sample is a gap: holes up to 50 ms are
// bridged with the last value, after longer ones the detector begins anew, as it
// does live.
func Beats(ctx context.Context, file *recording.File, channel int, kind beat.Kind, from, to int64, found func(beat.Beat)) error {
	return follow(ctx, file, from, to, followed{channel: channel, kind: kind, found: found})
}

// Readings tells what a person would have seen of a channel at the end of each second,
// 1 and on, of the whole recording: the live view's monitor is asked then. While samples
// are missing the state is [beat.StateNoSignal].
func Readings(ctx context.Context, file *recording.File, channel int, kind beat.Kind, second func(n int64, r beat.Reading)) error {
	return follow(ctx, file, 0, file.Len(), followed{channel: channel, kind: kind, found: func(beat.Beat) {}, second: second})
}

// followed is a channel whose beats are looked for, and what is called; values, second
// and restarted may be nil.
type followed struct {
	channel   int
	kind      beat.Kind
	values    func(at int64, values []float64) // before the beats found in them
	second    func(n int64, r beat.Reading)    // at the end of the n-th second of the recording
	restarted func()                           // the detector begins anew
	found     func(beat.Beat)
}

// follow runs the detector over several channels side by side.
func follow(ctx context.Context, file *recording.File, from, to int64, list ...followed) error {
	info := file.Describe()
	channels := make([]int, len(list))
	feeds := make([]*runs, len(list))
	read := make([]func() beat.Reading, len(list))
	latency := make([]int, len(list))
	for k, do := range list {
		c := info.Channels[do.channel]
		config := beat.MonitorConfig{Kind: do.kind, RateHz: info.ClaimedRateHz, Low: math.NaN(), High: math.NaN(), Volts: c.Unit == "V"}
		if c.Scaled() {
			config.Step = math.Abs(c.VoltsPerCount)
		}
		if c.MinCount != c.MaxCount {
			config.Low, config.High = c.Value(c.MinCount), c.Value(c.MaxCount)
		}
		monitor, err := beat.NewMonitor(config)
		if err != nil {
			return err
		}
		var beats []beat.Beat
		channels[k], latency[k], read[k] = do.channel, monitor.LatencySamples(), monitor.Reading
		feeds[k] = &runs{
			bridge: int64(bridgeSeconds * info.ClaimedRateHz),
			reset: func() {
				monitor.Reset()
				if do.restarted != nil {
					do.restarted()
				}
			},
			run: func(base int64, values []float64) {
				beats = monitor.Process(beats[:0], values)
				for _, b := range beats {
					b.Sample += base
					b.Foot += base
					if b.Sample < to {
						do.found(b)
					}
				}
			},
		}
	}
	if err := together(ctx, file, channels, from, to, func(k int, at int64, values []float64) {
		if list[k].values != nil {
			list[k].values(at, values)
		}
		if list[k].second == nil {
			feeds[k].add(at, values)
			return
		}
		for n := int64(math.Floor(float64(at)/info.ClaimedRateHz)) + 1; ; n++ {
			end := int64(math.Round(float64(n) * info.ClaimedRateHz)) // of the second
			if end > at+int64(len(values)) {
				feeds[k].add(at, values)
				return
			}
			if end < at {
				continue
			}
			feeds[k].add(at, values[:end-at])
			at, values = end, values[end-at:]
			r := read[k]()
			if h := feeds[k].hole; h > feeds[k].bridge {
				r = beat.Reading{State: beat.StateNoSignal, Reason: fmt.Sprintf("no samples for %.1f s: a gap in the recording", float64(h)/info.ClaimedRateHz)}
			}
			list[k].second(n, r)
			if len(values) == 0 {
				return
			}
		}
	}); err != nil {
		return err
	}
	for k, feed := range feeds {
		feed.end(latency[k])
	}
	return nil
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
	// than three beats.
	MedianBPM float64 `json:"medianBpm"`
	Average   Average `json:"average"`
}

// Judge judges the longest gap-free run of a channel in [from, to), mostSeconds at
// most. The detector starts settleSeconds earlier where the recording reaches back
// so far, so that the first beats of the stretch are found too.
func Judge(ctx context.Context, file *recording.File, channel int, from, to int64, mostSeconds float64) (Stretch, error) {
	info := file.Describe()
	c := info.Channels[channel]
	values, start, err := Longest(ctx, file, channel, from, to, mostSeconds)
	if err != nil {
		return Stretch{}, err
	}
	kind := KindOf(c)
	s := Stretch{Channel: c.Label, Kind: string(kind), Unit: Unit(c), RateHz: info.ClaimedRateHz, From: start, To: start + int64(len(values)), Beats: []beat.Beat{}}
	if c.Kind == acquire.KindOther {
		s.Kind = acquire.KindOther
	}
	var counted []beat.Beat // from the first value, as the meters want them
	if s.Kind != acquire.KindOther {
		before := max(0, start-int64(settleSeconds*info.ClaimedRateHz))
		err := Beats(ctx, file, channel, kind, before, s.To, func(b beat.Beat) {
			if b.Foot < start {
				return
			}
			s.Beats = append(s.Beats, b)
			b.Sample -= start
			b.Foot -= start
			counted = append(counted, b)
		})
		if err != nil {
			return s, err
		}
	}
	s.MedianBPM = medianBPM(counted, s.RateHz)
	s.Average = averageBeat(values, counted, s.RateHz, kind)
	if s.Report, err = meter.Whole(MeterConfig(info, channel, s.Kind), values, counted); err != nil {
		return s, err
	}
	s.Spectrum, err = SpectrumOf(values, s.RateHz)
	return s, err
}

// medianBPM is the rate at the median interval; the mean of the middle two of an
// even number.
func medianBPM(beats []beat.Beat, rateHz float64) float64 {
	if len(beats) < 3 {
		return 0
	}
	intervals := make([]float64, len(beats)-1)
	for i := range intervals {
		intervals[i] = float64(beats[i+1].Sample-beats[i].Sample) / rateHz
	}
	slices.Sort(intervals)
	n := len(intervals)
	return 120 / (intervals[(n-1)/2] + intervals[n/2])
}

// runs cuts a signal with holes into runs for a processor that wants finite
// values: short holes are filled with the last value, longer ones reset.
type runs struct {
	bridge int64
	reset  func()
	run    func(base int64, values []float64)

	base    int64 // index of the processor's first sample since its reset
	started bool
	last    float64
	hole    int64 // missing samples just before
	fill    []float64
}

// end lets the processor finish what it knows already: the last value stands
// for as long as the processor may be late.
func (r *runs) end(latency int) {
	if !r.started || r.hole > 0 {
		return
	}
	fill := make([]float64, latency+1)
	for i := range fill {
		fill[i] = r.last
	}
	r.run(r.base, fill)
}

// add takes values that begin at index first; NaN is a missing sample.
func (r *runs) add(first int64, values []float64) {
	for i := 0; i < len(values); {
		j := i
		if math.IsNaN(values[i]) {
			for j < len(values) && math.IsNaN(values[j]) {
				j++
			}
			r.hole += int64(j - i)
			i = j
			continue
		}
		for j < len(values) && !math.IsNaN(values[j]) {
			j++
		}
		if r.started && r.hole > 0 {
			if r.hole <= r.bridge {
				r.fill = r.fill[:0]
				for range r.hole {
					r.fill = append(r.fill, r.last)
				}
				r.run(r.base, r.fill)
			} else {
				r.reset()
				r.started = false
			}
		}
		r.hole = 0
		if !r.started {
			r.base, r.started = first+int64(i), true
		}
		r.run(r.base, values[i:j])
		r.last = values[j-1]
		i = j
	}
}
