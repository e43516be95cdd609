package command

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"strconv"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
)

// channelBlock is how many samples a file is read at a time.
const channelBlock = 4096

func beats(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("beats", "FILE", "Finds the beats in one channel of a recording with the live view's detector and prints them as CSV:\nsample,time_s,kind,amplitude,quality. sample counts from 0 and is the R peak or the pulse's peak.", stderr)
	kind := f.String("kind", "", "`ecg or pulse` (default: what the channel's name says, else pulse)")
	number := f.Int("channel", 0, "`number` of the channel, from 1 (default: the first of the kind, else the first)")
	rate := f.Float64("rate", 0, "sample rate in `Hz` of a file that does not say it")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() != 1 {
		return fmt.Errorf("%w: name one recording, as in: pulsewright beats walk.edf", errMisused)
	}
	if *kind != "" && *kind != string(beat.ECG) && *kind != string(beat.Pulse) {
		return fmt.Errorf("%w: -kind %q: choose ecg or pulse", errMisused, *kind)
	}
	if *number < 0 {
		return fmt.Errorf("%w: -channel %d: channels are counted from 1", errMisused, *number)
	}
	file, err := recording.OpenWith(f.Arg(0), recording.OpenOptions{RateHz: *rate})
	if err != nil {
		return err
	}
	defer file.Close()
	info := file.Describe()
	n, k, err := pickChannel(info, *number, *kind)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(stdout)
	fmt.Fprintln(w, "sample,time_s,kind,amplitude,quality")
	rateHz := info.ClaimedRateHz
	err = findBeats(ctx, file, n, k, func(b beat.Beat) {
		fmt.Fprintf(w, "%d,%s,%s,%s,%.3f\n", b.Sample, strconv.FormatFloat(float64(b.Sample)/rateHz, 'f', 4, 64), b.Kind, strconv.FormatFloat(b.Amplitude, 'g', 6, 64), b.Quality)
	})
	if err != nil {
		return err
	}
	return w.Flush()
}

// pickChannel chooses a channel (from 0) and a kind; number counts from 1, 0 and
// "" mean not told.
func pickChannel(info acquire.Info, number int, kind string) (int, beat.Kind, error) {
	if number > len(info.Channels) {
		return 0, "", fmt.Errorf("-channel %d: the recording has %d channels, counted from 1", number, len(info.Channels))
	}
	n := number - 1
	if number == 0 {
		n = 0
		for i, c := range info.Channels {
			if kind == "" && (c.Kind == acquire.KindECG || c.Kind == acquire.KindPulse) || kind != "" && c.Kind == kind {
				n = i
				break
			}
		}
	}
	if kind == "" {
		kind = string(beat.Pulse)
		if info.Channels[n].Kind == acquire.KindECG {
			kind = string(beat.ECG)
		}
	}
	return n, beat.Kind(kind), nil
}

// findBeats runs the live view's detector over one channel of a recording. A
// missing sample is a gap: holes up to 50 ms are bridged with the last value,
// after longer ones the detector begins anew, as it does live.
func findBeats(ctx context.Context, file *recording.File, channel int, kind beat.Kind, found func(beat.Beat)) error {
	info := file.Describe()
	c := info.Channels[channel]
	config := beat.MonitorConfig{Kind: kind, RateHz: info.ClaimedRateHz, Low: math.NaN(), High: math.NaN(), Volts: c.Unit == "V"}
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
	counts := make([][]int32, len(info.Channels))
	for i := range counts {
		counts[i] = make([]int32, channelBlock)
	}
	values := make([]float64, channelBlock)
	feed := &runs{bridge: int64(0.05 * info.ClaimedRateHz), reset: monitor.Reset}
	var list []beat.Beat
	feed.run = func(base int64, values []float64) {
		list = monitor.Process(list[:0], values)
		for _, b := range list {
			b.Sample += base
			b.Foot += base
			if b.Sample < file.Len() {
				found(b)
			}
		}
	}
	for at := int64(0); at < file.Len(); {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		n, err := file.ReadAt(counts, at)
		if n == 0 && err != nil {
			if err == io.EOF {
				break
			}
			return err
		}
		for i, count := range counts[channel][:n] {
			if count == acquire.MissingCount {
				values[i] = math.NaN()
			} else {
				values[i] = c.Value(count)
			}
		}
		feed.add(at, values[:n])
		at += int64(n)
	}
	feed.end(monitor.LatencySamples())
	return nil
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
