package serialport

import (
	"errors"
	"testing"
	"time"

	"pulsewright/acquire/guard"
)

// brokenLink panics when it is read.
type brokenLink struct{}

func (brokenLink) Read([]byte) (int, error)  { panic("a link's fault") }
func (brokenLink) Write([]byte) (int, error) { return 0, errClosed }
func (brokenLink) SetBaud(int) error         { return nil }
func (brokenLink) Close() error              { return nil }

// TestFaultOfALink: a panic in a link's Read is the source's error, not the program's end.
func TestFaultOfALink(t *testing.T) {
	p := startPump(brokenLink{})
	defer p.close()
	_, _, err := p.next(t.Context(), 10*time.Second)
	var fault *guard.Fault
	if !errors.As(err, &fault) || fault.Value != "a link's fault" {
		t.Errorf("a link that panics ends with %v", err)
	}
}
