package server

import (
	"math"
	"testing"
)

// TestConverterLimit: rounding to steps of q has a variance of q²/12 (Bennett 1948),
// here over 125 Hz: 4.8828125 mV/√12/√125 = 126.073 µV/√Hz.
func TestConverterLimit(t *testing.T) {
	if got := converterLimit(5.0/1024, 250); math.Abs(got-126.073e-6) > 1e-9 {
		t.Errorf("%g V/√Hz", got)
	}
}
