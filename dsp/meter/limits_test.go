package meter

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/spectrum"
)

// Each limit from both sides, by closed forms and the definitions in Report.

func whole(t *testing.T, cfg Config, x []float64, beats []beat.Beat) Report {
	t.Helper()
	r, err := Whole(cfg, x, beats)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestStuck: movement of two steps of the converter is none, of three it is.
func TestStuck(t *testing.T) {
	for steps, stuck := range map[int]bool{0: true, 1: true, 2: true, 3: false} {
		cfg := Unknown(250)
		cfg.VoltsPerCount = 0.005
		x := make([]float64, 2500)
		for i := range x {
			x[i] = 2.5 + 0.005*float64(i/25%(steps+1))
		}
		if r := whole(t, cfg, x, nil); r.Level.Stuck != stuck {
			t.Errorf("%d steps: stuck is %v", steps, r.Level.Stuck)
		}
	}
}

// TestDriftOfARamp: a straight line of 10 mV a second is 0.6 V a minute, whatever the
// window it is smoothed with, and moves by 10 mV for each second that the window goes on.
func TestDriftOfARamp(t *testing.T) {
	x := make([]float64, 12*250)
	for i := range x {
		x[i] = 0.01 * float64(i) / 250
	}
	d := whole(t, Unknown(250), x, nil).Drift
	if !d.Known || math.Abs(d.VoltsPerMinute-0.6) > 1e-9 || math.Abs(d.SwingVolts-0.08) > 0.003 {
		t.Errorf("%+v, want 0.6 V a minute and 12 s less the window's 4 s of 10 mV", d)
	}
}

// TestECGPolarityNeedsThreeQuarters of the beats.
func TestECGPolarityNeedsThreeQuarters(t *testing.T) {
	x := make([]float64, 12*250)
	for i := range x {
		x[i] = math.Sin(float64(i) / 40)
	}
	for _, c := range []struct {
		up, down       int
		known, upright bool
	}{{8, 0, true, true}, {6, 2, true, true}, {5, 3, false, false}, {3, 5, false, false}, {2, 6, true, false}, {0, 8, true, false}, {2, 0, false, false}} {
		var beats []beat.Beat
		for i := range c.up + c.down {
			b := beat.Beat{Sample: int64(200 + 250*i), Foot: int64(200 + 250*i), Kind: beat.ECG, Amplitude: 1}
			if i >= c.up {
				b.Amplitude = -1
			}
			beats = append(beats, b)
		}
		cfg := Unknown(250)
		cfg.Kind = "ecg"
		if p := whole(t, cfg, x, beats).Polarity; p.Known != c.known || p.Upright != c.upright || p.Known == (p.Reason != "") {
			t.Errorf("%d up and %d down: %+v", c.up, c.down, p)
		}
	}
}

// TestConverterLimitedFromBothSides: white noise of so many times LSB/√12 is limited by
// the converter below 1.5 times.
func TestConverterLimitedFromBothSides(t *testing.T) {
	for times, limited := range map[float64]bool{1.3: true, 1.8: false} {
		cfg := Unknown(1000)
		cfg.VoltsPerCount = 0.001
		noise := rand.New(rand.NewPCG(1, 2))
		x := make([]float64, 30_000)
		for i := range x {
			x[i] = times * 0.001 / math.Sqrt(12) * noise.NormFloat64()
		}
		if n := whole(t, cfg, x, nil).Noise; n.ConverterLimited != limited || math.Abs(n.VoltsPerRootHz/n.LimitVoltsPerRootHz/times-1) > 0.1 {
			t.Errorf("%g times the limit: %+v", times, n)
		}
		cfg.Printed = true // the step is a decimal's
		r := whole(t, cfg, x, nil)
		if n := r.Noise; n.DecimalsLimited != limited || n.ConverterLimited || n.ConverterKnown || n.LimitVoltsPerRootHz != 0 || n.ConverterReason != whyPrinted {
			t.Errorf("%g times the rounding of decimals: %+v", times, n)
		}
		if v := verdict(r, "noise"); strings.Contains(v.Text, "converter") || strings.Contains(v.Text, "decimal") != limited {
			t.Errorf("%g times the rounding of decimals: %q", times, v.Text)
		}
	}
}

// TestSwingVerdict: a pulse that leaves no room in the supply, and one of few steps of
// the converter, are no good ones.
func TestSwingVerdict(t *testing.T) {
	for _, c := range []struct {
		height, step float64 // of a supply of 5 V
		grade, says  string
	}{
		{4.7, 0, good, "94 %"}, {4.8, 0, fair, "96 %"},
		{2, 2.0 / 21, good, ""}, {2, 2.0 / 19, poor, "19 converter steps"}, {2, 2.0 / 11, poor, "11 converter steps"},
	} {
		cfg := Unknown(250)
		cfg.Unit, cfg.SupplyLow, cfg.SupplyHigh, cfg.VoltsPerCount = "V", 0, 5, c.step
		r := Report{Unit: "V", Level: Level{Known: true}, Clipping: Clipping{Known: true}, Pulse: Pulse{Known: true, HeightVolts: c.height}}
		r.Verdicts = verdicts(cfg, &r)
		v := verdict(r, "swing")
		if v.Grade != c.grade || !strings.Contains(v.Text, c.says) || c.height > 4.75 && !strings.Contains(v.Remedy, "Lower the gain") {
			t.Errorf("%g V of 5 V, steps of %g V: %+v", c.height, c.step, v)
		}
		cfg.Printed = true
		r.Verdicts = verdicts(cfg, &r)
		if p := verdict(r, "swing"); p.Grade != c.grade || strings.Contains(p.Text, "last decimal") != strings.Contains(c.says, "steps") || strings.Contains(p.Text, "converter steps") {
			t.Errorf("%g V of 5 V, printed in steps of %g V: %+v", c.height, c.step, p)
		}
	}
}

// TestTrimmerHasAFifthToSpare: without a trimmer named, the smallest of 1, 2, 5 × 10ⁿ of
// which the resistor is 80 % at most.
func TestTrimmerHasAFifthToSpare(t *testing.T) {
	x := make([]float64, 4000)
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 2 * float64(i) / 500)
	}
	d, err := spectrum.Of(spectrum.Config{RateHz: 500, SegmentSamples: 1000}, x)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for k := range 40 {
		farads := 1e-7 * math.Pow(10, float64(k)/20)
		a, err := Advise(AdviceConfig{Density: d, Kind: "pulse", PulseVolts: 2, HumFreqHz: 50, HumVoltsRMS: []float64{0.1}, TrimmerConfig: TrimmerConfig{CapacitorFarads: farads}})
		if err != nil {
			t.Fatal(err)
		}
		first := fmt.Sprintf("%.0e", a.TrimmerOhms)[:1]
		smaller := map[string]float64{"1": 0.5, "2": 0.5, "5": 0.4}[first] * a.TrimmerOhms
		if smaller == 0 || a.ResistorOhms > 0.8*a.TrimmerOhms*(1+1e-12) || a.ResistorOhms <= 0.8*smaller || math.Abs(a.TrimmerShare-a.ResistorOhms/a.TrimmerOhms) > 1e-12 {
			t.Errorf("%g Ω wanted: a trimmer of %g Ω at %g", a.ResistorOhms, a.TrimmerOhms, a.TrimmerShare)
		}
		seen[first] = true
	}
	if len(seen) != 3 {
		t.Errorf("only %v seen", seen)
	}
}
