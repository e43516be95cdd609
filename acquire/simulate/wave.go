package simulate

import "math"

// wave finds the extremes of one channel's clean signal. Positions are in
// samples, with a fraction.
type wave struct {
	beat     float64 // time of the R peak of the beat under way; NaN is none
	interval float64
	peak     float64
	peakAt   float64
	footAt   float64
	// The least value since the last beat's peak, and since the newest maximum.
	low, nextLow     float64
	lowAt, nextLowAt float64
}

func newWave() wave {
	return wave{beat: math.NaN(), peak: math.Inf(-1), low: math.Inf(1), nextLow: math.Inf(1), lowAt: -1, nextLowAt: -1}
}

func (w *wave) done() Beat {
	b := Beat{Sample: int64(math.Round(w.peakAt)), Foot: int64(math.Round(w.footAt)), RSeconds: w.beat, IntervalSeconds: w.interval}
	w.beat, w.peak = math.NaN(), math.Inf(-1)
	return b
}

// ecg looks for the R peak from 50 ms before the model's to window seconds
// after it. from and to are the model's R peaks around t.
func (w *wave) ecg(from, to, t, position, v, window float64) (Beat, bool) {
	const before = 0.05
	window = min(window, 0.5*(to-from))
	switch {
	case to-t < before:
		if w.beat != to {
			w.beat, w.peak = to, math.Inf(-1)
		}
	case w.beat == from && t-from > window:
		w.footAt, w.interval = w.peakAt, to-from
		return w.done(), true
	}
	if v > w.peak && !math.IsNaN(w.beat) {
		w.peak, w.peakAt = v, position
	}
	return Beat{}, false
}

// pulse looks for a beat's peak and the least value between the peak before
// and it. from and to are the R peaks around t, less the transit.
func (w *wave) pulse(from, to, position, v float64) (b Beat, found bool) {
	if w.beat != from {
		if found = !math.IsNaN(w.beat); found {
			b = w.done()
			w.low, w.lowAt = w.nextLow, w.nextLowAt
		}
		w.beat, w.interval = from, to-from
	}
	if v > w.peak {
		w.peak, w.peakAt, w.footAt = v, position, w.lowAt
		w.nextLow = math.Inf(1)
	}
	if v < w.low {
		w.low, w.lowAt = v, position
	}
	if v < w.nextLow {
		w.nextLow, w.nextLowAt = v, position
	}
	return b, found
}
