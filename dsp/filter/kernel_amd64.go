//go:build !purego

package filter

// quad holds four sections two by two, as the vector unit takes them: [pair][lane].
type quad struct {
	b0, g1, d1, g2, a2 [2][2]float64
	s1, s2             [2][2]float64
	// y is the last output of each lane: that of lane 0 is what lane 1 takes next.
	y [2][2]float64
}

// pipe4 filters len(src) samples through the four sections of q, in SSE2, which
// every amd64 processor has. Each section is one sample behind the one before it
// in its pair, so that both lanes of a vector work at once: with sample n in lane 0
// of the first pair, dst gets the last section's output for sample n − 2.
//
//go:noescape
func pipe4(q *quad, dst, src *float64, n int)

// run4 gives the same bits as run2 twice: the same operations in the same order, no
// fused ones.
func run4(c *[4]coefficients, st *[4]state, dst, src []float64) {
	n := len(src)
	if n < 8 {
		run2((*[2]coefficients)(c[:2]), (*[2]state)(st[:2]), dst, src)
		run2((*[2]coefficients)(c[2:]), (*[2]state)(st[2:]), dst, dst)
		return
	}
	dst = dst[:n]
	// Fill the pipe: sample 0 through three sections, sample 1 through one.
	y2 := step(&c[1], &st[1], step(&c[0], &st[0], src[0]))
	y3 := step(&c[2], &st[2], y2)
	y1 := step(&c[0], &st[0], src[1])

	var q quad
	for i := range c {
		p, l := i/2, i%2
		q.b0[p][l], q.g1[p][l], q.d1[p][l], q.g2[p][l], q.a2[p][l] = c[i].b0, c[i].g1, c[i].d1, c[i].g2, c[i].a2
		q.s1[p][l], q.s2[p][l] = st[i].s1, st[i].s2
	}
	q.y[0][0], q.y[1][0] = y1, y3
	pipe4(&q, &dst[0], &src[2], n-2)
	for i := range c {
		st[i] = state{q.s1[i/2][i%2], q.s2[i/2][i%2]}
	}

	// Empty it: the last sample but one through one section, the last through three.
	dst[n-2] = step(&c[3], &st[3], q.y[1][0])
	dst[n-1] = step(&c[3], &st[3], step(&c[2], &st[2], step(&c[1], &st[1], q.y[0][0])))
}

// step is one sample through one section.
func step(c *coefficients, st *state, x float64) float64 {
	s1, s2 := st.s1, st.s2
	st.s1, st.s2 = float64(c.d1*s1)+(s2+float64(c.g1*x)), (s2+float64(c.g2*x))-float64(c.a2*s1)
	return float64(c.b0*x) + s1
}
