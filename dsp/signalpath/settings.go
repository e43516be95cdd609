package signalpath

import (
	"fmt"
	"math"

	"pulsewright/dsp/filter"
)

// Settings of the three stages. Frequencies in hertz.
type Settings struct {
	Drift  Drift  `json:"drift"`
	Hum    Hum    `json:"hum"`
	Smooth Smooth `json:"smooth"`
}

// Drift is a Butterworth high-pass that takes away offset and slow drift.
type Drift struct {
	On       bool    `json:"on"`
	CutoffHz float64 `json:"cutoffHz"`
	// Order is 1 to 8; 0 stands for 1.
	Order int `json:"order"`
}

// Hum takes away the mains.
type Hum struct {
	// Mode is off (or empty), notch or cancel.
	Mode string `json:"mode"`
	// FreqHz is the mains frequency, 0 to have 50 or 60 Hz found.
	FreqHz float64 `json:"freqHz"`
	// BandwidthHz is the width of each notch between its −3 dB points; 0 stands
	// for 5. A narrow one removes less beside the heartbeat but rings longer after
	// each beat, with time constant 1/(π BandwidthHz).
	BandwidthHz float64 `json:"bandwidthHz"`
	// Harmonics is how many multiples, 1 for the fundamental alone; 0 stands for 1.
	// Those at or above half the rate are left out.
	Harmonics int `json:"harmonics"`
}

// Smooth is a low-pass.
type Smooth struct {
	// Shape is off (or empty), rc or butterworth.
	Shape    string  `json:"shape"`
	CutoffHz float64 `json:"cutoffHz"`
	// Order of a butterworth is 1 to 8, 0 stands for 2; an rc is always of order 1.
	Order int `json:"order"`
}

// Modes of Hum and shapes of Smooth.
const (
	Off         = "off"
	Notch       = "notch"
	Cancel      = "cancel"
	RC          = "rc"
	Butterworth = "butterworth"
)

// Preset is a start for a kind of signal, valid at any rate from 25 to 192000 Hz.
//
//   - pulse: high-pass 0.3 Hz order 1 (a touch is over, to 1 %, in 2.4 s; a pulse of
//     72 beats a minute loses 8 % of its height), notch, low-pass 15 Hz order 2: a
//     pulse has harmonics to 10 to 15 Hz.
//   - ecg: high-pass 0.5 Hz order 1 (for watching: ST segments are bent by it),
//     notch with three harmonics, low-pass 40 Hz order 2 (a QRS keeps its height
//     within 3 %): its energy lies in 5 to 25 Hz.
//   - other, and any other word: everything off, the settings of pulse ready.
//
// At rates too low for a cutoff it is 0.4 times the rate.
func Preset(kind string, rateHz float64) Settings {
	s := Settings{
		Drift:  Drift{On: true, CutoffHz: 0.3, Order: 1},
		Hum:    Hum{Mode: Notch, BandwidthHz: 5, Harmonics: 1},
		Smooth: Smooth{Shape: Butterworth, CutoffHz: 15, Order: 2},
	}
	switch kind {
	case "pulse":
	case "ecg":
		s.Drift.CutoffHz = 0.5
		s.Hum.Harmonics = 3
		s.Smooth.CutoffHz = 40
	default:
		s.Drift.On = false
		s.Hum.Mode = Off
		s.Smooth.Shape = Off
	}
	s.Smooth.CutoffHz = math.Min(s.Smooth.CutoffHz, 0.4*rateHz)
	return s
}

// complete fills in what zero stands for.
func (s Settings) complete() Settings {
	if s.Drift.Order == 0 {
		s.Drift.Order = 1
	}
	if s.Hum.Mode == "" {
		s.Hum.Mode = Off
	}
	if s.Hum.BandwidthHz == 0 {
		s.Hum.BandwidthHz = 5
	}
	if s.Hum.Harmonics == 0 {
		s.Hum.Harmonics = 1
	}
	if s.Smooth.Shape == "" {
		s.Smooth.Shape = Off
	}
	if s.Smooth.Shape == RC {
		s.Smooth.Order = 1
	}
	if s.Smooth.Order == 0 {
		s.Smooth.Order = 2
	}
	return s
}

func (d Drift) sections(rateHz float64) (filter.Sections, error) {
	if !d.On {
		return nil, nil
	}
	s, err := filter.ButterworthHighPass(rateHz, d.CutoffHz, d.Order)
	if err != nil {
		return nil, fmt.Errorf("signal path: drift: %w", err)
	}
	return s, nil
}

// sections of the notches at freqHz; none when freqHz is not below half the rate.
func (h Hum) sections(rateHz, freqHz float64) (filter.Sections, error) {
	if h.Mode != Notch {
		return nil, nil
	}
	if freqHz >= rateHz/2 {
		// Validate the bandwidth all the same, with a notch in the middle of the band.
		_, err := filter.Notch(rateHz, rateHz/4, h.BandwidthHz, h.Harmonics)
		if err != nil {
			err = fmt.Errorf("signal path: hum: %w", err)
		}
		return nil, err
	}
	s, err := filter.Notch(rateHz, freqHz, h.BandwidthHz, h.Harmonics)
	if err != nil {
		return nil, fmt.Errorf("signal path: hum: %w", err)
	}
	return s, nil
}

func (s Smooth) sections(rateHz float64) (filter.Sections, error) {
	var sections filter.Sections
	var err error
	switch s.Shape {
	case Off:
	case RC:
		sections, err = filter.RCLowPass(rateHz, s.CutoffHz)
	case Butterworth:
		sections, err = filter.ButterworthLowPass(rateHz, s.CutoffHz, s.Order)
	default:
		return nil, fmt.Errorf("signal path: smooth: shape %q; must be %s, %s or %s", s.Shape, Off, RC, Butterworth)
	}
	if err != nil {
		return nil, fmt.Errorf("signal path: smooth: %w", err)
	}
	return sections, nil
}

func (h Hum) check() error {
	switch h.Mode {
	case Off, Notch, Cancel:
	default:
		return fmt.Errorf("signal path: hum: mode %q; must be %s, %s or %s", h.Mode, Off, Notch, Cancel)
	}
	if h.Mode != Off && h.FreqHz != 0 && !(h.FreqHz >= 10 && h.FreqHz <= 1000) {
		return fmt.Errorf("signal path: hum: frequency %g Hz; must be 10 to 1000 Hz, or 0 to have 50 or 60 Hz found", h.FreqHz)
	}
	return nil
}

// checkNumbers refuses what JSON and the page could not show again, also in a
// stage that is off.
func (s Settings) checkNumbers() error {
	for _, n := range []struct {
		name  string
		value float64
	}{
		{"drift: cutoff", s.Drift.CutoffHz},
		{"hum: frequency", s.Hum.FreqHz},
		{"hum: bandwidth", s.Hum.BandwidthHz},
		{"smooth: cutoff", s.Smooth.CutoffHz},
	} {
		if math.IsNaN(n.value) || math.IsInf(n.value, 0) || n.value < 0 {
			return fmt.Errorf("signal path: %s %g Hz; must be a number, 0 or above", n.name, n.value)
		}
	}
	return nil
}
