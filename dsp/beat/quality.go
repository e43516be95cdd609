package beat

import "math"

// pulseShape judges how alike the pulses are: correlation with the average of the
// good ones and with the one before (after Orphanidou et al. 2015, who average
// over 10 s and whole intervals), times the agreement of height and interval.
type pulseShape struct {
	p     shapeParams
	mean  []float64
	prev  []float64
	cur   []float64
	count int
	beats int
	alike int // beats in a row that agree with the one before but not the mean
}

// shapeParams are its numbers.
type shapeParams struct {
	beforeSeconds float64 // compared before the steepest point,
	afterSeconds  float64 // and after it
	least, most   float64 // a correlation of this is nothing, and of this all one can ask
	learn         float64 // the mean learns from beats that agree with it so much
	share         float64 // by at least this share,
	anew          int     // and starts anew after so many in a row that agree among themselves
}

func (t *pulseShape) init(p shapeParams, n int) {
	t.p = p
	t.mean, t.prev, t.cur = make([]float64, n), make([]float64, n), make([]float64, n)
}

func (t *pulseShape) reset() { t.count, t.beats, t.alike = 0, 0, 0 }

// cut puts the pulse s into cur and tells how much of it is to be compared.
func (t *pulseShape) cut(d *PulseDetector, c *decider, s swing) int {
	n := len(t.cur)
	for i := range t.cur {
		k := s.steep - int64(d.shapeFrom) + int64(i)
		t.cur[i] = 0
		if k >= 0 {
			t.cur[i] = d.polarity.sign * d.y[k&d.workMask]
		}
	}
	// Fast pulses: only up to the next one.
	if rr := c.expected(); rr > 0 {
		n = max(n/2, min(n, d.shapeFrom+int(0.8*rr)))
	}
	return n
}

// judge gives 0 to 1 for the pulse s.
func (t *pulseShape) judge(d *PulseDetector, c *decider, s swing) float64 {
	n := t.cut(d, c, s)
	level(t.cur[:n])
	rMean, rPrev := 0.0, 0.0
	if t.beats > 0 {
		rPrev = correlation(t.cur[:n], t.prev[:n])
	}
	if t.count > 0 {
		rMean = correlation(t.cur[:n], t.mean[:n])
	}
	r := max(rMean, rPrev)
	if t.beats == 0 {
		r = 0.8
	}
	q := unitClamp((r - t.p.least) / (t.p.most - t.p.least))
	// The mean learns from beats that agree; when others agree among themselves it
	// starts anew.
	switch {
	case t.count == 0 || rMean > t.p.learn:
		a := max(t.p.share, 1/float64(t.count+1))
		scale := 1.0
		if s.height > 0 {
			scale = 1 / s.height
		}
		for i := range t.mean {
			t.mean[i] += a * (scale*t.cur[i] - t.mean[i])
		}
		t.count++
		t.alike = 0
	case rPrev > t.p.learn:
		if t.alike++; t.alike >= t.p.anew {
			for i := range t.mean {
				t.mean[i] = t.cur[i] / s.height
			}
			t.count, t.alike = 1, 0
		}
	default:
		t.alike = 0
	}
	t.prev, t.cur = t.cur, t.prev
	t.beats++
	// Height against the usual one.
	if l := c.weights.median; l > 0 {
		x := math.Abs(math.Log(s.weight / l))
		q *= 1 - 0.5*unitClamp((x-math.Log(1.5))/math.Log(3))
	}
	return q
}

// level takes away the straight line that fits best.
func level(v []float64) {
	n := float64(len(v))
	var sum, moment float64
	for i, x := range v {
		sum += x
		moment += x * (float64(i) - (n-1)/2)
	}
	slope := moment * 12 / (n * (n*n - 1))
	for i := range v {
		v[i] -= sum/n + slope*(float64(i)-(n-1)/2)
	}
}

// correlation is Pearson's; 0 for a constant.
func correlation(a, b []float64) float64 {
	var sa, sb float64
	for i := range a {
		sa += a[i]
		sb += b[i]
	}
	n := float64(len(a))
	sa, sb = sa/n, sb/n
	var ab, aa, bb float64
	for i := range a {
		x, y := a[i]-sa, b[i]-sb
		ab += x * y
		aa += x * x
		bb += y * y
	}
	if !(aa > 0 && bb > 0) {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

func unitClamp(x float64) float64 { return min(max(x, 0), 1) }
