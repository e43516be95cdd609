package session

import (
	"math"
	"testing"
)

// TestSeriesEndsAtAGap: the newest values of a series reach back to the newest gap, also
// to a jump of a recording, where the index goes on.
func TestSeriesEndsAtAGap(t *testing.T) {
	for _, c := range []struct {
		second int64
		gap    bool
		want   int
	}{{100, false, 150}, {100, true, 50}, {120, false, 50}, {120, true, 50}} {
		h := newHistory(1, 100_000)
		row := make([]float32, 100)
		value := func(int) []float32 { return row }
		h.add(0, 100, false, value)
		h.add(c.second, 50, c.gap, value)
		if got := h.copySeries(make([]float64, 1000), 0); len(got) != c.want {
			t.Errorf("%+v: %d values", c, len(got))
		}
	}
}

// TestDecibelsOfNothing: JSON has no word for minus infinity, a notch's gain.
func TestDecibelsOfNothing(t *testing.T) {
	for gain, want := range map[complex128]float64{0: -200, 1: 0, 10i: 20, complex(math.NaN(), 0): -200, 1e-30: -200} {
		if got := decibels(gain); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g: %g dB, want %g", gain, got, want)
		}
	}
}
