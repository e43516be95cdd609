//go:build !amd64 || purego

package filter

// most is how many sections one pass may take.
const most = 3

func runPass(c []coefficients, st []state, dst, src []float64) { runPlain(c, st, dst, src) }
