package command

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"pulsewright/acquire/recording"
	"pulsewright/server/library"
)

func convert(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("convert", "IN OUT", "Turns a recording into another format, chosen by OUT's ending: .edf, .bdf, .csv or .wav. OUT must not exist.", stderr)
	file := newFileFlags(f)
	file.exports = true
	from := f.Float64("from", 0, "begin at this `second`")
	to := f.Float64("to", 0, "end at this `second`; what is beyond the end is the end (default: the end)")
	kinds := f.String("kind", "", "`pulse, ecg or other`, one for all channels or one for each, parted by commas (default: what the recording says)")
	counts := f.Bool("counts", false, "write a .csv of the converter's counts instead of values: it is read back exactly")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() != 2 {
		return fmt.Errorf("%w: name the recording and the new file, as in: pulsewright convert walk.edf walk.csv", errMisused)
	}
	if !(*from >= 0 && *from < 1e12) || !(*to >= 0 && *to < 1e12) || *to > 0 && *to <= *from {
		return fmt.Errorf("%w: -from %g -to %g: give seconds from the start, the end after the beginning", errMisused, *from, *to)
	}
	open, err := file.options()
	if err != nil {
		return err
	}
	isCSV := strings.HasSuffix(strings.TrimSuffix(strings.ToLower(f.Arg(1)), ".gz"), ".csv")
	if *counts && !isCSV {
		return fmt.Errorf("%w: -counts is for a .csv: %s holds counts anyway, or cannot", errMisused, f.Arg(1))
	}
	open.Context = ctx
	tellRead, clearRead := progress(stderr)
	open.Progress = tellRead
	in, err := library.Open(f.Arg(0), open)
	clearRead()
	if err != nil {
		return err
	}
	told, err := file.tell(in, f.Arg(0), stderr)
	if err != nil {
		in.Close()
		return err
	}
	rateHz := in.Describe().ClaimedRateHz
	options := recording.ExportOptions{Context: ctx, Counts: *counts, From: int64(*from * rateHz), To: int64(min(*to*rateHz, float64(in.Len()))), Tell: told.tell}
	said := library.Said(f.Arg(0))
	if err := sayKinds(&said, *kinds, len(in.Describe().Channels)); err != nil {
		in.Close()
		return err
	}
	rec := library.OpenChannels(in, f.Arg(0), said)
	options.Shown, options.Settings = rec.Shown(), library.CarriedWith(rec, said)
	if isCSV && !*counts {
		library.CarryAtEnd(rec, &options)
	}
	options.Notes, options.Keep, err = library.Beside(ctx, rec, f.Arg(0))
	in.Close()
	if err != nil {
		return err
	}
	tell, clear := progress(stderr)
	options.Progress = func(done, total int64) {
		if tell != nil && total > 0 {
			tell(float64(done) / float64(total))
		}
	}
	open.Progress = tell
	err = recording.Convert(f.Arg(0), f.Arg(1), open.Over(said.Read), options)
	if clear(); err != nil {
		return err
	}
	if err := told.err(); err != nil {
		os.Remove(f.Arg(1))
		return err
	}
	fmt.Fprintf(stderr, "written: %s\n", f.Arg(1))
	return nil
}
