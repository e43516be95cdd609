package spectrum

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// TestPower compares with the transform's definition, summed up term by term.
func TestPower(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	for _, n := range []int{2, 3, 4, 6, 8, 15, 16, 32, 48, 64, 128, 250, 256, 512, 1000, 1024, 2048} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			x, all := make([]float64, n), 0.0
			for i := range x {
				x[i] = random.NormFloat64()
				all += x[i] * x[i]
			}
			p := newPower(n)
			got := make([]float64, n/2+1)
			for turn := range 2 { // the second meets what the first left behind
				p.of(got, x, 3)
				for k, v := range got {
					var sum complex128
					for i, s := range x {
						sin, cos := math.Sincos(2 * math.Pi * float64(i*k%n) / float64(n))
						sum += complex(s*cos, -s*sin)
					}
					want := 3 * cmplx.Abs(sum) * cmplx.Abs(sum)
					if math.Abs(v-want) > 1e-13*all*float64(n) {
						t.Fatalf("turn %d, bin %d: %g, want %g", turn, k, v, want)
					}
				}
			}
		})
	}
}
