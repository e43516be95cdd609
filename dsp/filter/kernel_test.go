package filter

import (
	"math/rand/v2"
	"testing"
)

// TestKernels compares every kernel with the recursion written out sample by sample,
// for every number of sections and lengths about the kernels' own limits, bit for bit.
func TestKernels(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for n := 0; n <= 13; n++ {
		for _, length := range []int{0, 1, 2, 3, 7, 8, 9, 10, 63, 64, 65, 79, 80, 500, 501} {
			coef, st := make([]coefficients, n), make([]state, n)
			for i := range coef {
				a := 2*r.Float64() - 1 // any poles inside: a2 and a1 in the triangle
				s := NewSection([3]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}, [2]float64{(2*r.Float64() - 1) * (1 + a), a})
				coef[i] = s.coefficients()
				st[i] = state{r.NormFloat64(), r.NormFloat64()}
			}
			src, want := make([]float64, length), make([]float64, length)
			for i := range src {
				src[i] = r.NormFloat64()
			}
			slow := append([]state(nil), st...)
			for i, x := range src {
				for k := range coef {
					c, s := &coef[k], &slow[k]
					y := float64(c.b0*x) + s.s1
					s.s1, s.s2 = float64(c.d1*s.s1)+(s.s2+float64(c.g1*x)), (s.s2+float64(c.g2*x))-float64(c.a2*s.s1)
					x = y
				}
				want[i] = x
			}
			run(coef, st, src, src)
			for i := range want {
				if src[i] != want[i] {
					t.Fatalf("%d sections, %d samples: sample %d is %v, want %v", n, length, i, src[i], want[i])
				}
			}
			for k := range st {
				if st[k] != slow[k] {
					t.Fatalf("%d sections, %d samples: state %d is %v, want %v", n, length, k, st[k], slow[k])
				}
			}
		}
	}
}
