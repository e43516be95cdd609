package meter

import (
	"fmt"
	"math"

	parts "pulsewright/dsp/board"
	"pulsewright/dsp/spectrum"
)

const (
	gridLowHz, gridHighHz = 1.0, 200.0
	gridPerDecade         = 24
	defaultTargetDB       = humGoodDB
	leastPulseShare       = 0.7 // of the pulse's height a low-pass may cost no more
)

// AdviceConfig is what the advice is computed from.
type AdviceConfig struct {
	// Density of the signal as it is now, with bins of 1 Hz or finer.
	Density spectrum.Density
	Kind    string // "pulse" (band 0.5–15 Hz), "ecg" (0.5–40 Hz), others as pulse
	// PulseVolts is the heartbeat's height now.
	PulseVolts float64
	// HumFreqHz and HumVoltsRMS (fundamental first) are the hum now.
	HumFreqHz   float64
	HumVoltsRMS []float64
	TrimmerConfig
	ecg typical // an ECG's typical beat, when there is one
}

// TrimmerConfig is what the user says about the low-pass. Zeros are unknown.
type TrimmerConfig struct {
	// PresentOhms and PresentFarads are the low-pass whose resistor is to be changed:
	// it is divided out. Without them the low-pass is an additional one.
	PresentOhms, PresentFarads float64
	// CapacitorFarads is the capacitor to be used; PresentFarads when 0.
	CapacitorFarads float64
	// TrimmerOhms is the trimmer's whole value.
	TrimmerOhms float64
	// TargetDB is the hum wanted, peak to peak over the pulse; 0 takes −40 dB.
	TargetDB float64
}

// AdviceRow is what would be left with the low-pass at a corner.
type AdviceRow struct {
	CornerHz     float64 `json:"cornerHz"`
	HumVoltsRMS  float64 `json:"humVoltsRms"`
	PulseVolts   float64 `json:"pulseVolts"`
	PulseGain    float64 `json:"pulseGain"`    // height then over height now
	HumGainDB    float64 `json:"humGainDb"`    // hum then over hum now
	HumToPulseDB float64 `json:"humToPulseDb"` // peak to peak
}

// Advice says how to set a single-pole low-pass.
type Advice struct {
	Rows []AdviceRow `json:"rows"` // a logarithmic grid, 1 to 200 Hz
	// PresentHz is the corner that was divided out; 0 when the low-pass is additional.
	PresentHz float64 `json:"presentHz"`
	// Best is the highest corner that reaches the target; when none does at a pulse
	// of at least 0.7 of its height, the lowest corner that keeps it.
	Best    AdviceRow `json:"best"`
	Reached bool      `json:"reached"`
	// Low tells that hum is at the target or lower already.
	Low  bool   `json:"low"`
	Text string `json:"text"`
	// For the capacitor named: resistor, nearest E24 value with what it gives, and the
	// trimmer's position from 0 to 1 of TrimmerOhms (the one named, or a common value).
	CapacitorFarads float64   `json:"capacitorFarads"`
	ResistorOhms    float64   `json:"resistorOhms"`
	E24Ohms         float64   `json:"e24Ohms"`
	WithE24         AdviceRow `json:"withE24"`
	TrimmerOhms     float64   `json:"trimmerOhms"`
	TrimmerShare    float64   `json:"trimmerShare"`
	TrimmerReason   string    `json:"trimmerReason"` // why the trimmer cannot be set so
}

// CornerHz is the corner of a single pole, 1/(2πRC).
func CornerHz(ohms, farads float64) float64 { return 1 / (2 * math.Pi * ohms * farads) }

// power2 is the squared gain of a single-pole low-pass.
func power2(freqHz, cornerHz float64) float64 {
	r := freqHz / cornerHz
	return 1 / (1 + r*r)
}

// at predicts hum and pulse after the low-pass at a corner.
//
// Each hum line is scaled by the ratio of the new to the present squared gain at
// its frequency; the pulse by the root of the ratio of its band's power after to
// that before, noise and hum lines in the band left out. The band's power stands
// for the height: within a few per cent for a pulse at corners above 3 Hz.
//
// An ECG's narrow R peak is another matter: its typical beat goes through the changed
// response and is measured.
func (a *AdviceConfig) at(cornerHz, presentHz float64) AdviceRow {
	change := func(f float64) float64 {
		g := power2(f, cornerHz)
		if presentHz > 0 {
			g /= power2(f, presentHz)
		}
		return g
	}
	r := AdviceRow{CornerHz: cornerHz}
	var now, then float64
	for h, v := range a.HumVoltsRMS {
		now += v * v
		then += v * v * change(float64(h+1)*a.HumFreqHz)
	}
	r.HumVoltsRMS = math.Sqrt(then)
	r.HumGainDB = 10 * math.Log10(then/now)
	if a.ecg.beats > 0 {
		late := 1 / (2 * math.Pi * cornerHz)
		then := a.ecg.through(func(f float64) complex128 {
			g := 1 / complex(1, f/cornerHz)
			if presentHz > 0 {
				g *= complex(1, f/presentHz)
			}
			return g
		})
		now := a.ecg.through(func(float64) complex128 { return 1 })
		r.PulseGain = then.height(late) / now.height(0)
	} else {
		r.PulseGain = a.bandGain(change)
	}
	r.PulseVolts = a.PulseVolts * r.PulseGain
	r.HumToPulseDB = 20 * math.Log10(2*math.Sqrt2*r.HumVoltsRMS/r.PulseVolts)
	return r
}

// bandGain is the root of the band's power after a change of the squared gain over that before.
func (a *AdviceConfig) bandGain(change func(freqHz float64) float64) float64 {
	high := 15.0
	if a.Kind == "ecg" {
		high = 40
	}
	d := &a.Density
	var now, then float64
	for i, v := range d.V2PerHz {
		f := d.FreqHz(i)
		if f < 0.5 || f > high || a.HumFreqHz > 0 && math.Abs(f-a.HumFreqHz) < 3*d.BinHz {
			continue
		}
		now += v
		then += v * change(f)
	}
	return math.Sqrt(then / now)
}

// check tells what is wrong or not known; it fills in the target and gives the hum's power.
func (cfg *AdviceConfig) check() (hum float64, err error) {
	for _, v := range []struct {
		name  string
		value float64
	}{{"present resistor", cfg.PresentOhms}, {"present capacitor", cfg.PresentFarads}, {"capacitor", cfg.CapacitorFarads}, {"trimmer", cfg.TrimmerOhms}} {
		if !(v.value >= 0) || math.IsInf(v.value, 0) {
			return 0, fmt.Errorf("meter: trimmer advice: %s of %v: it must be positive, or 0 when unknown", v.name, v.value)
		}
	}
	if (cfg.PresentOhms > 0) != (cfg.PresentFarads > 0) {
		return 0, fmt.Errorf("meter: trimmer advice: present low-pass of %v Ω and %v F: name both, or neither", cfg.PresentOhms, cfg.PresentFarads)
	}
	if cfg.TargetDB == 0 {
		cfg.TargetDB = defaultTargetDB
	}
	if !(cfg.TargetDB < 0) || math.IsInf(cfg.TargetDB, 0) {
		return 0, fmt.Errorf("meter: trimmer advice: target of %v dB: it must be below 0", cfg.TargetDB)
	}
	if !(cfg.PulseVolts > 0) || math.IsInf(cfg.PulseVolts, 0) {
		return 0, fmt.Errorf("meter: trimmer advice: the pulse's height is not known yet; wait for heartbeats")
	}
	for _, v := range cfg.HumVoltsRMS {
		hum += v * v
	}
	if !(hum > 0) || !(cfg.HumFreqHz > 0) {
		return 0, fmt.Errorf("meter: trimmer advice: no hum was found, so there is none to take away")
	}
	if cfg.Density.Averages == 0 || cfg.Density.BinHz > 1.001 || cfg.Density.RateHz < 60 {
		return 0, fmt.Errorf("meter: trimmer advice: it needs a spectrum with bins of 1 Hz or finer from 60 Hz sampling or more; wait, or sample faster")
	}
	return hum, nil
}

// Advise predicts hum and pulse for each corner and says what to set. It is an
// error when hum or pulse are unknown or a part's value makes no sense.
func Advise(cfg AdviceConfig) (Advice, error) {
	hum, err := cfg.check()
	if err != nil {
		return Advice{}, err
	}
	a := Advice{CapacitorFarads: cfg.CapacitorFarads}
	if cfg.PresentOhms > 0 {
		a.PresentHz = CornerHz(cfg.PresentOhms, cfg.PresentFarads)
		if a.CapacitorFarads == 0 {
			a.CapacitorFarads = cfg.PresentFarads
		}
	}
	n := int(math.Ceil(gridPerDecade * math.Log10(gridHighHz/gridLowHz)))
	for i := 0; i <= n; i++ {
		f := gridLowHz * math.Pow(gridHighHz/gridLowHz, float64(i)/float64(n))
		a.Rows = append(a.Rows, cfg.at(f, a.PresentHz))
	}
	// Hum over pulse falls with the corner as long as the pulse's band lies below the
	// hum; between two rows the corner is found by halving.
	lowest := -1 // first row that keeps the pulse
	best := -1
	for i, r := range a.Rows {
		if r.PulseGain >= leastPulseShare {
			if lowest < 0 {
				lowest = i
			}
			if r.HumToPulseDB <= cfg.TargetDB {
				best = i
			}
		}
	}
	nowDB := 20 * math.Log10(2*math.Sqrt2*math.Sqrt(hum)/cfg.PulseVolts)
	switch {
	case best >= 0:
		a.Reached, a.Best = true, a.Rows[best]
		if best+1 < len(a.Rows) {
			lo, hi := a.Rows[best].CornerHz, a.Rows[best+1].CornerHz
			for range 40 {
				f := math.Sqrt(lo * hi)
				if r := cfg.at(f, a.PresentHz); r.HumToPulseDB <= cfg.TargetDB {
					lo, a.Best = f, r
				} else {
					hi = f
				}
			}
		}
		a.Text = fmt.Sprintf("With the corner at %.3g Hz hum falls to %.0f dB of the pulse, which keeps %.0f %% of its height.", a.Best.CornerHz, a.Best.HumToPulseDB, 100*a.Best.PulseGain)
		if a.Low = nowDB <= cfg.TargetDB; a.Low {
			a.Text = fmt.Sprintf("Hum is already at %.0f dB of the pulse: nothing need be changed. The corner may be as high as %.3g Hz.", nowDB, a.Best.CornerHz)
		}
	case lowest >= 0:
		a.Best = a.Rows[lowest]
		a.Text = fmt.Sprintf("One pole alone cannot bring hum to %.0f dB: at %.3g Hz it is %.0f dB and the pulse keeps %.0f %%. Lower the hum at its source, or add a second stage.", cfg.TargetDB, a.Best.CornerHz, a.Best.HumToPulseDB, 100*a.Best.PulseGain)
	default:
		a.Best = a.Rows[len(a.Rows)-1]
		a.Text = "Every corner up to 200 Hz costs too much of the pulse: leave the low-pass as it is and lower the hum at its source."
	}
	if a.CapacitorFarads > 0 {
		a.choose(&cfg)
	}
	return a, nil
}

// choose finds the parts for the best corner with the capacitor.
func (a *Advice) choose(cfg *AdviceConfig) {
	a.ResistorOhms = 1 / (2 * math.Pi * a.Best.CornerHz * a.CapacitorFarads)
	a.E24Ohms = parts.Nearest(a.ResistorOhms, 24)
	a.WithE24 = cfg.at(CornerHz(a.E24Ohms, a.CapacitorFarads), a.PresentHz)
	a.TrimmerOhms = cfg.TrimmerOhms
	if a.TrimmerOhms == 0 { // the smallest common one with a fifth to spare
		decade := math.Pow(10, math.Floor(math.Log10(a.ResistorOhms)))
		for _, k := range []float64{1, 2, 5, 10, 20} {
			if k*decade*0.8 >= a.ResistorOhms {
				a.TrimmerOhms = k * decade
				break
			}
		}
	}
	a.TrimmerShare = a.ResistorOhms / a.TrimmerOhms
	if a.TrimmerShare > 1 {
		a.TrimmerReason = fmt.Sprintf("the trimmer of %s is too small for %s: take a larger one or a larger capacitor", ohms(a.TrimmerOhms), ohms(a.ResistorOhms))
		a.TrimmerShare = 1
	}
}

func ohms(v float64) string {
	switch {
	case v < 1e3:
		return fmt.Sprintf("%.3g Ω", v)
	case v < 1e6:
		return fmt.Sprintf("%.3g kΩ", v/1e3)
	}
	return fmt.Sprintf("%.3g MΩ", v/1e6)
}

// Trimmer advises from the meter's present window, which should hold four seconds
// or more.
func (m *Meter) Trimmer(t TrimmerConfig) (Advice, error) {
	r := m.Report()
	return adviseFrom(m.cfg, m.window(), &r, t)
}

func adviseFrom(cfg Config, x []float64, r *Report, t TrimmerConfig) (Advice, error) {
	d, err := spectrum.Of(spectrum.Config{RateHz: cfg.RateHz, SegmentSamples: int(2 * cfg.RateHz)}, x)
	if err != nil {
		return Advice{}, fmt.Errorf("meter: trimmer advice: %.2g s of signal are too few; wait", r.Seconds)
	}
	if !r.Pulse.Known {
		return Advice{}, fmt.Errorf("meter: trimmer advice: the pulse's height is not known: %s", r.Pulse.Reason)
	}
	if !r.Hum.Found {
		return Advice{}, fmt.Errorf("meter: trimmer advice: %s", r.Hum.Reason)
	}
	return Advise(AdviceConfig{Density: d, Kind: cfg.Kind, PulseVolts: r.Pulse.HeightVolts, HumFreqHz: r.Hum.FreqHz, HumVoltsRMS: r.Hum.HarmonicsVoltsRMS, TrimmerConfig: t, ecg: r.Pulse.ecg})
}
