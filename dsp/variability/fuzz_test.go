package variability

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"

	"pulsewright/dsp/beat"
)

// FuzzTracker feeds a tracker whatever comes: nothing panics or hangs, every answer can
// be written as JSON, and no value is there without the stretch it needs.
func FuzzTracker(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{1, 0, 200, 9, 1, 0, 210, 9, 2, 0, 0, 0, 1, 1, 200, 2})
	regular := []byte{}
	for range 400 {
		regular = append(regular, 1, 0, 200, 230)
	}
	f.Add(regular)
	f.Fuzz(func(t *testing.T, data []byte) {
		e, _ := NewTracker(Config{Kind: beat.ECG, RateHz: testHz})
		p, _ := NewTracker(Config{Kind: beat.Pulse, RateHz: testHz, StepSamples: 2})
		var at int64
		for ; len(data) >= 4; data = data[4:] {
			n := int64(int16(binary.BigEndian.Uint16(data[1:])))
			q := float64(data[3]) / 255
			switch data[0] % 6 {
			case 0:
				e.Samples(at, []float64{q, math.NaN(), math.Inf(1)})
			case 1:
				at += n
				e.Beats([]beat.Beat{{Sample: at, Foot: at, Quality: q, Amplitude: q}})
				p.Beats([]beat.Beat{{Sample: at + 60, Foot: at + 40, Quality: q, Amplitude: 1}})
			case 2:
				e.Break()
			case 3:
				e.SetRateHz(float64(n) * q)
			case 4:
				p.Beats([]beat.Beat{{Sample: at, Foot: at + n, Quality: math.NaN(), Amplitude: math.Inf(-1)}})
			case 5:
				p.Samples(at, make([]float64, data[3]))
			}
		}
		a, _ := PulseArrival(e, p)
		if _, err := json.Marshal(a); err != nil {
			t.Errorf("%+v: %v", a, err)
		}
		for _, tr := range []*Tracker{e, p} {
			for _, seconds := range []float64{0, 60, 300, KeptSeconds} {
				s := tr.Stretch(seconds)
				r := s.Report()
				if _, err := json.Marshal([]any{r, s.Intervals, s.Breathing()}); err != nil {
					t.Errorf("%+v: %v", r, err)
				}
				for _, m := range r.Measures {
					if (m.Value == nil) == (m.Absent == "") || m.Value != nil && r.SpanSeconds < m.NeededSeconds-edgeBeats*r.Value("meanNN") {
						t.Errorf("%+v over %g s", m, r.SpanSeconds)
					}
				}
			}
		}
	})
}
