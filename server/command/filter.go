package command

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"pulsewright/server/analysis"
	"pulsewright/server/library"
)

// filterFile writes a recording as it is after its signal path.
func filterFile(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("filter", "IN OUT", "Writes a recording as it is after its signal path, the values the live view had. Where volts or polarity changed\non the way, all values are in the scale that was set last, and that is told. OUT must not exist and ends in\n.csv (every digit), .edf, .bdf or .wav (rounded to a sixteenth of the converter's step, or as the bits allow).", stderr)
	point := f.String("point", "smooth", "`point` of the path: scale, drift, hum, smooth, or beats, in which beats are found")
	number := f.Int("channel", 0, "`number` of the channel, from 1 (default: all)")
	from := f.Float64("from", 0, "begin at this `second`")
	to := f.Float64("to", 0, "end at this `second`; what is beyond the end is the end (default: the end)")
	kinds := f.String("kind", "", "`pulse, ecg or other`, one for all channels or one for each, parted by commas (default: what the recording says)")
	file := newFileFlags(f)
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() != 2 {
		return fmt.Errorf("%w: name the recording and the new file, as in: pulsewright filter walk.edf walk.csv", errMisused)
	}
	if ext := strings.ToLower(filepath.Ext(f.Arg(1))); ext != ".csv" && ext != ".edf" && ext != ".bdf" && ext != ".wav" {
		return fmt.Errorf("%w: %s: name the result .csv, .edf, .bdf or .wav", errMisused, f.Arg(1))
	}
	at, err := analysis.ParsePoint(*point)
	if err != nil {
		return fmt.Errorf("%w: -%w", errMisused, err)
	}
	if !(*from >= 0) || !(*to >= 0) || *to > 0 && *to <= *from {
		return fmt.Errorf("%w: -from %g -to %g: give seconds from the start, the end after the beginning", errMisused, *from, *to)
	}
	open, err := file.options()
	if err != nil {
		return err
	}
	open.Context = ctx
	tellRead, clearRead := progress(stderr)
	open.Progress = tellRead
	in, err := library.Open(f.Arg(0), open)
	clearRead()
	if err != nil {
		return err
	}
	defer in.Close()
	told, err := file.tell(in, f.Arg(0), stderr)
	if err != nil {
		return err
	}
	said := library.Said(f.Arg(0))
	if err := sayKinds(&said, *kinds, len(in.Describe().Channels)); err != nil {
		return err
	}
	rec := library.OpenChannels(in, f.Arg(0), said)
	rec.Learn()
	if *number < 0 || *number > len(rec.Channels) {
		return fmt.Errorf("-channel %d: the recording has %d channels, counted from 1", *number, len(rec.Channels))
	}
	hz := rec.Info.ClaimedRateHz
	s := analysis.Signal{Rec: rec, Point: at, From: int64(min(*from*hz, math.MaxInt32*hz)), To: in.Len(), Whole: true}
	if *to > 0 {
		s.To = int64(min(*to*hz, float64(s.To)))
	}
	if s.From >= s.To {
		return fmt.Errorf("-from %g: the recording ends at %.6g s", *from, float64(in.Len())/hz)
	}
	for n := range rec.Channels {
		if *number == 0 || *number == n+1 {
			s.Channels = append(s.Channels, n)
		}
	}
	progressed, clear := progress(stderr)
	s.Progress = progressed
	steps, err := s.WriteFile(ctx, f.Arg(1))
	clear()
	if err != nil {
		return err
	}
	tellSteps(s, steps, told.to)
	for _, text := range s.Rescaled() {
		fmt.Fprintln(stderr, text)
	}
	fmt.Fprintf(stderr, "written: %s\n", f.Arg(1))
	return nil
}

// tellSteps tells what values were rounded to.
func tellSteps(s analysis.Signal, steps []float64, stderr io.Writer) {
	for k, step := range steps {
		c := s.Rec.Channels[s.Channels[k]]
		fmt.Fprintf(stderr, "%s: rounded to steps of %.3g %s\n", c.Label, step, c.Linear(s.Rec.Info.Channels[s.Channels[k]]).Unit)
	}
}
