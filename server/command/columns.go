package command

import (
	"log/slog"
	"net/url"

	"pulsewright/acquire"
	"pulsewright/acquire/serialport"
	"pulsewright/server/library/remembered"
)

// rememberColumns has the openers of boards remember what is said of their columns.
func rememberColumns(o acquire.Openers, folder string, log *slog.Logger) acquire.Openers {
	columns := remembered.NewColumns(folder, log, serialport.IdentityOn)
	for _, scheme := range []string{"serial", "tcp", "tcp-listen", "udp", "fifo", "stdin"} {
		if open, ok := o[scheme]; ok {
			o[scheme] = columns.Opener(open)
		}
	}
	return o
}

// withColumns adds the columns to a source's address. What is no address is left as it is: opening it tells.
func withColumns(source, columns string) string {
	a, err := acquire.ParseAddress(source)
	if err != nil || columns == "" {
		return source
	}
	if a.Options == nil {
		a.Options = url.Values{}
	}
	a.Options.Set("names", columns)
	return a.String()
}
