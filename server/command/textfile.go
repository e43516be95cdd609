package command

import (
	"flag"
	"fmt"
	"io"

	"pulsewright/acquire/recording"
)

// fileFlags are what may be said of a file that does not say everything itself.
type fileFlags struct {
	rateHz                   *float64
	time, separator, decimal *string
	strict                   *bool
}

// newFileFlags adds them to a command's.
func newFileFlags(f *flag.FlagSet) fileFlags {
	return fileFlags{
		rateHz:    f.Float64("rate", 0, "sample rate in `Hz` of a file that does not say it"),
		time:      f.String("time", "", "`column` of a text file that holds the time: its name, or its number from 1 (default: found)"),
		separator: f.String("separator", "", "`sign` between the columns of a text file: comma, semicolon, tab, blank, or the sign itself (default: found)"),
		decimal:   f.String("decimal", "", "`point or comma`: the decimal sign of a text file (default: found)"),
		strict:    f.Bool("strict", false, "fail when something of the file was lost or changed (without it: only a message)"),
	}
}

// options are those that were given, checked.
func (f fileFlags) options() (recording.OpenOptions, error) {
	o := recording.OpenOptions{RateHz: *f.rateHz, Time: *f.time}
	switch s := *f.separator; {
	case s == "":
	case s == "comma":
		o.Separator = ','
	case s == "semicolon":
		o.Separator = ';'
	case s == "tab" || s == `\t`:
		o.Separator = '\t'
	case s == "blank":
		o.Separator = ' '
	case len(s) == 1 && s[0] > ' ' && s[0] < 127 && s[0] != '"' && s[0] != '.':
		o.Separator = s[0]
	default:
		return o, fmt.Errorf("%w: -separator %q: give comma, semicolon, tab, blank, or one sign", errMisused, s)
	}
	switch *f.decimal {
	case "":
	case "point", ".":
		o.Decimal = '.'
	case "comma", ",":
		o.Decimal = ','
	default:
		return o, fmt.Errorf("%w: -decimal %q: give point or comma", errMisused, *f.decimal)
	}
	if o.Separator != 0 && o.Separator == o.Decimal {
		return o, fmt.Errorf("%w: -separator and -decimal are both %q: one sign cannot be both", errMisused, string(o.Decimal))
	}
	return o, nil
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
	return fmt.Errorf("%s: %s lost or changed, as listed above, and -strict was given; leave it out to go on", t.file, count(t.told, "thing was", "things were"))
}

func count(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// tell tells what of an open file was assumed, mended or left out, and what cannot be shown
// of it; with -strict that is an error.
func (f fileFlags) tell(file *recording.File, path string, stderr io.Writer) (*telling, error) {
	t := &telling{to: stderr, file: path, strict: *f.strict}
	for _, text := range file.Remarks() {
		t.tell(text)
	}
	beyond := 0
	for _, a := range file.Annotations() {
		if a.Sample > file.Len() || a.Sample < 0 {
			beyond++
		}
	}
	if beyond > 0 {
		t.tell(count(beyond, "annotation lies", "annotations lie") + " before the first sample or beyond the last")
	}
	return t, t.err()
}
