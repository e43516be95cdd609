package variability

import "math"

// histogram counts NN intervals in bins of 1/128 s, the Task Force's usual width.
type histogram struct {
	bins  [histogramBins]int32
	total int
}

const (
	binsPerSecond = 128
	histogramBins = longestSeconds*binsPerSecond + 1
)

func (h *histogram) add(x float64) {
	i := int(x * binsPerSecond)
	if i < 0 || i >= histogramBins {
		return
	}
	h.bins[i]++
	h.total++
}

// mode is the fullest bin, the first of several.
func (h *histogram) mode() int {
	most := 0
	for i, n := range h.bins {
		if n > h.bins[most] {
			most = i
		}
	}
	return most
}

// triangular is the number of all NN intervals over the height of the histogram.
func (h *histogram) triangular() float64 {
	if h.total == 0 {
		return math.NaN()
	}
	return float64(h.total) / float64(h.bins[h.mode()])
}

// tinn is the width in seconds of the base of the triangle that fits the
// histogram best: its top is the fullest bin's, its feet N and M lie on bins beside
// it, and the sum of the squared distances over all bins is least. Left and right
// of the top the sums are independent, so each foot is sought by itself.
func (h *histogram) tinn() float64 {
	if h.total == 0 {
		return math.NaN()
	}
	top := h.mode()
	y := float64(h.bins[top])
	side := func(step, end int) int { // bins from the top to the best foot
		best, bestSum := 1, math.Inf(1)
		for foot := 1; top+step*foot != end; foot++ {
			sum := 0.0
			for k := 1; top+step*k != end; k++ {
				d := float64(h.bins[top+step*k])
				if k < foot {
					d -= y * float64(foot-k) / float64(foot)
				}
				sum += d * d
			}
			if sum < bestSum {
				best, bestSum = foot, sum
			}
		}
		return best
	}
	if top == 0 || top == histogramBins-1 {
		return math.NaN()
	}
	return float64(side(-1, -1)+side(1, histogramBins)) / binsPerSecond
}
