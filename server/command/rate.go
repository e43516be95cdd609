package command

import (
	"bufio"
	"context"
	"encoding/csv"
	"io"
	"strconv"

	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
)

// rate prints what a person would have seen of a recording, second by second.
func rate(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("rate", "FILE", "Prints the rate that the live view would have shown at the end of each second of a recording, as CSV:\ntime_s,state,rate_bpm,quality,reason. rate_bpm is 0 unless the state is reading;\nquality is from 0 to 1: how likely the rate is right.", stderr)
	kind := f.String("kind", "", "`ecg or pulse` (default: what the recording says)")
	number := f.Int("channel", 0, "`number` of the channel, from 1 (default: the first of the kind, else the first)")
	file := newFileFlags(f)
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	rec, n, err := openChannel(f, *number, *kind, file)
	if err != nil {
		return err
	}
	defer rec.File.Close()
	buffered := bufio.NewWriter(stdout)
	w := csv.NewWriter(buffered)
	w.Write([]string{"time_s", "state", "rate_bpm", "quality", "reason"})
	part := analysis.All(rec, n)
	tell, clear := progress(stderr)
	defer clear()
	part.Progress = tell
	err = analysis.Readings(ctx, part, func(second int64, r beat.Reading) {
		w.Write([]string{strconv.FormatInt(second, 10), string(r.State), strconv.FormatFloat(r.RateBPM, 'f', 1, 64), strconv.FormatFloat(r.Quality, 'f', 3, 64), r.Reason})
	})
	if err != nil {
		return err
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return buffered.Flush()
}
