package response

import (
	"errors"
	"fmt"
	"math"
)

// ToneFit is a tone found in values.
type ToneFit struct {
	FreqHz float64 `json:"freqHz"`
	RMS    float64 `json:"rms"`
	// Purity is the tone's share of the power besides a constant, 0 to 1.
	Purity float64 `json:"purity"`
}

// leastPurity: what is left is then at most −13 dB of the tone.
const leastPurity = 0.95

// ErrNoTone says that there is no clean tone.
var ErrNoTone = errors.New("no clean tone is there")

// Tone measures a tone within 5 % of nearHz: the frequency at which a sine, a
// cosine and a constant leave the least (IEEE Std 1057, four-parameter sine fit,
// found here by scan and golden section instead of iteration). values last at least
// ten periods; nearHz is above 0 and below 0.45 of rateHz.
func Tone(values []float64, rateHz, nearHz float64) (ToneFit, error) {
	if !(nearHz > 0 && nearHz < 0.45*rateHz) {
		return ToneFit{}, fmt.Errorf("response: tone near %g Hz; must be above 0 and below %g Hz", nearHz, 0.45*rateHz)
	}
	seconds := float64(len(values)) / rateHz
	if seconds*nearHz < 10 {
		return ToneFit{}, fmt.Errorf("response: tone near %g Hz in %.3g s; must last ten periods", nearHz, seconds)
	}
	mean := 0.0
	for _, v := range values {
		mean += v
	}
	mean /= float64(len(values))
	all := 0.0
	for _, v := range values {
		all += (v - mean) * (v - mean)
	}
	if all == 0 {
		return ToneFit{}, fmt.Errorf("%w: the input does not move at all", ErrNoTone)
	}
	// The peak of the fit is about 1/seconds wide: three points in it.
	step := 1 / seconds / 3
	low, high := 0.95*nearHz, 1.05*nearHz
	// A short stretch finds where to look, so that the scan stays cheap.
	short := values
	if n := int(60 / nearHz * rateHz); n < len(values) {
		short = values[:n]
		step = nearHz / 60 / 3
	}
	scan := func(x []float64, low, high, step float64) float64 {
		best, most := low, -1.0
		for f := low; f <= high; f += step {
			if p, _ := tonePower(x, rateHz, f, mean); p > most {
				best, most = f, p
			}
		}
		return best
	}
	at := scan(short, low, high, step)
	if len(short) < len(values) {
		at = scan(values, at-step, at+step, 1/seconds/3)
		step = 1 / seconds / 3
	}
	fit := ToneFit{FreqHz: golden(at-step, at+step, 30, func(f float64) float64 {
		power, _ := tonePower(values, rateHz, f, mean)
		return -power
	})}
	var power float64
	power, fit.RMS = tonePower(values, rateHz, fit.FreqHz, mean)
	fit.Purity = math.Min(1, power/all)
	if fit.Purity < leastPurity || fit.FreqHz < low || fit.FreqHz > high {
		return fit, fmt.Errorf("%w near %g Hz: the nearest, at %.4g Hz, has %.0f %% of the power; feed the tone alone, below full scale", ErrNoTone, nearHz, fit.FreqHz, 100*fit.Purity)
	}
	return fit, nil
}

// tonePower is the sum of squares that a sine at f explains, and its rms, by
// least squares with sine, cosine and constant.
func tonePower(values []float64, rateHz, f, mean float64) (power, rms float64) {
	s, c := math.Sincos(2 * math.Pi * f / rateHz)
	x, y := 1.0, 0.0 // cos, sin
	var ss, cc, sc, s1, c1, vs, vc, v1 float64
	for i, v := range values {
		v -= mean
		ss, cc, sc, s1, c1 = ss+y*y, cc+x*x, sc+x*y, s1+y, c1+x
		vs, vc, v1 = vs+v*y, vc+v*x, v1+v
		x, y = x*c-y*s, x*s+y*c
		if i&1023 == 1023 { // the turning loses length slowly
			r := 1 / math.Hypot(x, y)
			x, y = x*r, y*r
		}
	}
	n := float64(len(values))
	// Take the constant out, then solve two by two.
	ss, cc, sc, vs, vc = ss-s1*s1/n, cc-c1*c1/n, sc-s1*c1/n, vs-s1*v1/n, vc-c1*v1/n
	d := ss*cc - sc*sc
	a, b := (cc*vs-sc*vc)/d, (ss*vc-sc*vs)/d
	return a*vs + b*vc, math.Sqrt((a*a + b*b) / 2)
}
