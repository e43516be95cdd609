// Package filter designs and runs the filters of the signal path: Butterworth
// and single-pole sections, notches, and linear-phase decimation.
//
// A second-order section has coefficients b and a with a0 = 1 and the feedback
// subtracted. Frequencies are in hertz, gains are linear unless a name ends in
// DB. Nothing here is safe for concurrent use unless it says so.
package filter

import "pulsewright/dsp"

// Filter is a Stream with a known frequency response.
type Filter interface {
	dsp.Stream
	// RateHz is the sample rate it was designed for.
	RateHz() float64
	// Response is the complex gain at a frequency from 0 to half the rate.
	Response(freqHz float64) complex128
	// GroupDelaySamples is the group delay at a frequency from 0 to half the rate.
	GroupDelaySamples(freqHz float64) float64
	// SettlingSeconds is how long after a step the output needs to stay within
	// the fraction (0 to 1, such as 0.01) of the step from its final value.
	SettlingSeconds(fraction float64) float64
}
