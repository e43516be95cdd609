package analysis_test

import (
	"context"
	"math"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// TestBeatsByHandAreMeasured: a beat put by hand where one was found has its height, and a pulse its foot, both ways up.
func TestBeatsByHandAreMeasured(t *testing.T) {
	for name, c := range map[string]simulate.Config{"finger": simulate.Finger(), "chest": simulate.Chest()} {
		c.MotionPerMinute = 0
		file, _, _ := record(t, c, 30)
		rec := channel.Open(file, channel.Sidecar{})
		for _, invert := range []bool{false, true} {
			if invert {
				rec = rec.Say(0, channel.Said{Scale: &channel.Scale{Source: channel.ScaleBoard, Invert: true}})
			}
			part := analysis.All(rec, 0)
			beats := func() (list []beat.Beat) {
				if err := analysis.Beats(context.Background(), part, func(b beat.Beat) { list = append(list, b) }); err != nil {
					t.Fatal(err)
				}
				return list
			}
			found := beats()
			part.Edits = analysis.Edits{}
			for _, b := range found[5:25] {
				at := b.Sample
				part.Edits[0] = append(part.Edits[0], recording.Edit{At: &at, Was: &at})
			}
			hand := beats()
			if len(hand) != len(found) {
				t.Fatalf("%s: %d beats, want %d", name, len(hand), len(found))
			}
			for i, b := range hand[5:25] {
				f := found[5+i]
				if b.Sample != f.Sample || b.Kind != f.Kind || b.Quality != 1 || math.Abs(float64(b.Foot-f.Foot)) > 0.03*c.RateHz {
					t.Errorf("%s, inverted %v: %+v, found %+v", name, invert, b, f)
				}
				if math.Abs(b.Amplitude/f.Amplitude-1) > 0.3 {
					t.Errorf("%s, inverted %v: height %g, found %g", name, invert, b.Amplitude, f.Amplitude)
				}
			}
		}
	}
}
