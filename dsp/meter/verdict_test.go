package meter

import (
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strings"
	"testing"
)

// The limits as the constants' comment says them: hum of 1 and 5 % of the pulse peak to peak,
// 30 and 8 % of the supply, and so on. Boards on either side of each limit.
func TestGrades(t *testing.T) {
	for _, c := range []struct {
		topic, grade string
		change       func(*board)
	}{
		{"hum", good, func(b *board) { b.hum = 0.006 }}, // 2√2·6 mV·1.05 = 0.9 % of 2 V
		{"hum", fair, func(b *board) { b.hum = 0.008 }},
		{"hum", fair, func(b *board) { b.hum = 0.030 }},
		{"hum", poor, func(b *board) { b.hum = 0.040 }},
		{"hum", good, func(b *board) { b.hum = 0 }},
		{"swing", good, func(b *board) { b.height = 1.6 }},
		{"swing", fair, func(b *board) { b.height = 1.4 }},
		{"swing", fair, func(b *board) { b.height = 0.43 }},
		{"swing", poor, func(b *board) { b.height = 0.37 }},
		{"noise", good, func(b *board) { b.noise = 1.5e-3 }}, // 6.6·1.5 mV·√15 = 38 mV, 1.9 % of 2 V
		{"noise", fair, func(b *board) { b.noise = 4e-3 }},
		{"noise", poor, func(b *board) { b.noise = 15e-3 }},
		{"drift", good, func(b *board) { b.drift = 3 }}, // 0.3 V in 6 s
		{"drift", fair, func(b *board) { b.height, b.drift = 0.3, 3 }},
		{"drift", poor, func(b *board) { b.height, b.drift = 0.1, 4 }},
		{"settling", good, func(b *board) { b.height, b.touchAt, b.touch, b.tau = 0.05, 3, 2, 0.2 }},
		{"settling", fair, func(b *board) { b.height, b.touchAt, b.touch, b.tau = 0.05, 3, 2, 0.6 }},
		{"settling", poor, func(b *board) { b.height, b.touchAt, b.touch, b.tau = 0.02, 2, 2, 1.4 }},
		{"settling", noAnswer, func(b *board) {}},
		{"polarity", good, func(b *board) {}},
		{"polarity", fair, func(b *board) { b.inverted = true }},
		{"clipping", good, func(b *board) {}},
		{"clipping", poor, func(b *board) { b.ampHigh = 3 }},
	} {
		b := plain()
		c.change(&b)
		r := b.report(t, 11)
		v := verdict(r, c.topic)
		if v.Grade != c.grade || v.Text == "" || (v.Remedy == "") != (v.Grade == good) && v.Grade != noAnswer {
			t.Errorf("%+v: want %s, %+v", b, c.grade, v)
		}
	}
}

func TestHumAgainstPulse(t *testing.T) {
	b := plain()
	r := b.report(t, 1)
	// Peak to peak of the rms over the height, by the definition in Hum.
	want := 20 * math.Log10(2*math.Sqrt2*0.005*math.Sqrt(1.1)/2)
	if !r.Hum.ToPulseKnown || math.Abs(r.Hum.ToPulseDB-want) > 0.2 {
		t.Errorf("%v dB, want %v", r.Hum.ToPulseDB, want)
	}
}

// A converter that is coarser than the board's noise is named as the limit, with the
// noise of LSB/√12 that rounding adds (10 bit, 5 V: 4.89 mV steps, 1.41 mV).
func TestConverterLimited(t *testing.T) {
	b := plain()
	b.bits, b.noise = 10, 2e-6
	n := b.report(t, 1).Noise
	if want := 5.0 / 1023 / math.Sqrt(12) / math.Sqrt(500); math.Abs(n.LimitVoltsPerRootHz/want-1) > 1e-9 || !n.ConverterLimited {
		t.Errorf("%+v, want a limit of %v", n, want)
	}
	b.noise = 300e-6
	if n := b.report(t, 1).Noise; n.ConverterLimited || n.RMSInSteps < 1.2 || n.RMSInSteps > 1.55 {
		t.Errorf("300 µV/√Hz over 500 Hz is 6.7 mV, 1.4 steps with rounding: %+v", n)
	}
}

// A resting level at the bottom is not a flat bottom; sharp R waves do not count as noise.
func TestSpikesOnAFlatLine(t *testing.T) {
	for _, still := range []bool{true, false} {
		spikes(t, still)
	}
}

func spikes(t *testing.T, still bool) {
	b := plain()
	x, _, cfg := b.run(1)
	cfg.Kind = "ecg"
	r := rand.New(rand.NewPCG(1, 1))
	noise := make([]float64, len(x))
	for i := range noise {
		if !still {
			noise[i] = 0.5e-3 * r.NormFloat64()
		}
	}
	for i := range x {
		x[i] = 1 + noise[i]
		for k := -1; k <= 1; k++ { // R waves alone, standard deviation 4 ms, every 0.8 s
			d := (float64(i)/1000 - 0.8*(math.Floor(float64(i)/800)+0.5+float64(k))) / 0.004
			x[i] += 2 * math.Exp(-d*d/2)
		}
		x[i] = math.Round(x[i]/cfg.VoltsPerCount) * cfg.VoltsPerCount
	}
	rep, err := Whole(cfg, x, nil)
	if err != nil {
		t.Fatal(err)
	}
	if rep.Clipping.FlatLowShare != 0 || rep.Clipping.FlatHighShare != 0 {
		t.Errorf("clipping %+v", rep.Clipping)
	}
	if !(rep.Noise.VoltsPerRootHz < 50e-6) { // the waves' own density at 80 Hz is above 1 mV/√Hz
		t.Errorf("noise %+v", rep.Noise)
	}
	// And a triangle has no flat top: bands of equal time.
	for i := range x {
		x[i] = 1 + math.Abs(math.Mod(float64(i), 800)-400)/200
	}
	cfg.VoltsPerCount = 0
	if rep, err = Whole(cfg, x, nil); err != nil || rep.Clipping.FlatHighShare+rep.Clipping.FlatLowShare != 0 {
		t.Errorf("triangle: %+v, %v", rep.Clipping, err)
	}
}

// A recording with hum in 70 % of its windows has hum; with hum in a fifth it has not.
func TestWholeHum(t *testing.T) {
	for _, c := range []struct {
		share float64
		found bool
	}{{0.7, true}, {0.2, false}} {
		b := plain()
		b.seconds = 40
		x, beats, cfg := b.run(1)
		b.hum = 0
		quiet, _, _ := b.run(1)
		n := int(c.share * float64(len(x)))
		// Hum at the beginning, and in the last two seconds for the second case.
		if c.found {
			copy(x[n:], quiet[n:])
		} else {
			copy(x[:len(x)-n], quiet)
		}
		r, err := Whole(cfg, x, beats)
		if err != nil {
			t.Fatal(err)
		}
		if r.Hum.Found != c.found || !r.Hum.Known || c.found && math.Abs(r.Hum.VoltsRMS/(0.005*math.Sqrt(1.1))-1) > 0.02 {
			t.Errorf("hum in %v of the time: %+v", c.share, r.Hum)
		}
		if !c.found && !strings.Contains(r.Hum.Reason, "no hum found") {
			t.Errorf("reason %q", r.Hum.Reason)
		}
	}
}

// An input that hangs in the air, hum alone, is never told to have its gain raised, at any
// strength.
func TestFloatingInputKeepsItsGain(t *testing.T) {
	for _, volts := range []float64{0.003, 0.03, 0.3, 1.2} {
		cfg := Unknown(250)
		cfg.Kind, cfg.SupplyLow, cfg.SupplyHigh, cfg.ConverterLow, cfg.ConverterHigh, cfg.VoltsPerCount = "pulse", 0, 5, 0, 5, 5.0/1024
		m, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(7, 7))
		x := make([]float64, 250*20)
		for i := range x {
			x[i] = 1.8 + volts*math.Sin(2*math.Pi*50.02*float64(i)/250) + 0.002*r.NormFloat64()
		}
		m.Process(x)
		for _, v := range m.Report().Verdicts {
			if strings.Contains(strings.ToLower(v.Remedy), "raise the gain") {
				t.Errorf("%g V of hum: %+v", volts, v)
			}
		}
	}
}

// TestEveryVerdictHasWords: each code that the judge uses has its words, and none has words that
// are never used.
func TestEveryVerdictHasWords(t *testing.T) {
	source, err := os.ReadFile("verdict.go")
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{"signal.short": true}
	for _, m := range regexp.MustCompile(`"((?:signal|clipping|swing|hum|noise|drift|settling|polarity)\.[a-z.]*)"`).FindAllStringSubmatch(string(source), -1) {
		used[m[1]] = true
	}
	for _, made := range []string{"clipping.converter.both", "clipping.converter.upper", "clipping.converter.lower"} {
		used[made] = true
	}
	delete(used, "clipping.converter.")
	delete(used, "swing.none.")
	used["swing.none.pulse"], used["swing.none.ecg"], used["swing.none.other"] = true, true, true
	for _, of := range []string{"swing.supply", "swing.converter"} {
		used[of+".full"], used[of+".steps"], used[of+".decimals"] = true, true, true
	}
	for _, of := range []string{"noise.found", "noise.steps", "noise.converter", "noise.decimals"} {
		used[of+".pulse.unknown"] = true
	}
	for code := range used {
		if words[code].text == "" {
			t.Errorf("%s has no words", code)
		}
	}
	for code := range words {
		if !used[code] {
			t.Errorf("the words of %s are not used", code)
		}
	}
}

// TestAPulseHasNoElectrodes: what is upside down as a pulse may be an ECG whose kind nobody chose; the advice asks for that
// first, and speaks of electrodes only where the kind is ECG.
func TestAPulseHasNoElectrodes(t *testing.T) {
	for kind, first := range map[string]string{"pulse": "If it is an ECG, set", "ecg": "Turn the signal"} {
		j := judge{cfg: Config{Kind: kind}, r: &Report{Polarity: Polarity{Known: true}}}
		j.polarity()
		if v := j.out[0]; v.Grade != fair || !strings.HasPrefix(v.Remedy, first) || strings.Contains(v.Remedy, "electrodes") != (kind == "ecg") {
			t.Errorf("%s: %+v", kind, v)
		}
	}
}
