package response

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// TestTonePurity: two tones share the power as the squares of their amplitudes; 95 % is
// the least.
func TestTonePurity(t *testing.T) {
	for _, share := range []float64{0.93, 0.97} {
		other := math.Sqrt(1/share - 1)
		x := make([]float64, 48000)
		for i := range x {
			at := 2 * math.Pi * float64(i) / 48000
			x[i] = 0.5*math.Sin(1000*at) + 0.5*other*math.Sin(2600*at)
		}
		fit, err := Tone(x, 48000, 1000)
		if math.Abs(fit.Purity-share) > 1e-6 || errors.Is(err, ErrNoTone) != (share < 0.95) {
			t.Errorf("%.0f %%: purity %g, %v", 100*share, fit.Purity, err)
		}
	}
}

// TestStepUncertainty: over many draws of white noise the corner scatters as its
// uncertainty says.
func TestStepUncertainty(t *testing.T) {
	const rate, corner, draws = 1000, 2.0, 150
	noise := rand.New(rand.NewPCG(5, 6))
	var sum, square, said float64
	for range draws {
		x := make([]float64, 4*rate)
		for i := range x {
			x[i] = 0.01 * noise.NormFloat64()
			if i >= rate {
				x[i] += math.Exp(-2 * math.Pi * corner * float64(i-rate) / rate)
			}
		}
		fit, err := Step(x, rate)
		if err != nil {
			t.Fatal(err)
		}
		sum, square, said = sum+fit.CornerHz, square+fit.CornerHz*fit.CornerHz, said+fit.UncertaintyHz
	}
	mean := sum / draws
	scatter := math.Sqrt(square/draws - mean*mean)
	// The scatter of 150 draws is itself known to 1/√300, 6 %.
	if said /= draws; math.Abs(said/scatter-1) > 0.2 || math.Abs(mean-corner) > 3*scatter/math.Sqrt(draws) {
		t.Errorf("corners of %g ± %g Hz, the fit says ± %g", mean, scatter, said)
	}
}
