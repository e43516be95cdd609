//go:build !amd64 || purego

package filter

func run4(c *[4]coefficients, st *[4]state, dst, src []float64) {
	run2((*[2]coefficients)(c[:2]), (*[2]state)(st[:2]), dst, src)
	run2((*[2]coefficients)(c[2:]), (*[2]state)(st[2:]), dst, dst)
}
