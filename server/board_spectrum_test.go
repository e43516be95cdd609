package server

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
)

// TestSpectrumsShape: noise shaped by the board's own low-pass before a converter falls as
// predicted; white noise from after it does not, nor noise of a board with another corner.
func TestSpectrumsShape(t *testing.T) {
	b, err := board.Example("lamp_clip_a")
	if err != nil {
		t.Fatal(err)
	}
	const rate = 1000.0
	f, err := b.Figures([]float64{shapeLowHz, shapeHighShare * rate})
	if err != nil {
		t.Fatal(err)
	}
	fall := 20 * math.Log10(math.Hypot(f.Noise.VoltsPerRootHz[0], f.Noise.ConverterVoltsPerRootHz)/math.Hypot(f.Noise.VoltsPerRootHz[1], f.Noise.ConverterVoltsPerRootHz))
	white := func(volts float64) []float64 {
		r := rand.New(rand.NewPCG(3, 4))
		x := make([]float64, int(30*rate))
		for i := range x {
			x[i] = volts * r.NormFloat64()
		}
		return x
	}
	// One pole through white noise, as steep as the fall asks for, and a floor.
	shaped := func(cornerHz float64) []float64 {
		x, y := white(1e-3), 0.0
		k := 1 - math.Exp(-2*math.Pi*cornerHz/rate)
		floor := white(0)
		for i := range x {
			y += k * (x[i] - y)
			floor[i] = y
		}
		return floor
	}
	report := &meter.Report{Hum: meter.Hum{Found: true, FreqHz: 50}}
	if row, why, ok := spectrumRow(b, report, white(1e-3), rate); !ok || math.Abs(row.Measured) > 1 || math.Abs(row.Predicted-fall) > 1e-9 {
		t.Errorf("white noise: %+v, %s: want a fall of 0 dB measured and %.2f predicted", row, why, fall)
	}
	row, _, ok := spectrumRow(b, report, shaped(10), rate)
	if !ok || row.Measured < 12 { // a pole at 10 Hz falls by about 20 dB a decade
		t.Errorf("noise through a pole: %+v", row)
	}
	if agrees := math.Abs(row.Measured-fall) <= shapeAgreesDB; agrees != row.Agrees || !row.Agrees && !strings.Contains(row.Text, "Suspect") {
		t.Errorf("%+v beside a predicted %.1f dB", row, fall)
	}
	for _, bad := range []float64{50, 100, 140} {
		if _, why, ok := spectrumRow(b, report, white(1e-3), bad); ok || !strings.Contains(why, "150") {
			t.Errorf("at %g Hz: %v %q", bad, ok, why)
		}
	}
}
