package session

import (
	"math"
	"math/cmplx"

	"pulsewright/dsp/signalpath"
)

// floorDB stands for a gain of zero, which JSON cannot say in decibels.
const floorDB = -200

// respond computes the response of a path at n frequencies, evenly spaced on a
// logarithmic scale from 0.05 Hz to just below half the rate.
func respond(p *signalpath.Path, rateHz float64, n int) Response {
	r := Response{FreqHz: make([]float64, n), Path: p.Settings()}
	stages := []*StageResponse{&r.Drift, &r.Hum, &r.Smooth, &r.Whole}
	for _, s := range stages {
		s.GainDB, s.DelaySeconds = make([]float64, n), make([]float64, n)
	}
	low, high := 0.05, 0.499*rateHz
	for i := range n {
		f := low * math.Pow(high/low, float64(i)/float64(max(1, n-1)))
		r.FreqHz[i] = f
		total := 0.0
		for k, point := range []int{signalpath.PointDrift, signalpath.PointHum, signalpath.PointSmooth} {
			stages[k].GainDB[i] = decibels(p.Response(point, f))
			d := p.GroupDelaySeconds(point, f)
			if math.IsNaN(d) || math.IsInf(d, 0) {
				d = 0
			}
			stages[k].DelaySeconds[i] = d
			total += d
		}
		r.Whole.GainDB[i] = decibels(p.Whole(f))
		r.Whole.DelaySeconds[i] = total
	}
	return r
}

func decibels(h complex128) float64 {
	db := 20 * math.Log10(cmplx.Abs(h))
	if math.IsNaN(db) {
		return floorDB
	}
	return max(floorDB, db)
}
