package server

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/spectrum"
)

const (
	// The spectrum's shape is judged above what a heart makes (FACTS: pulses to 15 Hz, a QRS
	// mostly to 25), up to 0.4 of the rate, where two octaves lie between.
	shapeLowHz, shapeHighShare, shapeOctaves = 30.0, 0.4, 1.0
	shapeHalfBand                            = 0.15 // of the frequency to either side
	shapeAgreesDB                            = 6.0
	humHalfBandHz                            = 3.0
)

// spectrumRow compares by how many decibels the noise falls from the low to the high end of
// where it can be seen; ok is false, with the reason, where it cannot.
func spectrumRow(b *board.Board, r *meter.Report, volts []float64, rateHz float64) (row boardRow, reason string, ok bool) {
	high := shapeHighShare * rateHz
	if math.Log2(high/shapeLowHz) < shapeOctaves {
		return row, fmt.Sprintf("at %.4g samples a second too little lies above the beats; 150 or more are needed", rateHz), false
	}
	d, err := spectrum.Of(spectrum.Config{RateHz: rateHz, SegmentSamples: int(2 * rateHz)}, volts)
	if err != nil || d.Averages < 4 {
		return row, "too few seconds of signal; wait", false
	}
	f, err := b.Figures([]float64{shapeLowHz, high})
	if err != nil {
		return row, err.Error(), false
	}
	level := func(hz float64) float64 {
		var list []float64
		for i, v := range d.V2PerHz {
			at := d.FreqHz(i)
			hum := r.Hum.Found && math.Abs(at-r.Hum.FreqHz*math.Round(at/r.Hum.FreqHz)) < humHalfBandHz
			if math.Abs(at/hz-1) < shapeHalfBand && !hum {
				list = append(list, v)
			}
		}
		if len(list) == 0 {
			return 0
		}
		slices.Sort(list)
		return list[len(list)/2]
	}
	low, far := level(shapeLowHz), level(high)
	if low <= 0 || far <= 0 {
		return row, "hum or nothing stands where the noise should be seen", false
	}
	total := func(i int) float64 { return math.Hypot(f.Noise.VoltsPerRootHz[i], f.Noise.ConverterVoltsPerRootHz) }
	row = boardRow{What: fmt.Sprintf("spectrum: fall from %.0f to %.0f Hz", shapeLowHz, high), Unit: "dB", Predicted: 20 * math.Log10(total(0)/total(1)), Measured: 10 * math.Log10(low/far)}
	difference := row.Measured - row.Predicted
	row.Agrees = math.Abs(difference) <= shapeAgreesDB
	switch {
	case row.Agrees:
	case difference > 0:
		row.Text = "It falls more than the parts make it: what disturbs comes in before the low-pass. Suspect light on the sensor or long wires, or a low-pass that lies lower than drawn."
	default:
		row.Text = "It falls less than the parts make it: noise comes in after the low-pass. Suspect the converter's reference, the supply, or a low-pass that lies higher than drawn."
	}
	return row, "", true
}
