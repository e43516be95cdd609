package command

import (
	"flag"
	"fmt"
	"io"
	"strings"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
)

// fileFlags are what may be said of a file that does not say everything itself.
type fileFlags struct {
	rateHz                                                *float64
	time, separator, decimal, columns, unit, dates, names *string
	strict                                                *bool
	// exports says of a command that it exports the file, which tells itself which samples it repeats.
	exports bool
}

// newFileFlags adds them to a command's.
func newFileFlags(f *flag.FlagSet) fileFlags {
	return fileFlags{
		rateHz:    f.Float64("rate", 0, "sample rate in `Hz` of a file that does not say it"),
		time:      f.String("time", "", "`column` of a text file that holds the time: its name or its number from 1, its unit behind it where the file has none, as \"when [ms]\"; or none (default: found)"),
		separator: f.String("separator", "", "`sign` between the columns of a text file: comma, semicolon, tab, blank, or the sign itself (default: found)"),
		decimal:   f.String("decimal", "", "`point or comma`: the decimal sign of a text file (default: found)"),
		columns:   f.String("columns", "", "`columns` of a text file that hold the signals, parted by commas: names or numbers from 1, as 2,3 (default: found)"),
		unit:      f.String("unit", "", "`unit` of a text file's values, as V or mV: one for all columns, or one for each, parted by commas (default: what the file says)"),
		dates:     f.String("dates", "", "`day-first or month-first`: how to read 01/02/2026 in a text file (default: found)"),
		names:     f.String("names", "", "`first-row or none`: where the names of a text file's columns stand; first-row is the first row of numbers too (default: found)"),
		strict:    f.Bool("strict", false, "fail when something of the file was lost or changed (without it: only a message)"),
	}
}

// options are those that were given, checked.
func (f fileFlags) options() (recording.OpenOptions, error) {
	given := map[string]string{"time": *f.time, "separator": *f.separator, "decimal": *f.decimal, "columns": *f.columns, "unit": *f.unit, "dates": *f.dates, "names": *f.names}
	o, err := recording.ParseOptions(func(name string) string { return given[name] })
	if o.RateHz = *f.rateHz; err == nil {
		err = o.Check()
	}
	if err != nil {
		return o, fmt.Errorf("%w: -%w", errMisused, err)
	}
	return o, nil
}

// sayKinds says the kinds of -kind of a recording's channels.
func sayKinds(said *channel.Sidecar, kinds string, channels int) error {
	if kinds == "" {
		return nil
	}
	list := strings.Split(kinds, ",")
	if err := said.SayKinds(list, channels); err != nil {
		return fmt.Errorf("-kind %s: %w", kinds, err)
	}
	for _, kind := range list {
		if channel.CheckKind(kind) != nil {
			return fmt.Errorf("%w: -kind %q: choose pulse, ecg or other", errMisused, kind)
		}
	}
	return nil
}

// telling tells on standard error what of a file was lost or changed.
type telling struct {
	to     io.Writer
	file   string
	strict bool
	told   int
}

// tell tells one thing, in a sentence without its stop.
func (t *telling) tell(text string) {
	fmt.Fprintf(t.to, "%s: %s\n", t.file, text)
	t.told++
}

// err is nil unless something was told and nothing may be.
func (t *telling) err() error {
	if !t.strict || t.told == 0 {
		return nil
	}
	return fmt.Errorf("%s: %s lost or changed, as listed above, and -strict was given; leave it out to go on", t.file, acquire.Number(int64(t.told), "thing was", "things were"))
}

// tell tells what of an open file was assumed, mended or left out, and what cannot be shown
// of it; with -strict that is an error.
func (f fileFlags) tell(file *recording.File, path string, stderr io.Writer) (*telling, error) {
	t := &telling{to: stderr, file: path, strict: *f.strict}
	remarks := file.Remarks()
	if f.exports {
		remarks = file.RemarksExported()
	}
	for _, text := range remarks {
		t.tell(text)
	}
	beyond := 0
	for _, a := range file.Annotations() {
		if a.Sample > file.Len() || a.Sample < 0 {
			beyond++
		}
	}
	if beyond > 0 {
		t.tell(acquire.Number(int64(beyond), "annotation lies", "annotations lie") + " before the first sample or beyond the last")
	}
	return t, t.err()
}
