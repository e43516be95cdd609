package quantile

import (
	"math"
	"testing"
)

func TestOf(t *testing.T) {
	// numpy 1.24: np.quantile([1, 2, 4, 8], [0, 0.1, 0.25, 0.5, 0.9, 1])
	four := []float64{1, 2, 4, 8}
	for q, want := range map[float64]float64{0: 1, 0.1: 1.3, 0.25: 1.75, 0.5: 3, 0.9: 6.8, 1: 8} {
		if got := Of(four, q); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g: %g, want %g", q, got, want)
		}
	}
	if Of([]float64{5}, 0.3) != 5 {
		t.Error("of one value each is that one")
	}
}
