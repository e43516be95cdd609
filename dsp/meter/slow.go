package meter

import (
	"math"
	"slices"
)

// points appends to p means over 20 ms (one sample below 75 Hz): a cycle of 50 Hz.
func points(p []float64, cfg Config, x []float64) (_ []float64, perSecond float64, block int) {
	block = max(1, int(math.Round(cfg.RateHz*0.02)))
	for i := 0; i+block <= len(x); i += block {
		var s float64
		for _, v := range x[i : i+block] {
			s += v
		}
		p = append(p, s/float64(block))
	}
	return p, cfg.RateHz / float64(block), block
}

// drift smooths with a Hann window of four seconds, whose first zero is at 0.5 Hz.
func drift(cfg Config, x []float64) Drift {
	p, rate, _ := points(nil, cfg, x)
	n := int(4 * rate)
	if float64(len(p)) < 6*rate {
		return Drift{Reason: whySixSeconds}
	}
	w := make([]float64, n)
	var sw float64
	for i := range w {
		w[i] = 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
		sw += w[i]
	}
	step := max(1, int(rate/4), (len(p)-n)/2000)
	lo, hi := math.Inf(1), math.Inf(-1)
	var k, st, sv, stt, stv float64
	base := p[0]
	for at := 0; at+n <= len(p); at += step {
		var v float64
		for i, c := range w {
			v += c * (p[at+i] - base)
		}
		v /= sw
		lo, hi = min(lo, v), max(hi, v)
		t := float64(at) / rate
		k++
		st += t
		sv += v
		stt += t * t
		stv += t * v
	}
	d := Drift{Known: true, SwingVolts: hi - lo}
	if den := k*stt - st*st; den > 0 {
		d.VoltsPerMinute = 60 * (k*stv - st*sv) / den
	}
	return d
}

// settler looks for settling; it keeps what it works in.
type settler struct{ points, ranges, final []float64 }

// settling looks for an excursion of more than twice the normal swing that has
// ended 1.5 s before the window's end; x's first sample has the index first.
func (w *settler) settling(cfg Config, x []float64, first int64) Settling {
	p, rate, block := points(w.points[:0], cfg, x)
	w.points = p
	second := int(rate)
	none := Settling{Reason: whyTouch}
	if len(p) < 4*second {
		none.Reason = whyFourSeconds
		return none
	}
	ranges := w.ranges[:0]
	for i := 0; i+second <= len(p); i += second / 2 {
		ranges = append(ranges, slices.Max(p[i:i+second])-slices.Min(p[i:i+second]))
	}
	w.ranges = ranges
	tail := p[len(p)-3*second/2:]
	tailRange := slices.Max(tail) - slices.Min(tail)
	slices.Sort(ranges)
	normal := min(ranges[len(ranges)/4], tailRange)
	if tailRange > 2.5*ranges[len(ranges)/4]+2*cfg.VoltsPerCount {
		none.Reason = whyUnsettled
		return none
	}
	final := append(w.final[:0], tail...)
	w.final = final
	slices.Sort(final)
	end := final[len(final)/2]
	// The newest excursion: backwards to the last one above the threshold, then on to
	// its height.
	threshold := 2*max(normal, tailRange) + 4*cfg.VoltsPerCount
	at := -1
	for i := len(p) - 1; i >= 0; i-- {
		if math.Abs(p[i]-end) > threshold {
			at = i
			break
		}
	}
	if at < 0 {
		return none
	}
	height := 0.0
	for i := at; i >= 0 && i > at-10*second; i-- {
		height = max(height, math.Abs(p[i]-end))
	}
	peak := at
	for peak > 0 && math.Abs(p[peak]-end) < 0.95*height {
		peak--
	}
	band := 0.05*height + 0.75*normal
	in := peak
	for i := peak; i < len(p); i++ {
		if math.Abs(p[i]-end) > band {
			in = i
		}
	}
	return Settling{Known: true, Seconds: float64(in+1-peak) / rate, StepVolts: height, BandVolts: band, AtSample: first + int64(peak*block)}
}
