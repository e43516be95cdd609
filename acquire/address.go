package acquire

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// Address names a source: scheme:path?options, as in
// "serial:/dev/ttyACM0?baud=115200", "file:walk.edf?speed=10" or "demo:finger". A
// lone "-" is "stdin:-", standard input.
type Address struct {
	Scheme  string     // lower case letters, and hyphens between them, before the first colon
	Path    string     // between the colon and the first question mark, as it stands
	Options url.Values // after the question mark; each name at most once
}

// AddressError says what is wrong with an address and how to mend it.
type AddressError struct {
	Address string // the whole address
	Part    string // the part at fault
	Rule    string // what the part must be
}

func (e *AddressError) Error() string {
	return fmt.Sprintf("source address %q: %s: %s", e.Address, e.Part, e.Rule)
}

// ParseAddress takes an address apart. It checks the form only, not whether the
// scheme is known or the path exists. Errors are *AddressError.
func ParseAddress(s string) (Address, error) {
	fail := func(part, rule string) (Address, error) {
		return Address{}, &AddressError{Address: s, Part: part, Rule: rule}
	}
	if strings.ContainsAny(s, "\x00\r\n") {
		return fail("control character", "leave it out")
	}
	if s == "-" || strings.HasPrefix(s, "-?") {
		return ParseAddress("stdin:" + s)
	}
	scheme, rest, ok := strings.Cut(s, ":")
	if !ok {
		return fail("no scheme", "begin with serial:, sound:, file: or demo:, as in demo:finger")
	}
	if strings.Trim(scheme, "-") != scheme || scheme == "" || strings.Trim(strings.ToLower(scheme), "abcdefghijklmnopqrstuvwxyz-") != "" {
		return fail(fmt.Sprintf("scheme %q", scheme), "use letters only, as in serial:, sound:, file: or demo:")
	}
	path, query, _ := strings.Cut(rest, "?")
	if path == "" && strings.EqualFold(scheme, "stdin") {
		path = "-"
	}
	if path == "" {
		return fail("no path", "name the port, device, file or demo after the colon")
	}
	options, err := url.ParseQuery(query)
	if err != nil {
		return fail(fmt.Sprintf("options %q", query), "write them as name=value joined by &")
	}
	for name, values := range options {
		if len(values) > 1 {
			return fail(fmt.Sprintf("option %q", name), "give it once")
		}
	}
	return Address{Scheme: strings.ToLower(scheme), Path: path, Options: options}, nil
}

// String writes the address so that ParseAddress reads it back; options are sorted.
func (a Address) String() string {
	s := a.Scheme + ":" + a.Path
	if len(a.Options) > 0 {
		s += "?" + a.Options.Encode()
	}
	return s
}

// Only reports an option that is not among the known names.
func (a Address) Only(known ...string) error {
	names := make([]string, 0, len(a.Options))
	for name := range a.Options {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		if !slices.Contains(known, name) {
			rule := "this source takes no options"
			if len(known) > 0 {
				rule = "known here are " + strings.Join(known, ", ")
			}
			return &AddressError{Address: a.String(), Part: fmt.Sprintf("option %q", name), Rule: rule}
		}
	}
	return nil
}

// Text returns an option's value, or fallback when it is not given.
func (a Address) Text(name, fallback string) string {
	if !a.Options.Has(name) {
		return fallback
	}
	return a.Options.Get(name)
}

// Number returns an option as a number from low to high, or fallback when it is
// not given.
func (a Address) Number(name string, fallback, low, high float64) (float64, error) {
	if !a.Options.Has(name) {
		return fallback, nil
	}
	text := a.Options.Get(name)
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || x < low || x > high {
		return 0, &AddressError{Address: a.String(), Part: fmt.Sprintf("option %s=%s", name, text),
			Rule: fmt.Sprintf("give a number from %g to %g", low, high)}
	}
	return x, nil
}

// Flag returns an option as a yes or no: 1, true, yes or an empty value, or 0,
// false, no; fallback when it is not given.
func (a Address) Flag(name string, fallback bool) (bool, error) {
	if !a.Options.Has(name) {
		return fallback, nil
	}
	switch text := a.Options.Get(name); strings.ToLower(text) {
	case "1", "true", "yes", "":
		return true, nil
	case "0", "false", "no":
		return false, nil
	default:
		return false, &AddressError{Address: a.String(), Part: fmt.Sprintf("option %s=%s", name, text), Rule: "give 1 or 0"}
	}
}

// Opener opens a source of one scheme. It may take seconds (a board is listened
// to until its format is known) and ends early with ctx.
type Opener func(ctx context.Context, a Address) (Source, error)

// Openers maps a scheme to its Opener. It is filled by the command line and read-only
// after.
type Openers map[string]Opener

// Open parses an address and opens it.
func (o Openers) Open(ctx context.Context, address string) (Source, error) {
	a, err := ParseAddress(address)
	if err != nil {
		return nil, err
	}
	open, ok := o[a.Scheme]
	if !ok {
		schemes := make([]string, 0, len(o))
		for s := range o {
			schemes = append(schemes, s+":")
		}
		sort.Strings(schemes)
		return nil, &AddressError{Address: address, Part: fmt.Sprintf("scheme %q", a.Scheme),
			Rule: "known here are " + strings.Join(schemes, ", ")}
	}
	return open(ctx, a)
}
