package recording

import (
	"math"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// FuzzAnnotationText: any text is a note, or one of ours that means one thing only,
// and a beat is written as it was read.
func FuzzAnnotationText(f *testing.F) {
	for _, s := range []string{BeatText(acquire.KindECG, 0.75, -1), BeatText(acquire.KindPulse, 1, 3), textBeat + "ecg NaN", textBeat + "ecg Inf", textBeat + "ecg -0.5", textBeat + "ecg .125", textBeat + "ecg 1e999 @1", textBeat + "ecg 1 @0", textEnd, textSettings + "{}",
		"rate 250", "gap", "1/2 " + textSettings + "{", "", "\x14", strings.Repeat("9", 400)} {
		f.Add(s)
	}
	for _, r := range []retiming{{1, 1.01, 1, 107}} {
		f.Add(r.String())
	}
	f.Fuzz(func(t *testing.T, s string) {
		note := IsNote(s)
		kind, quality, channel, ok := ParseBeat(s)
		if !ok {
			return
		}
		if note || !(quality >= 0 && quality <= 1) || channel < -1 {
			t.Fatalf("%q: note %v, quality %g, channel %d", s, note, quality, channel)
		}
		k, q, c, ok := ParseBeat(BeatText(kind, quality, channel))
		if !ok || k != kind || c != channel || math.Abs(q-quality) > 0.0051 {
			t.Fatalf("%q is %s %g %d, written again %s %g %d %v", s, kind, quality, channel, k, q, c, ok)
		}
	})
}
