package filter

import (
	"fmt"
	"math"
)

// ZeroPhase filters a whole recording forward and then backward, for review:
// no delay and no phase shift at any frequency, and the square of the sections'
// gain. So a low-pass's −3 dB point moves to 0.644, 0.802, 0.896 of its cutoff for
// order 1, 2, 4. It is not causal: a beat then shows before it happens.
//
// dst and src have the same length, or ZeroPhase panics; they are one slice or
// disjoint. src must be finite. Empty src is no error.
//
// Edges: src is continued at both ends by its own odd reflection about the end
// sample (2 x₀ − x₁, 2 x₀ − x₂, …) for [ZeroPhasePad] samples, and each direction
// starts in the steady state of its first sample (as Gustafsson 1996 discusses).
// Where a slow high-pass's settling is longer than the recording, the ends remain
// uncertain for that long.
func ZeroPhase(dst, src []float64, sections Sections) error {
	if len(dst) != len(src) {
		panic(fmt.Sprintf("filter: ZeroPhase: dst has %d samples, src %d; must be equal", len(dst), len(src)))
	}
	if err := sections.Check(); err != nil {
		return err
	}
	n := len(src)
	if n == 0 {
		return nil
	}
	pad := ZeroPhasePad(sections, n)
	x := make([]float64, n+2*pad)
	for i := 0; i < pad; i++ {
		x[pad-1-i] = 2*src[0] - src[i+1]
		x[pad+n+i] = 2*src[n-1] - src[n-2-i]
	}
	copy(x[pad:], src)
	for range 2 {
		coef, st := make([]coefficients, len(sections)), make([]state, len(sections))
		in := x[0]
		for i := range sections {
			coef[i] = sections[i].coefficients()
			st[i] = sections[i].steady(in)
			in *= sections[i].gain0()
		}
		run(coef, st, x, x)
		for i, j := 0, len(x)-1; i < j; i, j = i+1, j-1 {
			x[i], x[j] = x[j], x[i]
		}
	}
	copy(dst, x[pad:])
	return nil
}

// ZeroPhasePad is how many samples ZeroPhase adds at each end of n: seven time
// constants of the slowest pole (to 0.1 %), as far as there are samples to
// reflect.
func ZeroPhasePad(sections Sections, n int) int {
	pad := math.Ceil(7 * sections.TimeConstantSamples())
	return int(math.Max(0, math.Min(pad, float64(n-1))))
}
