package command

import (
	"context"
	"io"

	"pulsewright/server/analysis"
)

// intervals prints the intervals between the beats of a recording, or their measures.
func intervals(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("intervals", "FILE", "Prints every interval between beats of a recording as CSV: sample,time_s,interval_s,mark,quality,by_hand.\nsample and time_s are of the beat that ends it. From an ECG it runs from R peak to R peak, from a pulse from foot to foot.\nmark is normal, ectopic, unsure (a beat, or the sample rate while it was in doubt) or gap; the measures use the normal ones.\nby_hand is 1 where a beat was edited by hand in Review; how many were is told.", stderr)
	measures := f.Bool("measures", false, "print the interval measures instead: id,name,value,unit,needed_s,absent,caveat")
	kind := f.String("kind", "", "`ecg or pulse` (default: what the recording says)")
	number := f.Int("channel", 0, "`number` of the channel, from 1 (default: the first of the kind, else the first)")
	found := f.Bool("found", false, foundUsage)
	file := newFileFlags(f)
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	rec, n, err := openChannel(f, *number, *kind, file)
	if err != nil {
		return err
	}
	defer rec.File.Close()
	part := analysis.All(rec, n)
	part.AllIntervals, part.Edits = true, handEdits(f, rec, n, *found)
	tell, clear := progress(stderr)
	part.Progress = tell
	list, err := analysis.Variability(ctx, part)
	if clear(); err != nil {
		return err
	}
	if *measures {
		return list.WriteMeasures(stdout)
	}
	return list.WriteList(stdout)
}
