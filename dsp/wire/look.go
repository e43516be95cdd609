// Package wire finds what is wrong between a sensor and the converter: from the
// signal alone, and by asking for one action at a time and looking what it changes.
//
// Values are in one unit, volts or counts; times in seconds. The limits are our own,
// chosen on simulated signals of each fault (the tests); none of them is a standard's.
// Nothing here is safe for concurrent use, nothing does I/O.
package wire

import (
	"fmt"
	"math"
	"slices"

	"pulsewright/dsp/spectrum"
)

// Config says what is known of the channel. What is not known is NaN or 0.
type Config struct {
	RateHz float64
	// Low and High are the converter's ends; both NaN or both 0 when unknown.
	Low, High float64
	// SupplyLow and SupplyHigh are the board's rails; NaN, or both 0, when unknown.
	SupplyLow, SupplyHigh float64
	// Step is one count, 0 when unknown.
	Step float64
	// Kind is "pulse", "ecg" or another word.
	Kind string
	// NoPulse says that the meters find no heartbeat in the signal (meter.Pulse.None).
	NoPulse bool
}

// Seconds is how long a look should be, MinSeconds how long it must be.
const (
	Seconds    = 3.0
	MinSeconds = 1.5
)

// Look is what a stretch of signal looks like. All numbers are finite.
type Look struct {
	Seconds float64 `json:"seconds"`
	Mean    float64 `json:"mean"`
	Low     float64 `json:"low"`  // a hundredth of the values lie below it
	High    float64 `json:"high"` // and above it
	// AtLow and AtHigh are the shares of values at the converter's ends, FlatLow and
	// FlatHigh those within a hundredth of the swing of the lowest and highest value.
	AtLow    float64 `json:"atLow"`
	AtHigh   float64 `json:"atHigh"`
	FlatLow  float64 `json:"flatLow"`
	FlatHigh float64 `json:"flatHigh"`
	// MainsHz is 50 or 60; 0 where the rate is too low to tell. HumRMS is the mains with
	// its harmonics up to the fourth, FirstRMS and SecondRMS two of them.
	MainsHz   float64 `json:"mainsHz"`
	HumRMS    float64 `json:"humRms"`
	FirstRMS  float64 `json:"firstRms"`
	SecondRMS float64 `json:"secondRms"`
	// RMS is all that moves above 0.5 Hz, HeartRMS what moves between 0.5 and 8 Hz.
	RMS      float64 `json:"rms"`
	HeartRMS float64 `json:"heartRms"`
}

// Swing is from Low to High.
func (l Look) Swing() float64 { return l.High - l.Low }

// HumShare is the hum's share of the power of all that moves, 0 to 1.
func (l Look) HumShare() float64 {
	if l.RMS == 0 {
		return 0
	}
	return l.HumRMS * l.HumRMS / (l.RMS * l.RMS)
}

// LookAt looks at a stretch without gaps, MinSeconds at least, of finite values.
func LookAt(cfg Config, x []float64) (Look, error) {
	if !(cfg.RateHz > 0) || float64(len(x)) < MinSeconds*cfg.RateHz || len(x) < 16 {
		return Look{}, fmt.Errorf("wire: %d samples at %g Hz; %g s without a gap are needed: wait", len(x), cfg.RateHz, MinSeconds)
	}
	d, err := spectrum.Of(spectrum.Config{RateHz: cfg.RateHz, SegmentSamples: int(min(float64(len(x)), math.Round(cfg.RateHz))), Detrend: spectrum.Linear}, x)
	if err != nil {
		return Look{}, fmt.Errorf("wire: %w", err)
	}
	l := Look{Seconds: float64(len(x)) / cfg.RateHz}
	sorted := slices.Sorted(slices.Values(x))
	n := len(sorted)
	l.Low, l.High = sorted[n/100], sorted[n-1-n/100]
	for _, v := range x {
		l.Mean += v / float64(n)
	}
	edge := max(cfg.Step/2, (sorted[n-1]-sorted[0])/100)
	for _, v := range x {
		l.FlatLow += share(v <= sorted[0]+edge, n)
		l.FlatHigh += share(v >= sorted[n-1]-edge, n)
		if cfg.ends() {
			l.AtLow += share(v <= cfg.Low+cfg.Step/2, n)
			l.AtHigh += share(v >= cfg.High-cfg.Step/2, n)
		}
	}
	l.RMS = math.Sqrt(d.BandPower(0.5, cfg.RateHz/2))
	l.HeartRMS = math.Sqrt(d.BandPower(0.5, min(8, cfg.RateHz/2)))
	l.hum(cfg.RateHz, &d)
	return l, nil
}

// hum measures the mains in a density with bins of 1 Hz.
func (l *Look) hum(rateHz float64, d *spectrum.Density) {
	const aside = 2.5 // hertz: a Hann window's main lobe of one second, and the mains' drift
	best := 0.0
	for _, f := range []float64{50, 60} {
		if f+aside > rateHz/2 {
			continue
		}
		var sum, first, second float64
		for k := 1.0; k <= 4 && k*f+aside <= rateHz/2; k++ {
			p := d.BandPower(k*f-aside, k*f+aside)
			sum += p
			switch k {
			case 1:
				first = p
			case 2:
				second = p
			}
		}
		if sum > best || l.MainsHz == 0 {
			best, l.MainsHz = sum, f
			l.HumRMS, l.FirstRMS, l.SecondRMS = math.Sqrt(sum), math.Sqrt(first), math.Sqrt(second)
		}
	}
}

func share(yes bool, of int) float64 {
	if yes {
		return 1 / float64(of)
	}
	return 0
}

// ends tells whether the converter's ends are known.
func (c Config) ends() bool { return c.High > c.Low }

// span is the range against which levels are weighed: the converter's, the supply's,
// or 0.
func (c Config) span() (low, width float64) {
	switch {
	case c.ends():
		return c.Low, c.High - c.Low
	case c.SupplyHigh > c.SupplyLow:
		return c.SupplyLow, c.SupplyHigh - c.SupplyLow
	}
	return 0, 0
}
