package session

import (
	"math"
	"testing"

	"pulsewright/acquire"
)

// TestHolesDoNotDependOnBlocks: what a channel makes of samples without a value is the
// same however they are cut into blocks, a hole that is bridged and one that is not.
func TestHolesDoNotDependOnBlocks(t *testing.T) {
	const rate, n, bridge = 1000, 4000, 50
	values := make([]float64, n)
	for i := range values {
		values[i] = 2.5 + 0.5*math.Sin(2*math.Pi*1.2*float64(i)/rate) + 0.1*math.Sin(2*math.Pi*50*float64(i)/rate)
	}
	for _, hole := range [][2]int{{0, 5}, {1000, 20}, {2000, 50}, {2500, 51}, {3000, 300}} {
		for i := range hole[1] {
			values[hole[0]+i] = math.NaN()
		}
	}
	run := func(piece int) *channel {
		c, err := newChannel(acquire.Channel{Label: "a", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 1}, rate)
		if err != nil {
			t.Fatal(err)
		}
		for at := 0; at < n; at += piece {
			part := append([]float64(nil), values[at:min(at+piece, n)]...)
			c.process(int64(at), part, bridge)
		}
		return c
	}
	whole := run(n)
	for _, piece := range []int{1, 7, 25, 49, 333} {
		c := run(piece)
		for p := range c.out {
			if len(c.out[p]) != n {
				t.Fatalf("blocks of %d: %d values at point %d, want %d", piece, len(c.out[p]), p, n)
			}
			for i, v := range c.out[p] {
				if w := whole.out[p][i]; v != w && !(v != v && w != w) {
					t.Fatalf("blocks of %d: point %d at sample %d is %g, in one block %g", piece, p, i, v, w)
				}
			}
		}
	}
}
