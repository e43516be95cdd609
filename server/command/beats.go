package command

import (
	"context"
	"flag"
	"fmt"
	"io"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/library"
)

func beats(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("beats", "FILE", "Finds the beats in one channel of a recording with the live view's detector and prints them as CSV:\nsample,time_s,kind,amplitude,quality,by_hand. sample counts from 0 and is the R peak or the pulse's peak.\nby_hand is added or moved where a beat was edited by hand in Review; how many were is told.\nWhere volts changed on the way, all amplitudes are in the scale that was set last, and that is told.", stderr)
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
	part.Edits = handEdits(f, rec, n, *found)
	tell, clear := progress(stderr)
	defer clear()
	part.Progress = tell
	t, add := analysis.BeatsCSV(stdout, part)
	listed := 0
	if err := analysis.Beats(ctx, part, func(b beat.Beat) { listed++; add(b) }); err != nil {
		return err
	}
	if clear(); listed == 0 {
		tellNone(stderr, f.Arg(0), rec, n)
	}
	for _, text := range rec.Rescaled(0, rec.File.Len(), n) {
		fmt.Fprintln(stderr, text)
	}
	return t.End()
}

// tellNone tells that a channel has no beats, and which others there are.
func tellNone(to io.Writer, file string, rec *channel.Recording, n int) {
	fmt.Fprintf(to, "%s: no beats found in channel %d (%s)", file, n+1, rec.Channels[n].Label)
	for k, c := range rec.Channels {
		if k != n {
			fmt.Fprintf(to, "; -channel %d is %s", k+1, c.Label)
		}
	}
	fmt.Fprintln(to)
}

const foundUsage = "leave out what was edited by hand in Review"

// handEdits are the beats of channel n edited by hand, unless those found are asked for; how many there
// are is told.
func handEdits(f *flag.FlagSet, rec *channel.Recording, n int, found bool) analysis.Edits {
	edits := library.EditsOf(f.Arg(0), rec.File.Annotations)
	count := edits.Count(n, 0, rec.File.Len())
	switch {
	case count.Total() == 0:
	case found:
		fmt.Fprintf(f.Output(), "pulsewright %s: %s; that is left out\n", f.Name(), count)
		return nil
	default:
		fmt.Fprintf(f.Output(), "pulsewright %s: %s; -found leaves that out\n", f.Name(), count)
	}
	return edits
}

// openChannel opens the one recording that the arguments name and picks a channel of it,
// counted from 0; number and kind are as their flags say.
func openChannel(f *flag.FlagSet, number int, kind string, said fileFlags) (*channel.Recording, int, error) {
	if f.NArg() != 1 {
		return nil, 0, fmt.Errorf("%w: name one recording, as in: pulsewright %s walk.edf", errMisused, f.Name())
	}
	if kind != "" && kind != string(beat.ECG) && kind != string(beat.Pulse) {
		return nil, 0, fmt.Errorf("%w: -kind %q: choose ecg or pulse", errMisused, kind)
	}
	options, err := said.options()
	if err != nil {
		return nil, 0, err
	}
	rec, n, err := openAny(f.Arg(0), number, kind, options)
	if err != nil {
		return nil, 0, err
	}
	if _, err := said.tell(rec.File, f.Arg(0), f.Output()); err != nil {
		rec.File.Close()
		return nil, 0, err
	}
	if rec.Channels[n].Kind == acquire.KindOther { // what is asked for is beats
		rec = rec.Say(n, channel.Said{Kind: &usualKind})
	}
	return rec, n, nil
}

var usualKind = acquire.KindPulse

// openAny opens a recording and picks a channel of it, counted from 0: number counts from
// 1, 0 is the first of the kind, else the first. A kind that is not "" holds for it.
func openAny(path string, number int, kind string, options recording.OpenOptions) (*channel.Recording, int, error) {
	if number < 0 {
		return nil, 0, fmt.Errorf("%w: -channel %d: channels are counted from 1", errMisused, number)
	}
	file, err := library.Open(path, options)
	if err != nil {
		return nil, 0, err
	}
	rec := channel.Open(file, library.Said(path))
	rec.Learn()
	if number > len(rec.Channels) {
		file.Close()
		return nil, 0, fmt.Errorf("-channel %d: the recording has %d channels, counted from 1", number, len(rec.Channels))
	}
	n := number - 1
	if number == 0 {
		n = max(0, slices.IndexFunc(rec.Channels, func(c channel.Resolved) bool {
			if kind != "" && kind != acquire.KindOther {
				return c.Kind == kind
			}
			return c.Kind != acquire.KindOther && c.From.Kind != channel.PlaceUsual
		}))
	}
	if kind != "" && kind != rec.Channels[n].Kind {
		rec = rec.Say(n, channel.Said{Kind: &kind})
	}
	return rec, n, nil
}
