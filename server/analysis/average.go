package analysis

import (
	"math"
	"slices"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/quantile"
)

// averagePoints is about how many values a second of an average beat has.
const averagePoints = 1000

// Average is the typical beat of a stretch: at each moment about the beat the median
// over all beats, and the values that a tenth of them stay below and above. Every
// beat is counted from its own level: for a pulse the mean within 20 ms of the foot,
// for an ECG the mean from 80 to 40 ms before the R peak.
type Average struct {
	Beats int `json:"beats"` // that lie wholly in the stretch
	// FromSeconds is the time of the first value, counted from the R peak or the
	// pulse's foot; StepSeconds lie between values.
	FromSeconds float64   `json:"fromSeconds"`
	StepSeconds float64   `json:"stepSeconds"`
	Median      []float64 `json:"median"`
	Low         []float64 `json:"low"`
	High        []float64 `json:"high"`
}

// averageBeat lays the beats in values, counted from its first one, over each other.
func averageBeat(values []float64, beats []beat.Beat, rateHz float64, kind beat.Kind) Average {
	step := max(1, int(math.Round(rateHz/averagePoints)))
	beforeSeconds, afterSeconds := 0.2, 0.8
	if kind == beat.ECG {
		beforeSeconds, afterSeconds = 0.3, 0.5
	}
	before, after := int(beforeSeconds*rateHz)/step, int(afterSeconds*rateHz)/step
	a := Average{FromSeconds: (-float64(before*step) + float64(step-1)/2) / rateHz, StepSeconds: float64(step) / rateHz, Median: []float64{}, Low: []float64{}, High: []float64{}}
	mean := func(from, to int) float64 {
		sum := 0.0
		for _, v := range values[from:to] {
			sum += v
		}
		return sum / float64(to-from)
	}
	var rows [][]float64
	for _, b := range beats {
		at := int(b.Foot)
		low, high := at-int(0.02*rateHz), at+int(0.02*rateHz)+1
		if kind == beat.ECG {
			low, high = at-int(0.08*rateHz), at-int(0.04*rateHz)+1
		}
		if at-before*step < 0 || at+(after+1)*step > len(values) || low < 0 {
			continue
		}
		level := mean(low, high)
		row := make([]float64, before+after+1)
		for i := range row {
			first := at + (i-before)*step
			row[i] = mean(first, first+step) - level
		}
		rows = append(rows, row)
	}
	a.Beats = len(rows)
	if len(rows) == 0 {
		return a
	}
	column := make([]float64, len(rows))
	for i := range rows[0] {
		for k, row := range rows {
			column[k] = row[i]
		}
		slices.Sort(column)
		a.Low = append(a.Low, quantile.Of(column, 0.1))
		a.Median = append(a.Median, quantile.Of(column, 0.5))
		a.High = append(a.High, quantile.Of(column, 0.9))
	}
	return a
}
