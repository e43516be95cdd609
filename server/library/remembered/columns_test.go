package remembered

import (
	"context"
	"errors"
	"log/slog"
	"testing"

	"pulsewright/acquire"
)

// TestColumnsRemembered: what was said of a board's columns is used for it on any port, and
// forgotten when it is told so; another board is opened as it is.
func TestColumnsRemembered(t *testing.T) {
	folder := t.TempDir()
	boards := map[string]string{"/dev/a": "2A1B:00FF:7", "/dev/b": "2A1B:00FF:7", "/dev/c": ""}
	var opened []string
	fails := ""
	open := func(_ context.Context, a acquire.Address) (acquire.Source, error) {
		names := a.Text("names", "none")
		opened = append(opened, names)
		if names == fails {
			return nil, errors.New("the board prints 3 columns")
		}
		return nil, nil
	}
	try := func(address string, want ...string) {
		t.Helper()
		a, err := acquire.ParseAddress(address)
		if err != nil {
			t.Fatal(err)
		}
		opened = nil
		c := NewColumns(folder, slog.New(slog.DiscardHandler), func(port string) string { return boards[port] })
		_, _ = c.Opener(open)(context.Background(), a)
		if len(opened) != len(want) {
			t.Fatalf("%s: opened with %q, want %q", address, opened, want)
		}
		for i := range want {
			if opened[i] != want[i] {
				t.Errorf("%s: opened with %q, want %q", address, opened, want)
			}
		}
	}
	try("serial:/dev/a", "none")
	try("serial:/dev/a?names=pulse%20[mV],-", "pulse [mV],-")
	try("serial:/dev/b?baud=9600", "pulse [mV],-")
	try("serial:/dev/c", "none")
	fails = "pulse [mV],-"
	try("serial:/dev/a", "pulse [mV],-", "none") // reflashed
	fails = "worse"
	try("serial:/dev/a?names=worse", "worse") // an error is not remembered
	fails = ""
	try("serial:/dev/a", "pulse [mV],-")
	try("serial:/dev/a?names=", "none")
	try("serial:/dev/a", "none")
	try("udp:4000?names=x", "x")
	try("udp:4000", "x")
}
