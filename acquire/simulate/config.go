package simulate

import (
	"fmt"
	"math"

	"pulsewright/acquire"
)

// Config describes a simulated person, house and board. Zero means none: start
// from Finger, Chest or Both, which hold the defaults named below, and change
// what is wanted. Volts are at the converter's input with the amplifier's Gain
// at 1, unless said otherwise.
type Config struct {
	// RateHz is the rate of sampling, 25 to 192000; default 250.
	RateHz float64
	// Seed chooses all that is random; the same Config gives the same counts.
	// Each part draws from its own stream, so one parameter changed leaves the
	// other parts as they were. Default 1.
	Seed uint64

	// BPM is the heart rate from the start, 20 to 300 per minute; default 72.
	BPM float64
	// Rates are later heart rates, in order of time: the interval that begins
	// at or after a step has the new mean.
	Rates []RateStep
	// Variation is the standard deviation of the R–R interval as a share of its
	// mean, 0 to 0.2; default 0.04. Its spectrum has two Gaussians, at 0.1 Hz
	// and at the rate of breathing, with powers 1:2.
	Variation float64
	// BreathsPerMinute is 4 to 40; default 15, which is 0.25 Hz.
	BreathsPerMinute float64

	// MainsHz is the nominal frequency of the mains, 10 to 100; default 50.
	MainsHz float64
	// MainsWanderHz is the standard deviation of the mains' slow frequency
	// error, 0 to 1; default 0.02. It changes over about 20 s.
	MainsWanderHz float64
	// Harmonics are the amplitudes of the 2nd, 3rd … harmonic as shares of the
	// fundamental; default 0.03, 0.2, 0, 0.08, 0, 0.04.
	Harmonics []float64

	// MotionPerMinute is the mean number of movements, each of 0.5 to 3 s, in a
	// minute; default 0.5. MotionVolts of each channel says how large they are.
	MotionPerMinute float64
	// Off are the stretches without finger or electrodes.
	Off []Stretch

	// Bits of the converter, 6 to 24; default 10. It spans 0 to ReferenceVolts.
	Bits int
	// ReferenceVolts is the converter's full scale; default 5.
	ReferenceVolts float64
	// MidRailVolts is where the amplifier's output rests; default 2.5.
	MidRailVolts float64
	// RailLowVolts and RailHighVolts are the ends of the amplifier's output;
	// default 0.05 and 3.6, a general-purpose bipolar op amp on 5 V.
	RailLowVolts, RailHighVolts float64

	// KeepTruthSeconds bounds what Truth remembers; 0 keeps all.
	KeepTruthSeconds float64

	// Channels has at least one entry.
	Channels []Channel
}

// Channel is one sensor and its amplifier.
type Channel struct {
	Label string
	// Kind is acquire.KindPulse, acquire.KindECG, or acquire.KindOther for a
	// channel without beats.
	Kind string
	// SignalVolts is the height of a mean pulse from foot to peak (default 1),
	// or of the R peak over the baseline (default 0.9).
	SignalVolts float64
	// Invert turns the beats upside down.
	Invert bool
	// TransitSeconds is from the R peak to the start of the pulse, 0 to 1;
	// default 0.2. Not used for an ECG.
	TransitSeconds float64
	// BreathVolts is the amplitude of the baseline's swing with breathing;
	// default 0.04.
	BreathVolts float64
	// BreathDepth is by which share breathing changes the height of the beats, 0
	// to 0.9; default 0.1 for a pulse, 0.03 for an ECG.
	BreathDepth float64
	// DriftVolts is the standard deviation of the slow drift (0.005 to 0.1 Hz);
	// default 0.04.
	DriftVolts float64
	// HumVolts is the mains' fundamental in volts rms before the trimmer; default 0.12.
	HumVolts float64
	// FlickerVolts is the light at twice the mains frequency in volts rms before
	// the trimmer; default 0.02 for a pulse.
	FlickerVolts float64
	// MotionVolts is the largest excursion of a movement; default 0.8.
	MotionVolts float64
	// NoiseVolts is white noise in volts rms, added after the trimmer, so that
	// its density is NoiseVolts × √(2/RateHz) whatever the trimmer; default 0.006.
	NoiseVolts float64
	// TrimmerHz is the corner of the single-pole low-pass the trimmer sets, 0.1
	// Hz and up; 0 is none. Default 30.
	TrimmerHz float64
	// Gain multiplies all of the above just before the rails, 0 to 1000; default 1.
	Gain float64
	// OffsetVolts is an offset from the mid-rail, not multiplied by Gain.
	OffsetVolts float64
}

// RateStep is a change of heart rate.
type RateStep struct {
	AtSeconds float64
	BPM       float64
}

// Stretch is a part of time, in seconds since the start.
type Stretch struct{ FromSeconds, ToSeconds float64 }

func base() Config {
	return Config{
		RateHz: 250, Seed: 1, BPM: 72, Variation: 0.04, BreathsPerMinute: 15,
		MainsHz: 50, MainsWanderHz: 0.02, Harmonics: []float64{0.03, 0.2, 0, 0.08, 0, 0.04},
		MotionPerMinute: 0.5,
		Bits:            10, ReferenceVolts: 5, MidRailVolts: 2.5, RailLowVolts: 0.05, RailHighVolts: 3.6,
	}
}

func pulseChannel() Channel {
	return Channel{Label: "pulse", Kind: acquire.KindPulse, SignalVolts: 1, TransitSeconds: 0.2,
		BreathVolts: 0.04, BreathDepth: 0.1, DriftVolts: 0.04, HumVolts: 0.12, FlickerVolts: 0.02,
		MotionVolts: 0.8, NoiseVolts: 0.006, TrimmerHz: 30, Gain: 1}
}

func ecgChannel() Channel {
	return Channel{Label: "ecg", Kind: acquire.KindECG, SignalVolts: 0.9,
		BreathVolts: 0.04, BreathDepth: 0.03, DriftVolts: 0.04, HumVolts: 0.05,
		MotionVolts: 0.6, NoiseVolts: 0.006, TrimmerHz: 100, Gain: 1}
}

// Finger returns the defaults of a finger light sensor.
func Finger() Config {
	c := base()
	c.Channels = []Channel{pulseChannel()}
	return c
}

// Chest returns the defaults of a chest-lead amplifier; its hum is 0.05 V rms
// and its trimmer stands at 100 Hz, so that the QRS complex stays sharp.
func Chest() Config {
	c := base()
	c.Channels = []Channel{ecgChannel()}
	return c
}

// Both returns a chest lead and a finger sensor on the same heart.
func Both() Config {
	c := base()
	c.Channels = []Channel{ecgChannel(), pulseChannel()}
	return c
}

// Clean takes from c everything but the heart: no breathing, drift, hum,
// flicker, motion, noise or trimmer. What is left is exact to the converter's step.
func (c Config) Clean() Config {
	c.MotionPerMinute = 0
	c.MainsWanderHz = 0
	channels := make([]Channel, len(c.Channels))
	for i, ch := range c.Channels {
		channels[i] = Channel{Label: ch.Label, Kind: ch.Kind, SignalVolts: ch.SignalVolts, Invert: ch.Invert,
			TransitSeconds: ch.TransitSeconds, Gain: ch.Gain, OffsetVolts: ch.OffsetVolts}
	}
	c.Channels = channels
	return c
}

// field is a number of a Config or a Channel, with its range and the option of an address
// that sets it.
type field struct {
	name, option string
	x            *float64
	low, high    float64
	unit         string
}

func (c *Config) fields() []field {
	return []field{
		{"rate", "rate", &c.RateHz, 25, 192000, " Hz"},
		{"heart rate", "", &c.BPM, 20, 300, " per minute"},
		{"variation", "variation", &c.Variation, 0, 0.2, ""},
		{"breaths", "breath", &c.BreathsPerMinute, 4, 40, " per minute"},
		{"mains", "mains", &c.MainsHz, 10, 100, " Hz"},
		{"mains wander", "wander", &c.MainsWanderHz, 0, 1, " Hz"},
		{"movements", "motion", &c.MotionPerMinute, 0, 60, " per minute"},
		{"reference", "reference", &c.ReferenceVolts, 0.1, 100, " V"},
		{"mid-rail", "midrail", &c.MidRailVolts, 0, 100, " V"},
		{"lower rail", "low", &c.RailLowVolts, -100, 100, " V"},
		{"upper rail", "high", &c.RailHighVolts, -100, 100, " V"},
		{"seconds of truth kept", "", &c.KeepTruthSeconds, 0, math.MaxFloat64, " s"},
	}
}

// fields of a channel; the height of a pulse and of an ECG have options of their own.
func (ch *Channel) fields() []field {
	height, transit := "ecg", ""
	if ch.Kind == acquire.KindPulse {
		height, transit = "pulse", "transit"
	}
	return []field{
		{"signal", height, &ch.SignalVolts, 0, 100, " V"},
		{"transit", transit, &ch.TransitSeconds, 0, 1, " s"},
		{"breathing", "swing", &ch.BreathVolts, 0, 100, " V"},
		{"breathing depth", "depth", &ch.BreathDepth, 0, 0.9, ""},
		{"drift", "drift", &ch.DriftVolts, 0, 100, " V rms"},
		{"hum", "hum", &ch.HumVolts, 0, 100, " V rms"},
		{"flicker", "flicker", &ch.FlickerVolts, 0, 100, " V rms"},
		{"motion", "movement", &ch.MotionVolts, 0, 100, " V"},
		{"noise", "noise", &ch.NoiseVolts, 0, 100, " V rms"},
		{"trimmer", "trimmer", &ch.TrimmerHz, 0, 1e6, " Hz"},
		{"gain", "gain", &ch.Gain, 0, 1000, ""},
		{"offset", "offset", &ch.OffsetVolts, -100, 100, " V"},
	}
}

func inRange(prefix string, fields []field) error {
	for _, f := range fields {
		if !(*f.x >= f.low && *f.x <= f.high) {
			return fmt.Errorf("simulate: %s%s %g: give %g to %g%s", prefix, f.name, *f.x, f.low, f.high, f.unit)
		}
	}
	return nil
}

func (c Config) check() error {
	if err := inRange("", c.fields()); err != nil {
		return err
	}
	if c.Bits < 6 || c.Bits > 24 {
		return fmt.Errorf("simulate: bits %d: give 6 to 24", c.Bits)
	}
	if c.MidRailVolts > c.ReferenceVolts {
		return fmt.Errorf("simulate: mid-rail %g V: must not lie above the reference, %g V", c.MidRailVolts, c.ReferenceVolts)
	}
	if c.RailLowVolts >= c.RailHighVolts {
		return fmt.Errorf("simulate: lower rail %g V: must lie below the upper rail, %g V", c.RailLowVolts, c.RailHighVolts)
	}
	last := math.Inf(-1)
	for _, r := range c.Rates {
		if !(r.BPM >= 20 && r.BPM <= 300) {
			return fmt.Errorf("simulate: heart rate %g at %g s: give 20 to 300 per minute", r.BPM, r.AtSeconds)
		}
		if !(r.AtSeconds > last && r.AtSeconds >= 0) || math.IsInf(r.AtSeconds, 0) {
			return fmt.Errorf("simulate: heart rate step at %g s: give steps from 0 s on, in order of time", r.AtSeconds)
		}
		last = r.AtSeconds
	}
	last = 0
	for _, s := range c.Off {
		if !(s.FromSeconds >= last && s.ToSeconds > s.FromSeconds) {
			return fmt.Errorf("simulate: off from %g to %g s: give stretches from 0 s on, in order of time, that do not overlap", s.FromSeconds, s.ToSeconds)
		}
		last = s.ToSeconds
	}
	for i, h := range c.Harmonics {
		if !(h >= 0 && h <= 10) {
			return fmt.Errorf("simulate: harmonic %d at %g of the fundamental: give 0 to 10", i+2, h)
		}
	}
	if len(c.Harmonics) > 50 {
		return fmt.Errorf("simulate: %d harmonics: give at most 50", len(c.Harmonics))
	}
	if len(c.Channels) == 0 {
		return fmt.Errorf("simulate: no channel: give at least one, or start from Finger, Chest or Both")
	}
	for _, ch := range c.Channels {
		if ch.Label == "" {
			return fmt.Errorf("simulate: a channel without a label: name it")
		}
		switch ch.Kind {
		case acquire.KindPulse, acquire.KindECG, acquire.KindOther:
		default:
			return fmt.Errorf("simulate: channel %s: kind %q: give pulse, ecg or other", ch.Label, ch.Kind)
		}
		if err := inRange("channel "+ch.Label+": ", ch.fields()); err != nil {
			return err
		}
		if err := checkTrimmer(ch.TrimmerHz); err != nil {
			return err
		}
	}
	return nil
}

func checkTrimmer(hz float64) error {
	if hz != 0 && !(hz >= 0.1 && hz <= 1e6) {
		return fmt.Errorf("simulate: trimmer at %g Hz: give 0.1 to 1e+06 Hz, or 0 for none", hz)
	}
	return nil
}
