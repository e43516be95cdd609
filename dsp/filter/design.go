package filter

import (
	"fmt"
	"math"
)

// Sample rates the package is tested for.
const (
	MinRateHz = 25
	MaxRateHz = 192000
	// MaxOrder is the highest Butterworth order.
	MaxOrder = 8
)

// ButterworthLowPass designs a low-pass of order 1 to 8, −3 dB at cutoffHz.
//
// cutoffHz lies above 0 and below half of rateHz; rateHz from 25 to 192000. The
// sections come in rising Q, each with gain 1 at 0 Hz.
//
// Source: bilinear transform with prewarping, K = tan(π f/fs) (Oppenheim and
// Schafer, Discrete-Time Signal Processing, section 7.2); poles of Butterworth
// 1930, section Q = 1/(2 cos φ) for a pole pair φ off the negative real axis.
func ButterworthLowPass(rateHz, cutoffHz float64, order int) (Sections, error) {
	return shape{"low-pass", lowPass1, lowPass2}.butterworth(rateHz, cutoffHz, order)
}

// ButterworthHighPass designs a high-pass of order 1 to 8, −3 dB at cutoffHz;
// the rest as in [ButterworthLowPass], with gain 1 at half the rate.
func ButterworthHighPass(rateHz, cutoffHz float64, order int) (Sections, error) {
	return shape{"high-pass", highPass1, highPass2}.butterworth(rateHz, cutoffHz, order)
}

// RCLowPass designs what one resistor and one capacitor do, f = 1/(2πRC).
//
// Discretised by the bilinear transform prewarped at the corner, so that the
// gain is −3 dB and the lag 45° exactly there; near half the rate it falls faster
// than the part on the bench, to zero.
func RCLowPass(rateHz, cornerHz float64) (Sections, error) {
	return shape{"RC low-pass", lowPass1, lowPass2}.butterworth(rateHz, cornerHz, 1)
}

// RCHighPass designs a coupling capacitor and its resistor; discretised as in
// [RCLowPass].
func RCHighPass(rateHz, cornerHz float64) (Sections, error) {
	return shape{"RC high-pass", highPass1, highPass2}.butterworth(rateHz, cornerHz, 1)
}

// Notch designs notches at freqHz and its multiples up to harmonics times it
// (1: freqHz alone), each bandwidthHz wide between its −3 dB points. Multiples at
// or above half of rateHz are left out.
//
// freqHz and bandwidthHz lie above 0 and below half of rateHz. Each rings with
// time constant 1/(π bandwidthHz) = Q/(π f).
//
// Source: bilinear transform of (s² + ω²)/(s² + Bs + ω²) with the centre and the
// bandwidth prewarped separately (Orfanidis, Introduction to Signal Processing,
// section 11.3).
func Notch(rateHz, freqHz, bandwidthHz float64, harmonics int) (Sections, error) {
	if err := checkFrequency("notch", "frequency", rateHz, freqHz); err != nil {
		return nil, err
	}
	if err := checkFrequency("notch", "bandwidth", rateHz, bandwidthHz); err != nil {
		return nil, err
	}
	if harmonics < 1 || harmonics > 1000 {
		return nil, fmt.Errorf("filter: notch: %d harmonics; must be 1 (the fundamental alone) to 1000", harmonics)
	}
	var s Sections
	g := 1 / (1 + math.Tan(math.Pi*bandwidthHz/rateHz))
	for h := 1; h <= harmonics; h++ {
		f := float64(h) * freqHz
		if f >= rateHz/2 {
			break
		}
		h := math.Sin(math.Pi * f / rateHz)
		c := 4 * g * h * h
		s = append(s, Section{
			beta:  [3]float64{g, c, c},
			alpha: [2]float64{2*g*math.Tan(math.Pi*bandwidthHz/rateHz) + c, c},
		})
	}
	return s, nil
}

// ButterworthQ is the Q of the second-order sections of an order, rising. An odd
// order has a first-order section besides.
func ButterworthQ(order int) []float64 {
	var q []float64
	for k := order/2 - 1; k >= 0; k-- {
		q = append(q, 1/(2*math.Sin(math.Pi*float64(2*k+1)/float64(2*order))))
	}
	return q
}

// shape is what sections of first and second order are made by.
type shape struct {
	what   string
	first  func(k float64) Section
	second func(k, q float64) Section
}

func (d shape) butterworth(rateHz, cutoffHz float64, order int) (Sections, error) {
	if err := checkFrequency(d.what, "cutoff", rateHz, cutoffHz); err != nil {
		return nil, err
	}
	if order < 1 || order > MaxOrder {
		return nil, fmt.Errorf("filter: %s: order %d; must be 1 to %d", d.what, order, MaxOrder)
	}
	k := math.Tan(math.Pi * cutoffHz / rateHz)
	var s Sections
	if order%2 == 1 {
		s = append(s, d.first(k))
	}
	for _, q := range ButterworthQ(order) {
		s = append(s, d.second(k, q))
	}
	return s, nil
}

func lowPass1(k float64) Section {
	b := k / (1 + k)
	return Section{beta: [3]float64{b, 2 * b, 0}, alpha: [2]float64{2 * b, 0}}
}

func highPass1(k float64) Section {
	return Section{beta: [3]float64{1 / (1 + k), 0, 0}, alpha: [2]float64{2 * k / (1 + k), 0}}
}

func lowPass2(k, q float64) Section {
	d := 1 + k/q + k*k
	b := k * k / d
	return Section{beta: [3]float64{b, 4 * b, 4 * b}, alpha: [2]float64{(2*k/q + 4*k*k) / d, 4 * b}}
}

func highPass2(k, q float64) Section {
	d := 1 + k/q + k*k
	return Section{beta: [3]float64{1 / d, 0, 0}, alpha: [2]float64{(2*k/q + 4*k*k) / d, 4 * k * k / d}}
}

func checkRate(what string, rateHz float64) error {
	if !(rateHz >= MinRateHz && rateHz <= MaxRateHz) {
		return fmt.Errorf("filter: %s: sample rate %g Hz; must be %d to %d Hz", what, rateHz, MinRateHz, MaxRateHz)
	}
	return nil
}

// checkFrequency refuses a frequency that is not inside 0 to half the rate.
func checkFrequency(what, name string, rateHz, freqHz float64) error {
	if err := checkRate(what, rateHz); err != nil {
		return err
	}
	// Far below this the recursion itself would lose digits (1e-10 at 2.6e-7 of the rate).
	if lowest := rateHz * lowestRatio; !(freqHz >= lowest) {
		return fmt.Errorf("filter: %s: %s %g Hz; must be at least %.3g Hz at %g Hz sampling; choose a higher one or switch the filter off", what, name, freqHz, lowest, rateHz)
	}
	if freqHz >= rateHz/2 {
		return fmt.Errorf("filter: %s: %s %g Hz; must lie below %g Hz, half the sample rate; choose a lower one or sample faster", what, name, freqHz, rateHz/2)
	}
	return nil
}

// lowestRatio is the lowest frequency over the rate: 0.01 Hz at 192 kHz.
const lowestRatio = 5e-8

// Check refuses sections that are not finite or not stable (a pole on or outside
// the unit circle), as hand-made ones can be.
func (s Sections) Check() error {
	for i := range s {
		for _, v := range append(s[i].beta[:], s[i].alpha[:]...) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("filter: section %d: coefficient %g; must be finite", i, v)
			}
		}
		a1, a2 := s[i].alpha[0], s[i].alpha[1]
		stable := a1 > 0 && a1 < 2
		if !s[i].firstOrder() {
			// Jury's conditions A(1) > 0, A(−1) > 0, |a2| < 1, in α.
			stable = a2 > 0 && 4-2*a1+a2 > 0 && a1 > a2 && a1-a2 < 2
		}
		if !stable {
			return fmt.Errorf("filter: section %d: poles at radius %.6g; must lie inside the unit circle", i, s[i].PoleRadius())
		}
	}
	return nil
}
