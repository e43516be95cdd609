package beat

import (
	"math"
	"slices"
	"testing"

	"pulsewright/dsp/filter"
)

// twoAverages finds R peaks by two moving averages (Elgendi 2013, PLoS ONE 8(9) e73557;
// its four numbers from memory: band 8–20 Hz, windows of 97 and 611 ms, offset 8 % of the
// mean energy). It is the tests' peer: a second, obvious implementation, offline, with a
// band-pass run there and back, knowing the whole record.
func twoAverages(t testing.TB, x []float64, rateHz float64) []int64 {
	t.Helper()
	hp, err := filter.ButterworthHighPass(rateHz, 8, 3)
	if err != nil {
		t.Fatal(err)
	}
	lp, err := filter.ButterworthLowPass(rateHz, 20, 3)
	if err != nil {
		t.Fatal(err)
	}
	band, err := filter.NewCascade(filter.Join(hp, lp), rateHz)
	if err != nil {
		t.Fatal(err)
	}
	y := slices.Clone(x)
	for range 2 {
		band.Reset()
		band.Process(y, y)
		slices.Reverse(y)
	}
	n := len(y)
	sums := make([]float64, n+1)
	for i, v := range y {
		sums[i+1] = sums[i] + v*v
	}
	average := func(i, half int) float64 {
		a, b := max(i-half, 0), min(i+half+1, n)
		return (sums[b] - sums[a]) / float64(b-a)
	}
	short, long := int(math.Round(0.097*rateHz)), int(math.Round(0.611*rateHz))
	offset := 0.08 * sums[n] / float64(n)
	var beats []int64
	for i := 0; i < n; {
		if average(i, short/2) <= average(i, long/2)+offset {
			i++
			continue
		}
		from := i
		for i < n && average(i, short/2) > average(i, long/2)+offset {
			i++
		}
		if i-from < short {
			continue
		}
		best := from
		for k := from; k < i; k++ {
			if math.Abs(y[k]) > math.Abs(y[best]) {
				best = k
			}
		}
		beats = append(beats, int64(best))
	}
	return beats
}
