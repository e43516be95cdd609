package meter

import (
	"math"

	"pulsewright/dsp/beat"
)

// polarity: an ECG by the sign of its beats; a pulse by its slope, which is steeper
// on the way up when upright (third moment of the slope).
func polarity(cfg Config, x []float64, first int64, beats []beat.Beat) Polarity {
	if cfg.Kind == "other" {
		return Polarity{Reason: whyKind}
	}
	if cfg.Kind == "ecg" {
		up, n := 0, 0
		for _, b := range beats {
			i := int(b.Sample - first)
			f := i - int(0.08*cfg.RateHz)
			if f < 0 || i >= len(x) {
				continue
			}
			n++
			if b.Amplitude > 0 || b.Amplitude == 0 && x[i] > x[f] {
				up++
			}
		}
		switch {
		case n < 3:
			return Polarity{Reason: whyFewBeats}
		case 4*up >= 3*n:
			return Polarity{Known: true, Upright: true}
		case 4*up <= n:
			return Polarity{Known: true}
		}
		return Polarity{Reason: whyBothWays}
	}
	p, rate, _ := points(nil, cfg, x)
	reach := max(1, int(rate*0.04)) // slopes over 80 ms, hum averaged out
	var s2, s3, n float64
	for i := reach; i+reach < len(p); i++ {
		d := p[i+reach] - p[i-reach]
		s2 += d * d
		s3 += d * d * d
		n++
	}
	if n < 2*rate || s2 == 0 {
		return Polarity{Reason: whyTwoSeconds}
	}
	skew := s3 / n / math.Pow(s2/n, 1.5)
	if math.Abs(skew) < 0.25 {
		return Polarity{Reason: whySteep}
	}
	return Polarity{Known: true, Upright: skew > 0}
}
