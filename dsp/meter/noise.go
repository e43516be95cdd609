package meter

import (
	"math"
	"slices"

	"pulsewright/dsp/quantile"
)

// noise is the density in a band that neither heartbeat nor hum reaches: a
// Blackman–Harris window (4-term; half main lobe 4 bins, bandwidth 2.0044 bins)
// turned to 80 Hz, 0.2 s long, has its zeros at 60 and 100 Hz. Frames' powers are
// exponentially distributed; those with a QRS stand out. From the lower quartile
// (−ln 0.75 of the mean) on, the mean of all below five times the estimate is
// taken, and its 3.4 % made good.
func (s stretch) noise() Noise {
	cfg := s.cfg
	centreHz, seconds := s.quietBand()
	r := Noise{CentreHz: centreHz}
	if seconds == 0 {
		r.Reason = whyNoBand(cfg.RateHz)
		r.ConverterReason = r.Reason
		return r
	}
	power := s.powers(centreHz, seconds)
	if len(power) < 16 {
		r.Reason = whyTwoSeconds
		r.ConverterReason = r.Reason
		return r
	}
	r.Known, r.VoltsPerRootHz = true, math.Sqrt(quietMean(power))
	band := 15.0
	if cfg.Kind == "ecg" {
		band = 40
	}
	r.InHeartbeatBandVolts = r.VoltsPerRootHz * math.Sqrt(band)
	limit := cfg.VoltsPerCount / math.Sqrt(12) / math.Sqrt(cfg.RateHz/2)
	limited := r.VoltsPerRootHz < 1.5*limit
	switch {
	case cfg.VoltsPerCount <= 0:
		r.ConverterReason = whyStep
	case cfg.Printed:
		r.ConverterReason, r.DecimalsLimited = whyPrinted, limited
	default:
		r.ConverterKnown, r.ConverterLimited = true, limited
		r.LimitVoltsPerRootHz = limit
		r.RMSInSteps = r.VoltsPerRootHz * math.Sqrt(cfg.RateHz/2) / cfg.VoltsPerCount
	}
	return r
}

// quietBand is a band free of heartbeat and hum, and how long a frame is for it; 0 when there
// is none.
func (s stretch) quietBand() (centreHz, seconds float64) {
	lines := []float64{50, 60, 100, 120}
	if f := s.hum.FreqHz; s.hum.Found {
		lines = []float64{f, 2 * f, 3 * f}
	}
	rateHz := s.cfg.RateHz
	for _, c := range []struct{ centre, seconds float64 }{{80, 0.2}, {36, 0.4}} {
		reach := 4 / c.seconds
		clear := c.centre+reach <= rateHz/2
		for _, f := range lines {
			folded := math.Abs(f - rateHz*math.Round(f/rateHz))
			if math.Abs(folded-c.centre) < 0.9*reach {
				clear = false
			}
		}
		if clear {
			return c.centre, c.seconds
		}
	}
	return 0, 0
}

// powers are the frames' densities at a frequency, one-sided, by Welch's normalisation.
func (s stretch) powers(centreHz, seconds float64) []float64 {
	rateHz, x := s.cfg.RateHz, s.x
	n := int(math.Round(seconds * rateHz))
	cs, sn := make([]float64, n), make([]float64, n)
	var s2 float64
	for i := range cs {
		a := 2 * math.Pi * float64(i) / float64(n)
		w := 0.35875 - 0.48829*math.Cos(a) + 0.14128*math.Cos(2*a) - 0.01168*math.Cos(3*a) // Harris 1978, table 1
		s2 += w * w
		p := 2 * math.Pi * centreHz * float64(i) / rateHz
		cs[i], sn[i] = w*math.Cos(p), w*math.Sin(p)
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
		power = append(power, 2*(re*re+im*im)/(rateHz*s2))
	}
	return power
}

// quietMean is the mean of the powers without those of the heartbeats; it sorts them.
func quietMean(power []float64) float64 {
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
	return q
}
