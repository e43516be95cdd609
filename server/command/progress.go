package command

import (
	"fmt"
	"io"
	"os"
	"time"
)

// progress prints to a terminal, once a second, which share of long work is done; to anything
// else it prints nothing, and is nil. clear takes the last line away.
func progress(stderr io.Writer) (tell func(share float64), clear func()) {
	f, ok := stderr.(*os.File)
	if !ok {
		return nil, func() {}
	}
	if info, err := f.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil, func() {}
	}
	return progressLine(f, time.Second)
}

func progressLine(w io.Writer, every time.Duration) (tell func(share float64), clear func()) {
	last, shown := time.Now(), false
	return func(share float64) {
			if now := time.Now(); now.Sub(last) >= every {
				last, shown = now, true
				fmt.Fprintf(w, "\r%3.0f %%", 100*share)
			}
		}, func() {
			if shown {
				fmt.Fprint(w, "\r     \r")
			}
		}
}
