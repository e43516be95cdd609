package variability

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/quantile"
)

// Arrival is the time from the R peak to the foot of the pulse it sends.
type Arrival struct {
	// MedianSeconds and SpreadSeconds (the middle half's width) are nil when there
	// is too little to tell; Absent then says why.
	MedianSeconds *float64 `json:"medianSeconds"`
	SpreadSeconds *float64 `json:"spreadSeconds"`
	Absent        string   `json:"absent,omitempty"`
	// Pairs were found for so many of the R peaks looked at.
	Pairs int `json:"pairs"`
	Peaks int `json:"peaks"`
	// Quality is the share of R peaks with a pulse, less when the times spread, 0 to 1.
	Quality float64 `json:"quality"`
	Caveat  string  `json:"caveat"`
}

const (
	arrivalSeconds = 30
	// The foot comes to a finger about 0.15 to 0.3 s after the R peak; boards and
	// monitors add delay.
	arrivalLow, arrivalHigh = 0.05, 0.6
	arrivalPairs            = 8
	arrivalShare            = 0.6
	arrivalSpread           = 0.06
)

// PulseArrival looks at the last 30 s of an ECG's and a pulse's beats. For each R
// peak it takes the first foot 0.05 to 0.6 s after it and before that of the next.
// Both trackers count the same samples. ok is false when they are not an ECG and a
// pulse, in this order.
func PulseArrival(ecg, pulse *Tracker) (a Arrival, ok bool) {
	if ecg.config.Kind != beat.ECG || pulse.config.Kind != beat.Pulse {
		return a, false
	}
	a.Caveat = "the delays of both boards' electronics and filters are in it: compare it with itself only, and only while the boards stay as they are"
	now := max(ecg.now, pulse.now)
	from := now - int64(arrivalSeconds*ecg.rateHz)
	low, high := int64(arrivalLow*ecg.rateHz), int64(arrivalHigh*ecg.rateHz)
	var times []float64
	j := 0
	for i, s := range ecg.signs {
		// A peak counts once a pulse at or after its own has been found.
		if s.fiducial < from || pulse.last < s.fiducial+low || ecg.intervals[i].Quality < unsureQuality {
			continue
		}
		a.Peaks++
		end := s.fiducial + high
		if i+1 < len(ecg.signs) {
			end = min(end, ecg.signs[i+1].fiducial+low-1)
		}
		for j < len(pulse.signs) && pulse.signs[j].fiducial < s.fiducial+low {
			j++
		}
		if j < len(pulse.signs) && pulse.signs[j].fiducial <= end && pulse.intervals[j].Quality >= unsureQuality {
			times = append(times, float64(pulse.signs[j].fiducial-s.fiducial)/ecg.rateHz)
		}
	}
	a.Pairs = len(times)
	if a.Peaks == 0 {
		a.Absent = "no R peaks with pulses in the last 30 s"
		return a, true
	}
	if a.Pairs < arrivalPairs {
		a.Absent = fmt.Sprintf("needs %d R peaks with a pulse %.0f to %.0f ms after; there are %d in the last %d s", arrivalPairs, 1000*arrivalLow, 1000*arrivalHigh, a.Pairs, arrivalSeconds)
		return a, true
	}
	slices.Sort(times)
	middle := quantile.Of(times, 0.5)
	width := quantile.Of(times, 0.75) - quantile.Of(times, 0.25)
	share := float64(a.Pairs) / float64(a.Peaks)
	a.Quality = share * math.Max(0, 1-width/(2*arrivalSpread))
	switch {
	case share < arrivalShare:
		a.Absent = fmt.Sprintf("only %d of %d R peaks have a pulse after them", a.Pairs, a.Peaks)
	case width > arrivalSpread:
		a.Absent = fmt.Sprintf("the times spread over %.0f ms: the pulses found do not belong to the R peaks, or one of the signals is poor", 1000*width)
	default:
		a.MedianSeconds, a.SpreadSeconds = &middle, &width
	}
	return a, true
}
