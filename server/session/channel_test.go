package session

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"pulsewright/dsp/beat"
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

// TestHistoryComesInPieces: what is kept is handed out a chunk at a time, as frames do that are
// made at once, and holds the memory of one.
func TestHistoryComesInPieces(t *testing.T) {
	h := newHistory(2, 1_000_000)
	const n = 3*chunkSamples + 77
	row := make([]float32, 100)
	for at := int64(0); at < n; at += 100 {
		for i := range row {
			row[i] = float32(at) + float32(i)
		}
		h.add(at, int(min(100, n-at)), false, func(int) []float32 { return row })
	}
	head := frameHeader{channels: 1, rateHz: 250, epoch: 7}
	want := h.frames(nil, 50, n-20, head)
	s := &Session{}
	s.history = h
	s.state.Epoch, s.state.RateHz, s.state.LastIndex = 7, 250, n-20
	s.beats = make([][]beat.Beat, 1)
	var got [][]byte
	var before []byte
	err := s.History(50, 1<<40, func(frame []byte) error {
		if before != nil && &before[0] != &frame[0] && len(frame) <= cap(before) {
			t.Error("another frame takes other memory")
		}
		before = frame
		got = append(got, bytes.Clone(frame))
		return nil
	})
	if err != nil || len(got) < 4 || len(got) != len(want) {
		t.Fatalf("%d frames, want %d, %v", len(got), len(want), err)
	}
	for i := range want {
		if !bytes.Equal(got[i], want[i]) {
			t.Errorf("frame %d differs", i)
		}
	}
	calls := 0
	gone := errors.New("the page is gone")
	if err := s.History(0, n, func([]byte) error { calls++; return gone }); !errors.Is(err, gone) || calls != 1 {
		t.Errorf("a page that is gone is given %d frames, %v", calls, err)
	}
}
