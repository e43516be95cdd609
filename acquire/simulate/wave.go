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
// after it; v is the clean signal at m.
func (w *wave) ecg(m moment, v, window float64) (Beat, bool) {
	const before = 0.05
	window = min(window, 0.5*(m.to-m.from))
	switch {
	case m.to-m.t < before:
		if w.beat != m.to {
			w.beat, w.peak = m.to, math.Inf(-1)
		}
	case w.beat == m.from && m.t-m.from > window:
		w.footAt, w.interval = w.peakAt, m.to-m.from
		return w.done(), true
	}
	if v > w.peak && !math.IsNaN(w.beat) {
		w.peak, w.peakAt = v, m.position
	}
	return Beat{}, false
}

// pulse looks for a beat's peak and the least value between the peak before
// and it; m's R peaks are those around its time less the transit.
func (w *wave) pulse(m moment, v float64) (b Beat, found bool) {
	if w.beat != m.from {
		if found = !math.IsNaN(w.beat); found {
			b = w.done()
			w.low, w.lowAt = w.nextLow, w.nextLowAt
		}
		w.beat, w.interval = m.from, m.to-m.from
	}
	if v > w.peak {
		w.peak, w.peakAt, w.footAt = v, m.position, w.lowAt
		w.nextLow = math.Inf(1)
	}
	if v < w.low {
		w.low, w.lowAt = v, m.position
	}
	if v < w.nextLow {
		w.nextLow, w.nextLowAt = v, m.position
	}
	return b, found
}
