package command

import (
	"context"
	"fmt"
	"io"

	"pulsewright/acquire"
)

// beforeWired is the line that is printed when a source opens to which a person may be wired.
const beforeWired = "Before electrodes touch a person: everything on batteries, nothing plugged into the mains. Never with an implant. See /wiring.html on the page."

// invents lists the schemes of sources that measure nobody now: demos and recordings.
var invents = map[string]bool{"demo": true, "file": true}

// warned makes every opener of a live source print beforeWired to w when it opened one.
func warned(list acquire.Openers, w io.Writer) acquire.Openers {
	out := acquire.Openers{}
	for scheme, open := range list {
		if invents[scheme] {
			out[scheme] = open
			continue
		}
		out[scheme] = func(ctx context.Context, a acquire.Address) (acquire.Source, error) {
			s, err := open(ctx, a)
			if err == nil {
				fmt.Fprintln(w, beforeWired)
			}
			return s, err
		}
	}
	return out
}
