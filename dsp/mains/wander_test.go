package mains

import (
	"fmt"
	"math"
	"testing"

	"pulsewright/dsp"
	"pulsewright/dsp/filter"
)

// TestCancellerFollowsTheGrid: a grid's frequency wanders. The canceller leaves
// less hum than a notch of 5 Hz that stands at 50 Hz, and it must not bend
// the beat as that does. (EN 50160 allows ±0.5 Hz; large grids stay within
// ±0.05 Hz.)
func TestCancellerFollowsTheGrid(t *testing.T) {
	const seconds = 70
	for _, c := range []struct {
		name string
		at   func(s float64) float64
		most float64 // dB
	}{
		{"±0.05 Hz over 60 s", func(s float64) float64 { return 50 + 0.05*math.Sin(2*math.Pi*s/60) }, -35},
		{"0.01 Hz/s", func(s float64) float64 { return 49.7 + 0.01*s }, -23},
		{"steady 49.93 Hz", func(float64) float64 { return 49.93 }, -50},
	} {
		for _, rate := range []float64{1000, 2000} {
			for name, harmonics := range map[string][]float64{"like a supply's": {1, 0.1, 0.3, 0.05, 0.15}, "a strong fifth": {0.3, 0, 0.3, 0, 1}} {
				n := int(seconds * rate)
				clean, peaks := ecg(rate, 72, 1, n)
				hum := make([]float64, n)
				phase, power := 0.4, 0.0
				for i := range hum {
					phase += 2 * math.Pi * c.at(float64(i)/rate) / rate
					for h, a := range harmonics {
						hum[i] += 0.3 * a * math.Cos(float64(h+1)*phase+float64(h))
					}
					power += hum[i] * hum[i] / float64(n)
				}
				dirty := make([]float64, n)
				for i := range dirty {
					dirty[i] = clean[i] + hum[i]
				}
				addNoise(dirty, 0.0005, 4)
				db := func(f dsp.Stream, with, without []float64) float64 {
					out := make([]float64, n)
					f.Process(out, with)
					all, _ := left(out, without, rate, int(8*rate), peaks)
					return 10 * math.Log10(math.Max(all*all-0.0005*0.0005, 1e-12)/power)
				}
				sections, err := filter.Notch(rate, 50, 5, 5)
				if err != nil {
					t.Fatal(err)
				}
				notch, err := filter.NewCascade(sections, rate)
				if err != nil {
					t.Fatal(err)
				}
				zero := make([]float64, n)
				ours := db(newCanceller(t, Config{RateHz: rate, Harmonics: 5}), dirty, clean)
				theirs := db(notch, hum, zero) // of the hum alone: what it does to the beat stands in TestCancellerAgainstNotches
				what := fmt.Sprintf("%s, %g Hz sampling, %s", c.name, rate, name)
				t.Logf("%s: canceller %.1f dB, notch %.1f dB", what, ours, theirs)
				if name == "like a supply's" && ours > c.most || ours > theirs-5 {
					t.Errorf("%s: left %.1f dB of the hum; at most %.0f, and 5 dB less than the notch's %.1f", what, ours, c.most, theirs)
				}
			}
		}
	}
}
