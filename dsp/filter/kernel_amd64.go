//go:build !purego

package filter

import "golang.org/x/sys/cpu"

// most is how many sections one pass may take.
const most = 8

var wide = cpu.X86.HasAVX2

// runPass takes 1 to most sections.
func runPass(c []coefficients, st []state, dst, src []float64) {
	if wide && len(c) > 2 && len(src) >= 4*lag*most {
		runLanes(c, st, dst, src)
		return
	}
	runPlain(c, st, dst, src)
}

// lag is how many samples each section is behind the one before it in octet: with 2
// a section's output has a sample's time to reach the next section.
const lag = 2

// octet holds eight sections as two vectors of four lanes. A lane without a section
// has only zeros.
type octet struct {
	b0, g1, d1, g2, a2 [8]float64
	s1, s2             [8]float64
	// Each lane's last output and the one before, which the next lane takes next.
	y1, y2 [8]float64
}

// pipe filters n samples through the lanes of o in AVX2, the first four or all eight
// of them. With sample t in lane 0, dst gets the output of lane out, 2 to 7, for
// sample t − lag·out. Its operations are those of the plain kernels in the same
// order, none of them fused.
//
//go:noescape
func pipe(o *octet, dst, src *float64, n, out int)

// runLanes takes 3 to 8 sections and at least lag·8 samples.
func runLanes(c []coefficients, st []state, dst, src []float64) {
	m, n := len(c), len(src)
	st = st[:m]
	behind := lag * (m - 1)
	dst = dst[:n]

	// Fill the pipe: section k takes behind − lag·k samples.
	var o octet
	var pending [lag * (most - 1)]float64
	fill := pending[:behind]
	copy(fill, src)
	for k := range c {
		if k < m-1 {
			for i, x := range fill {
				fill[i] = step(&c[k], &st[k], x)
			}
			l := len(fill)
			o.y2[k], o.y1[k] = fill[l-2], fill[l-1]
			fill = fill[:l-lag]
		}
		o.b0[k], o.g1[k], o.d1[k], o.g2[k], o.a2[k] = c[k].b0, c[k].g1, c[k].d1, c[k].g2, c[k].a2
		o.s1[k], o.s2[k] = st[k].s1, st[k].s2
	}

	pipe(&o, &dst[0], &src[behind], n-behind, m-1)

	// Empty it: section k still owes the last lag·k samples.
	for k := range c {
		st[k] = state{o.s1[k], o.s2[k]}
		if k == 0 {
			continue
		}
		copy(pending[lag:], pending[:lag*(k-1)])
		pending[0], pending[1] = o.y2[k-1], o.y1[k-1]
		for i, x := range pending[:lag*k] {
			pending[i] = step(&c[k], &st[k], x)
		}
	}
	copy(dst[n-behind:], pending[:behind])
}
