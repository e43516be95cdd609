package command

import (
	"context"
	"fmt"
	"io"
	"strings"

	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
	"pulsewright/server/library"
)

func convert(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("convert", "IN OUT", "Turns a recording into another format, chosen by OUT's ending: .edf, .bdf, .csv or .wav. OUT must not exist.", stderr)
	file := newFileFlags(f)
	from := f.Float64("from", 0, "begin at this `second`")
	to := f.Float64("to", 0, "end at this `second` (default: the end)")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() != 2 {
		return fmt.Errorf("%w: name the recording and the new file, as in: pulsewright convert walk.edf walk.csv", errMisused)
	}
	if !(*from >= 0) || !(*to >= 0) || *to > 0 && *to <= *from {
		return fmt.Errorf("%w: -from %g -to %g: give seconds from the start, the end after the beginning", errMisused, *from, *to)
	}
	open, err := file.options()
	if err != nil {
		return err
	}
	in, err := recording.OpenWith(f.Arg(0), open)
	if err != nil {
		return err
	}
	rateHz := in.Describe().ClaimedRateHz
	said := library.Said(f.Arg(0))
	rec := channel.Open(in, said)
	shown, settings := rec.Shown(), library.CarriedWith(in, said)
	if base := strings.TrimSuffix(strings.ToLower(f.Arg(1)), ".gz"); strings.HasSuffix(base, ".csv") {
		settings = rec.CarriedValues()
	}
	in.Close()
	tell, clear := progress(stderr)
	options := recording.ExportOptions{Context: ctx, From: int64(*from * rateHz), To: int64(*to * rateHz), Progress: func(done, total int64) {
		if tell != nil && total > 0 {
			tell(float64(done) / float64(total))
		}
	}}
	options.Shown, options.Settings = shown, settings
	err = recording.Convert(f.Arg(0), f.Arg(1), open, options)
	if clear(); err != nil {
		return err
	}
	fmt.Fprintf(stderr, "written: %s\n", f.Arg(1))
	return nil
}
