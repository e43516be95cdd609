package variability

import (
	"testing"

	"pulsewright/dsp/beat"
)

// TestKeepAll: of 2000 s of beats every interval is listed when all are kept, else the newest
// quarter of an hour's.
func TestKeepAll(t *testing.T) {
	for _, keep := range []bool{false, true} {
		tr, err := NewTracker(Config{Kind: beat.ECG, RateHz: 250, KeepAll: keep})
		if err != nil {
			t.Fatal(err)
		}
		for i := range int64(2001) {
			tr.Beats([]beat.Beat{{Sample: 250 * i, Foot: 250 * i, Kind: beat.ECG, Quality: 1}})
		}
		if n := len(tr.Stretch(0).Intervals); keep && n != 2000 || !keep && n > 901 {
			t.Errorf("all kept: %v, %d intervals", keep, n)
		}
	}
}
