package command

import (
	"flag"
	"fmt"

	"pulsewright/acquire/recording"
)

// fileFlags are what may be said of a file that does not say everything itself.
type fileFlags struct {
	rateHz                   *float64
	time, separator, decimal *string
}

// newFileFlags adds them to a command's.
func newFileFlags(f *flag.FlagSet) fileFlags {
	return fileFlags{
		rateHz:    f.Float64("rate", 0, "sample rate in `Hz` of a file that does not say it"),
		time:      f.String("time", "", "`column` of a text file that holds the time: its name, or its number from 1 (default: found)"),
		separator: f.String("separator", "", "`sign` between the columns of a text file: comma, semicolon, tab, blank, or the sign itself (default: found)"),
		decimal:   f.String("decimal", "", "`point or comma`: the decimal sign of a text file (default: found)"),
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
