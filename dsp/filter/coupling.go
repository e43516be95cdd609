package filter

import (
	"fmt"
	"math"
)

// Bounds of [Uncouple].
const (
	// MinFloorHz and MaxFloorHz bound the corner that is left.
	MinFloorHz, MaxFloorHz = 0.005, 5
	// MaxCouplingHz is the highest corner undone; with a floor of 0.05 Hz the gain
	// at 0 Hz is then 66 dB.
	MaxCouplingHz = 100
)

// Uncouple designs the inverse of a coupling capacitor with its resistor (corner
// couplingHz), as far as one can be had: its gain at 0 Hz would be infinite and
// any offset would run away. Instead the corner is moved down to floorHz:
//
//	(s + 2π couplingHz) / (s + 2π floorHz),
//
// gain couplingHz/floorHz at 0 Hz and 1 at half the rate. It is discretised as
// [RCHighPass], so that the two in series are exactly RCHighPass at floorHz.
//
// couplingHz is above floorHz and at most 100 Hz and below half the rate; floorHz
// from 0.005 to 5 Hz. Run it from an empty state (Cascade.Start with 0): what a coupled
// input gives has no constant part that could be taken as having stood for ever.
// Noise grows by [UncoupleNoise].
func Uncouple(rateHz, couplingHz, floorHz float64) (Sections, error) {
	if err := checkFrequency("coupling undone", "corner", rateHz, couplingHz); err != nil {
		return nil, err
	}
	if !(floorHz >= MinFloorHz && floorHz <= MaxFloorHz) {
		return nil, fmt.Errorf("filter: coupling undone: corner of %g Hz left; must be %g to %g Hz", floorHz, MinFloorHz, float64(MaxFloorHz))
	}
	if !(couplingHz > floorHz && couplingHz <= MaxCouplingHz) {
		return nil, fmt.Errorf("filter: coupling undone: corner %g Hz; must lie above the %g Hz left and be at most %g Hz", couplingHz, floorHz, float64(MaxCouplingHz))
	}
	kc, k0 := math.Tan(math.Pi*couplingHz/rateHz), math.Tan(math.Pi*floorHz/rateHz)
	return Sections{{
		beta:  [3]float64{(1 + kc) / (1 + k0), 2 * kc / (1 + k0), 0},
		alpha: [2]float64{2 * k0 / (1 + k0), 0},
	}}, nil
}

// UncoupleNoise is by how much [Uncouple] makes white noise between lowHz and
// highHz larger: rms after over rms before.
//
// Closed form: the mean over the band of (f² + couplingHz²)/(f² + floorHz²), which is
// 1 + (couplingHz² − floorHz²)/floorHz · (atan(highHz/floorHz) − atan(lowHz/floorHz))/(highHz − lowHz).
func UncoupleNoise(couplingHz, floorHz, lowHz, highHz float64) float64 {
	angle := math.Atan(highHz/floorHz) - math.Atan(lowHz/floorHz)
	return math.Sqrt(1 + (couplingHz*couplingHz-floorHz*floorHz)/floorHz*angle/(highHz-lowHz))
}
