package signalpath

import (
	"encoding/json"
	"math"
	"testing"
)

// FuzzSettings: settings as a page may send them are refused with a sentence or make
// a path whose output is finite and whose settings make the same path again.
func FuzzSettings(f *testing.F) {
	for _, kind := range []string{"pulse", "ecg", "other"} {
		text, err := json.Marshal(Preset(kind, 250))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text, 250.0)
	}
	f.Add([]byte(`{"smooth":{"shape":"rc","cutoffHz":1e-300,"order":1},"hum":{"mode":"cancel","freqHz":60,"harmonics":9}}`), 1000.0)
	f.Add([]byte(`{"drift":{"on":true,"cutoffHz":-1,"order":99},"hum":{"mode":"notch","bandwidthHz":1e308}}`), 25.0)
	in := make([]float64, 500)
	for i := range in {
		in[i] = 2.5 + math.Sin(float64(i)/10) + 0.3*math.Sin(2*math.Pi*50*float64(i)/250)
	}
	f.Fuzz(func(t *testing.T, text []byte, rateHz float64) {
		var s Settings
		if json.Unmarshal(text, &s) != nil || !(rateHz >= 1 && rateHz <= 192000) {
			return
		}
		p, err := New(s, rateHz)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an empty error")
			}
			return
		}
		out := func(p *Path) []float64 {
			var stage [Points][]float64
			for i := range stage {
				stage[i] = make([]float64, len(in))
			}
			p.Process(&stage, in)
			for i := range stage {
				for k, v := range stage[i] {
					if math.IsNaN(v) || math.IsInf(v, 0) || math.Abs(v) > 1e6 {
						t.Fatalf("%+v at %g Hz: point %d, sample %d is %g for a signal of 4 V", s, rateHz, i, k, v)
					}
				}
			}
			return stage[PointSmooth]
		}
		first := out(p)
		again, err := New(p.Settings(), rateHz)
		if err != nil {
			t.Fatalf("%+v as applied, %+v, is refused: %v", s, p.Settings(), err)
		}
		for k, v := range out(again) {
			if v != first[k] {
				t.Fatalf("%+v as applied, %+v, gives %g at %d, not %g", s, p.Settings(), v, k, first[k])
			}
		}
	})
}
