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
	y := thereAndBack(t, x, rateHz, [2]float64{8, 20}, [2]int{3, 3})
	energy := make([]float64, len(y))
	for i, v := range y {
		energy[i] = v * v
	}
	var beats []int64
	whereAbove(energy, rateHz, [2]float64{0.097, 0.611}, 0.08, func(from, to int) {
		best := from
		for k := from; k < to; k++ {
			if math.Abs(y[k]) > math.Abs(y[best]) {
				best = k
			}
		}
		beats = append(beats, int64(best))
	})
	return beats
}

// thereAndBack is x after a Butterworth band-pass of these corners and orders, low then
// high, run forwards and backwards.
func thereAndBack(t testing.TB, x []float64, rateHz float64, hz [2]float64, order [2]int) []float64 {
	t.Helper()
	hp, err := filter.ButterworthHighPass(rateHz, hz[0], order[0])
	if err != nil {
		t.Fatal(err)
	}
	lp, err := filter.ButterworthLowPass(rateHz, hz[1], order[1])
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
	return y
}

// whereAbove calls found for each stretch in which the mean of energy over the short window,
// seconds, is above that over the long one and a share of the mean of all, for as long as
// the short window.
func whereAbove(energy []float64, rateHz float64, windows [2]float64, share float64, found func(from, to int)) {
	n := len(energy)
	sums := make([]float64, n+1)
	for i, v := range energy {
		sums[i+1] = sums[i] + v
	}
	average := func(i, half int) float64 {
		a, b := max(i-half, 0), min(i+half+1, n)
		return (sums[b] - sums[a]) / float64(b-a)
	}
	short, long := int(math.Round(windows[0]*rateHz)), int(math.Round(windows[1]*rateHz))
	offset := share * sums[n] / float64(n)
	for i := 0; i < n; i++ {
		from := i
		for i < n && average(i, short/2) > average(i, long/2)+offset {
			i++
		}
		if i-from >= short {
			found(from, i)
		}
	}
}
