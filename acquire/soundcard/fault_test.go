package soundcard

import (
	"context"
	"strings"
	"testing"
	"time"
)

// broken is a device whose driver ends in a panic.
type broken struct{}

func (broken) read([]int32) error { panic("a driver's fault") }
func (broken) close() error       { return nil }

// TestFaultOfADevice: it ends the source and not the program.
func TestFaultOfADevice(t *testing.T) {
	s := newSource(mustParse(t, "sound:default?rate=8000"), "broken", broken{})
	defer s.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	for {
		_, err := s.Read(ctx)
		if err == nil {
			continue
		}
		if !strings.Contains(err.Error(), "a driver's fault") {
			t.Errorf("it ended with %v", err)
		}
		break
	}
}
