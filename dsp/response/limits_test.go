package response

import (
	"errors"
	"math"
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
