package filter

// run filters src into dst through all sections, two at a time or as many as are
// left, with coefficients and states in local variables. The sections of a pass
// are interleaved: while the second works on a sample the first is already free
// for the next, and the processor overlaps them.
func run(coef []coefficients, st []state, dst, src []float64) {
	if len(coef) == 0 {
		copy(dst, src)
		return
	}
	for len(coef) > 0 {
		switch len(coef) {
		case 1:
			run1(&coef[0], &st[0], dst, src)
			return
		case 3:
			run3((*[3]coefficients)(coef), (*[3]state)(st), dst, src)
			return
		default:
			run2((*[2]coefficients)(coef), (*[2]state)(st), dst, src)
			coef, st = coef[2:], st[2:]
		}
		src = dst
	}
}

func run1(c *coefficients, st *state, dst, src []float64) {
	b0, g1, d1, g2, a2 := c.b0, c.g1, c.d1, c.g2, c.a2
	s1, s2 := st.s1, st.s2
	dst = dst[:len(src)]
	for i, x := range src {
		dst[i] = b0*x + s1
		s1, s2 = d1*s1+(s2+g1*x), (s2+g2*x)-a2*s1
	}
	st.s1, st.s2 = s1, s2
}

func run2(c *[2]coefficients, st *[2]state, dst, src []float64) {
	p, q := c[0], c[1]
	p1, p2, q1, q2 := st[0].s1, st[0].s2, st[1].s1, st[1].s2
	dst = dst[:len(src)]
	for i, x := range src {
		y := p.b0*x + p1
		p1, p2 = p.d1*p1+(p2+p.g1*x), (p2+p.g2*x)-p.a2*p1
		dst[i] = q.b0*y + q1
		q1, q2 = q.d1*q1+(q2+q.g1*y), (q2+q.g2*y)-q.a2*q1
	}
	st[0], st[1] = state{p1, p2}, state{q1, q2}
}

func run3(c *[3]coefficients, st *[3]state, dst, src []float64) {
	p, q, r := c[0], c[1], c[2]
	p1, p2, q1, q2, r1, r2 := st[0].s1, st[0].s2, st[1].s1, st[1].s2, st[2].s1, st[2].s2
	dst = dst[:len(src)]
	for i, x := range src {
		y := p.b0*x + p1
		p1, p2 = p.d1*p1+(p2+p.g1*x), (p2+p.g2*x)-p.a2*p1
		z := q.b0*y + q1
		q1, q2 = q.d1*q1+(q2+q.g1*y), (q2+q.g2*y)-q.a2*q1
		dst[i] = r.b0*z + r1
		r1, r2 = r.d1*r1+(r2+r.g1*z), (r2+r.g2*z)-r.a2*r1
	}
	st[0], st[1], st[2] = state{p1, p2}, state{q1, q2}, state{r1, r2}
}
