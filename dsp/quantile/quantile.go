// Package quantile gives the quantiles of sorted values, between neighbours in
// proportion: definition 7 of Hyndman and Fan, "Sample quantiles in statistical
// packages", The American Statistician 50 (1996) 361–365, which numpy and R take when
// nothing else is said.
package quantile

// Of gives the value below which the share q, 0 to 1, of sorted lies: sorted[0] for 0,
// the median for 0.5, the last for 1. It panics when sorted is empty.
func Of(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
