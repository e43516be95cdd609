package command

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"strconv"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
)

func beats(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("beats", "FILE", "Finds the beats in one channel of a recording with the live view's detector and prints them as CSV:\nsample,time_s,kind,amplitude,quality. sample counts from 0 and is the R peak or the pulse's peak.", stderr)
	kind := f.String("kind", "", "`ecg or pulse` (default: what the channel's name says, else pulse)")
	number := f.Int("channel", 0, "`number` of the channel, from 1 (default: the first of the kind, else the first)")
	rate := f.Float64("rate", 0, "sample rate in `Hz` of a file that does not say it")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	file, n, k, err := openChannel(f, *number, *kind, *rate)
	if err != nil {
		return err
	}
	defer file.Close()
	w := bufio.NewWriter(stdout)
	fmt.Fprintln(w, "sample,time_s,kind,amplitude,quality")
	rateHz := file.Describe().ClaimedRateHz
	err = analysis.Beats(ctx, file, n, k, 0, file.Len(), func(b beat.Beat) {
		fmt.Fprintf(w, "%d,%s,%s,%s,%.3f\n", b.Sample, strconv.FormatFloat(float64(b.Sample)/rateHz, 'f', 4, 64), b.Kind, strconv.FormatFloat(b.Amplitude, 'g', 6, 64), b.Quality)
	})
	if err != nil {
		return err
	}
	return w.Flush()
}

// openChannel opens the one recording that the arguments name and picks a channel of it
// and a kind, both as their flags say.
func openChannel(f *flag.FlagSet, number int, kind string, rateHz float64) (*recording.File, int, beat.Kind, error) {
	if f.NArg() != 1 {
		return nil, 0, "", fmt.Errorf("%w: name one recording, as in: pulsewright %s walk.edf", errMisused, f.Name())
	}
	if kind != "" && kind != string(beat.ECG) && kind != string(beat.Pulse) {
		return nil, 0, "", fmt.Errorf("%w: -kind %q: choose ecg or pulse", errMisused, kind)
	}
	if number < 0 {
		return nil, 0, "", fmt.Errorf("%w: -channel %d: channels are counted from 1", errMisused, number)
	}
	file, err := recording.OpenWith(f.Arg(0), recording.OpenOptions{RateHz: rateHz})
	if err != nil {
		return nil, 0, "", err
	}
	n, k, err := pickChannel(file.Describe(), number, kind)
	if err != nil {
		file.Close()
		return nil, 0, "", err
	}
	return file, n, k, nil
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
		return n, analysis.KindOf(info.Channels[n]), nil
	}
	return n, beat.Kind(kind), nil
}
