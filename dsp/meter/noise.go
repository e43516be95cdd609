package meter

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/mains"
	"pulsewright/dsp/quantile"
)

// noise is the density in a band that neither heartbeat nor hum reaches: a
// Blackman–Harris window (4-term; half main lobe 4 bins, bandwidth 2.0044 bins)
// turned to 80 Hz, 0.2 s long, has its zeros at 60 and 100 Hz. Frames' powers are
// exponentially distributed; those with a QRS stand out. From the lower quartile
// (−ln 0.75 of the mean) on, the mean of all below five times the estimate is
// taken, and its 3.4 % made good.
func noise(cfg Config, x []float64, hum mains.Measure) Noise {
	var r Noise
	var span float64
	for _, c := range []struct{ centre, seconds float64 }{{80, 0.2}, {36, 0.4}} {
		reach := 4 / c.seconds
		clear := c.centre+reach <= cfg.RateHz/2
		lines := []float64{50, 60, 100, 120}
		if hum.Found {
			lines = []float64{hum.FreqHz, 2 * hum.FreqHz, 3 * hum.FreqHz}
		}
		for _, f := range lines {
			folded := math.Abs(f - cfg.RateHz*math.Round(f/cfg.RateHz))
			if math.Abs(folded-c.centre) < 0.9*reach {
				clear = false
			}
		}
		if clear {
			r.CentreHz, span = c.centre, c.seconds
			break
		}
	}
	if span == 0 {
		r.Reason = fmt.Sprintf("at %.4g Hz there is no band free of heartbeat and hum; sample at 125 Hz or more", cfg.RateHz)
		r.ConverterReason = r.Reason
		return r
	}
	n := int(math.Round(span * cfg.RateHz))
	w, cs, sn := make([]float64, n), make([]float64, n), make([]float64, n)
	var s1, s2 float64
	for i := range w {
		a := 2 * math.Pi * float64(i) / float64(n)
		w[i] = 0.35875 - 0.48829*math.Cos(a) + 0.14128*math.Cos(2*a) - 0.01168*math.Cos(3*a) // Harris 1978, table 1
		s1 += w[i]
		s2 += w[i] * w[i]
		p := 2 * math.Pi * r.CentreHz * float64(i) / cfg.RateHz
		cs[i], sn[i] = w[i]*math.Cos(p), w[i]*math.Sin(p)
	}
	hop := max(1, n/4, len(x)/400)
	var power []float64
	for at := 0; at+n <= len(x); at += hop {
		level := x[at]
		var re, im float64
		for i, v := range x[at : at+n] {
			d := v - level
			re += d * cs[i]
			im += d * sn[i]
		}
		// One-sided density, Welch's normalisation.
		power = append(power, 2*(re*re+im*im)/(cfg.RateHz*s2))
	}
	if len(power) < 16 {
		r.Reason = "it needs two seconds of signal; wait"
		r.ConverterReason = r.Reason
		return r
	}
	slices.Sort(power)
	q := quantile.Of(power, 0.25) / -math.Log(0.75)
	for range 3 {
		var sum, k float64
		for _, p := range power {
			if p < 5*q {
				sum += p
				k++
			}
		}
		if k == 0 { // q is 0: a still line between the beats
			break
		}
		q = sum / k / (1 - 5*math.Exp(-5)/(1-math.Exp(-5)))
	}
	r.Known, r.VoltsPerRootHz = true, math.Sqrt(q)
	band := 15.0
	if cfg.Kind == "ecg" {
		band = 40
	}
	r.InHeartbeatBandVolts = r.VoltsPerRootHz * math.Sqrt(band)
	if cfg.VoltsPerCount > 0 {
		r.ConverterKnown = true
		r.LimitVoltsPerRootHz = cfg.VoltsPerCount / math.Sqrt(12) / math.Sqrt(cfg.RateHz/2)
		r.RMSInSteps = r.VoltsPerRootHz * math.Sqrt(cfg.RateHz/2) / cfg.VoltsPerCount
		r.ConverterLimited = r.VoltsPerRootHz < 1.5*r.LimitVoltsPerRootHz
	} else {
		r.ConverterReason = "the converter's step is unknown: set bits and reference"
	}
	return r
}
