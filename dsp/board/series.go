package board

import "math"

// Preferred values of IEC 60063. E24 has two digits; E12 is every second of it. Eight of
// E24 are not the rounded 10^(n/24): 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7 were kept from
// before the standard, and so was 8.2. E96 has three digits and keeps to the rule.
// The list is from memory; the test holds it against the rule.
var e24 = [24]float64{1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1}

// Series are a decade's values of E12, E24 or E96, from 1 up to below 10; nil for
// another number.
func Series(n int) []float64 {
	switch n {
	case 12:
		var s []float64
		for i := 0; i < 24; i += 2 {
			s = append(s, e24[i])
		}
		return s
	case 24:
		return append([]float64(nil), e24[:]...)
	case 96:
		s := make([]float64, 96)
		for i := range s {
			s[i] = math.Round(100*math.Pow(10, float64(i)/96)) / 100
		}
		return s
	}
	return nil
}

// Nearest is the value of E12, E24 or E96 nearest to v by ratio; v must be positive.
func Nearest(v float64, series int) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(v)))
	best := decade
	for _, s := range append(Series(series), 10) {
		if math.Abs(math.Log(s*decade/v)) < math.Abs(math.Log(best/v)) {
			best = s * decade
		}
	}
	return best
}

// Near are the values of a series beside v: nearest, the next lower and the next higher.
type Near struct {
	Series  int     `json:"series"`
	Nearest float64 `json:"nearest"`
	Lower   float64 `json:"lower"`
	Higher  float64 `json:"higher"`
}

// NearValues gives them for E12, E24 and E96; v must be positive.
func NearValues(v float64) []Near {
	var all []Near
	for _, n := range []int{12, 24, 96} {
		near := Near{Series: n, Nearest: Nearest(v, n)}
		step := math.Pow(10, 1/float64(n))
		near.Lower, near.Higher = Nearest(near.Nearest/step, n), Nearest(near.Nearest*step, n)
		all = append(all, near)
	}
	return all
}
