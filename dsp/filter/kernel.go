package filter

// run filters src into dst through all sections, up to most at a time, coefficients
// and states in registers or local variables. The sections of a pass are interleaved:
// while the second works on a sample the first is already free for the next, and the
// processor overlaps them. float64(…) about the products forbids the compiler to fuse
// them with the sums (Go specification, Floating-point operators), so that every
// processor and every kernel gives the same bits.
func run(coef []coefficients, st []state, dst, src []float64) {
	if len(coef) == 0 {
		copy(dst, src)
	}
	for len(coef) > 0 {
		m := min(len(coef), most)
		runPass(coef[:m], st[:m], dst, src)
		coef, st, src = coef[m:], st[m:], dst
	}
}

// runPlain runs the sections three, two or one at a time.
func runPlain(c []coefficients, st []state, dst, src []float64) {
	for len(c) > 0 {
		m := min(len(c), 3)
		switch m {
		case 1:
			run1(&c[0], &st[0], dst, src)
		case 2:
			run2((*[2]coefficients)(c), (*[2]state)(st), dst, src)
		case 3:
			run3((*[3]coefficients)(c), (*[3]state)(st), dst, src)
		}
		c, st, src = c[m:], st[m:], dst
	}
}

// step is one sample through one section.
func step(c *coefficients, st *state, x float64) float64 {
	s1, s2 := st.s1, st.s2
	st.s1, st.s2 = float64(c.d1*s1)+(s2+float64(c.g1*x)), (s2+float64(c.g2*x))-float64(c.a2*s1)
	return float64(c.b0*x) + s1
}

func run1(c *coefficients, st *state, dst, src []float64) {
	b0, g1, d1, g2, a2 := c.b0, c.g1, c.d1, c.g2, c.a2
	s1, s2 := st.s1, st.s2
	dst = dst[:len(src)]
	for i, x := range src {
		dst[i] = float64(b0*x) + s1
		s1, s2 = float64(d1*s1)+(s2+float64(g1*x)), (s2+float64(g2*x))-float64(a2*s1)
	}
	st.s1, st.s2 = s1, s2
}

func run2(c *[2]coefficients, st *[2]state, dst, src []float64) {
	p, q := c[0], c[1]
	p1, p2, q1, q2 := st[0].s1, st[0].s2, st[1].s1, st[1].s2
	dst = dst[:len(src)]
	for i, x := range src {
		y := float64(p.b0*x) + p1
		p1, p2 = float64(p.d1*p1)+(p2+float64(p.g1*x)), (p2+float64(p.g2*x))-float64(p.a2*p1)
		dst[i] = float64(q.b0*y) + q1
		q1, q2 = float64(q.d1*q1)+(q2+float64(q.g1*y)), (q2+float64(q.g2*y))-float64(q.a2*q1)
	}
	st[0], st[1] = state{p1, p2}, state{q1, q2}
}

func run3(c *[3]coefficients, st *[3]state, dst, src []float64) {
	p, q, r := c[0], c[1], c[2]
	p1, p2, q1, q2, r1, r2 := st[0].s1, st[0].s2, st[1].s1, st[1].s2, st[2].s1, st[2].s2
	dst = dst[:len(src)]
	for i, x := range src {
		y := float64(p.b0*x) + p1
		p1, p2 = float64(p.d1*p1)+(p2+float64(p.g1*x)), (p2+float64(p.g2*x))-float64(p.a2*p1)
		z := float64(q.b0*y) + q1
		q1, q2 = float64(q.d1*q1)+(q2+float64(q.g1*y)), (q2+float64(q.g2*y))-float64(q.a2*q1)
		dst[i] = float64(r.b0*z) + r1
		r1, r2 = float64(r.d1*r1)+(r2+float64(r.g1*z)), (r2+float64(r.g2*z))-float64(r.a2*r1)
	}
	st[0], st[1], st[2] = state{p1, p2}, state{q1, q2}, state{r1, r2}
}
