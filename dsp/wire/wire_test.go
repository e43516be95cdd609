package wire

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// bench is a simulated board: volts at a time, after an action, before the converter.
type bench struct {
	name string
	kind string
	want Fault
	asks []Action // that are asked on the way
	at   func(t float64, a Action) float64
}

func sine(t, hz, volts float64) float64 { return volts * math.Sin(2*math.Pi*hz*t) }

// beat is a pulse of 72 a minute, 0 to 1: a wave and its echo.
func beat(t float64) float64 {
	_, x := math.Modf(t * 1.2)
	return math.Exp(-math.Pow((x-0.25)/0.09, 2)) + 0.4*math.Exp(-math.Pow((x-0.55)/0.12, 2))
}

// spike is an ECG of 72 a minute: R of 1, S, and a T wave on a flat baseline.
func spike(t float64) float64 {
	_, x := math.Modf(t * 1.2)
	return math.Exp(-math.Pow((x-0.3)/0.012, 2)) - 0.2*math.Exp(-math.Pow((x-0.335)/0.012, 2)) + 0.25*math.Exp(-math.Pow((x-0.6)/0.06, 2))
}

func benches(mains float64) []bench {
	none := func(v float64) func(float64, Action) float64 { return func(float64, Action) float64 { return v } }
	loop := func(t, volts float64) float64 { return sine(t, mains, volts) + sine(t, 3*mains, volts/3) }
	return []bench{
		{"a finger on a good board", "pulse", Nothing, nil, func(t float64, _ Action) float64 { return 2.2 + beat(t) + sine(t, mains, 0.02) }},
		{"a finger with drift", "pulse", Nothing, nil, func(t float64, _ Action) float64 { return 2 + beat(t) + 0.3*math.Sin(t) }},
		{"a weak finger", "pulse", Nothing, nil, func(t float64, _ Action) float64 { return 2.4 + 0.05*beat(t) + sine(t, mains, 0.005) }},
		{"a chest lead", "ecg", Nothing, nil, func(t float64, _ Action) float64 { return 2.5 + spike(t) + sine(t, mains, 0.02) }},
		{"a chest lead with hum", "ecg", Nothing, nil, func(t float64, _ Action) float64 { return 2.5 + spike(t) + sine(t, mains, 0.1) }},
		{"an input in the air", "other", Floating, []Action{Touch}, func(t float64, a Action) float64 {
			if a == Touch {
				return 2.5 + sine(t, mains, 6)
			}
			return 1.8 + sine(t, mains, 0.7) + 0.2*math.Sin(t)
		}},
		{"a finger sensor's input in the air", "pulse", Floating, []Action{Touch}, func(t float64, a Action) float64 {
			if a == Touch {
				return 2.5 + sine(t, mains, 4)
			}
			return 2.2 + sine(t, mains, 1.2)
		}},
		{"a chest board's input in the air", "ecg", Floating, []Action{Join, Touch}, func(t float64, a Action) float64 {
			if a == Touch {
				return 2.5 + sine(t, mains, 5)
			}
			return 2.2 + sine(t, mains, 1)
		}},
		{"an open input far from the mains", "other", Floating, []Action{Touch}, func(t float64, a Action) float64 {
			if a == Touch {
				return 2.5 + sine(t, mains, 2)
			}
			return 1.3
		}},
		{"shorted to mid-rail", "other", Shorted, []Action{Touch}, none(2.5)},
		{"a finger sensor shorted to mid-rail", "pulse", Shorted, []Action{Cover, Touch}, none(2.5)},
		{"stuck at the upper end", "other", StuckHigh, nil, none(5.2)},
		{"stuck at ground", "other", StuckLow, nil, none(0)},
		{"a finger board stuck at the upper end", "pulse", StuckHigh, []Action{Cover}, none(5.2)},
		{"a chest board stuck at ground", "ecg", StuckLow, []Action{Join}, none(-0.1)},
		{"the LED off", "pulse", LEDOff, []Action{Cover}, func(_ float64, a Action) float64 {
			if a == Cover {
				return 0.3
			}
			return 1.4
		}},
		{"daylight", "pulse", Daylight, []Action{Cover}, func(_ float64, a Action) float64 {
			if a == Cover {
				return 1.1
			}
			return 5.5
		}},
		{"daylight that pulls down", "pulse", Daylight, []Action{Cover}, func(_ float64, a Action) float64 {
			if a == Cover {
				return 3.1
			}
			return -0.2
		}},
		{"an electrode off, with hum", "ecg", Electrode, []Action{Join}, func(t float64, a Action) float64 {
			if a == Join {
				return 2.5 + sine(t, mains, 0.01)
			}
			return 2.5 + sine(t, mains, 1.5)
		}},
		{"an electrode off, at the rail", "ecg", Electrode, []Action{Join}, func(_ float64, a Action) float64 {
			if a == Join {
				return 2.5
			}
			return 5.4
		}},
		{"ripple of a rectifier", "other", SupplyHum, nil, func(t float64, _ Action) float64 { return 2.5 + sine(t, 2*mains, 0.4) + sine(t, mains, 0.05) }},
		{"ripple under a finger", "pulse", SupplyHum, []Action{Cover}, func(t float64, _ Action) float64 { return 2.5 + sine(t, 2*mains, 0.5) }},
		{"hum of the supply", "other", SupplyHum, []Action{Touch, Charger, Lamp}, func(t float64, _ Action) float64 { return 2.5 + sine(t, mains, 0.5) }},
		{"a ground loop", "other", GroundLoop, []Action{Touch, Charger}, func(t float64, a Action) float64 {
			if a == Charger {
				return 2.5 + loop(t, 0.03)
			}
			return 2.5 + loop(t, 0.4)
		}},
		{"a ground loop under a finger", "pulse", GroundLoop, []Action{Touch, Charger}, func(t float64, a Action) float64 {
			if a == Charger {
				return 2 + 0.2*beat(t) + loop(t, 0.02)
			}
			return 2 + 0.2*beat(t) + loop(t, 0.5)
		}},
		{"a lamp", "pulse", LampLight, []Action{Cover}, func(t float64, a Action) float64 {
			if a == Cover {
				return 2
			}
			return 2.2 + sine(t, 2*mains, 0.4)
		}},
		{"a lamp's cable", "other", LampLight, []Action{Touch, Charger, Lamp}, func(t float64, a Action) float64 {
			if a == Lamp {
				return 2.5 + sine(t, mains, 0.05)
			}
			return 2.5 + sine(t, mains, 0.5)
		}},
		{"tops cut in the first stage", "pulse", FirstStage, nil, func(t float64, _ Action) float64 { return 1.2 + 2*math.Min(beat(t), 0.7) }},
		{"an ECG cut in the first stage", "ecg", FirstStage, nil, func(t float64, _ Action) float64 { return 2 + math.Min(4*spike(t), 0.5) }},
		{"both ends cut in the first stage", "other", FirstStage, nil, func(t float64, _ Action) float64 {
			return 2.5 + math.Max(-1, math.Min(1, sine(t, 1.2, 3)))
		}},
	}
}

// run plays the finder against a bench until it tells a fault.
func run(t *testing.T, b bench, cfg Config, ends func(float64) float64, r *rand.Rand) (Answer, []Action) {
	t.Helper()
	look := func(a Action) Look {
		x := make([]float64, int(Seconds*cfg.RateHz))
		from := 100 * r.Float64()
		for i := range x {
			x[i] = ends(b.at(from+float64(i)/cfg.RateHz, a) + 0.002*r.NormFloat64())
		}
		l, err := LookAt(cfg, x)
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	now, after := look(AsItIs), map[Action]Look{}
	var asked []Action
	for range 6 {
		a := Decide(cfg, now, after)
		if a.Fault != NotYet {
			return a, asked
		}
		if _, again := after[a.Ask]; again || Ask[a.Ask] == "" || a.Text != Ask[a.Ask] {
			t.Fatalf("%s: asks %q again, or without words", b.name, a.Ask)
		}
		asked = append(asked, a.Ask)
		after[a.Ask] = look(a.Ask)
	}
	t.Fatalf("%s: no end of asking: %v", b.name, asked)
	return Answer{}, nil
}

// Every simulated fault is found, by the fewest actions, at several rates and mains, with
// 10 and 16 bits.
func TestFaults(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, mains := range []float64{50, 60, 49.8} {
		for _, rateHz := range []float64{250, 300, 1000} {
			for _, steps := range []float64{1023, 65535} {
				cfg := Config{RateHz: rateHz, High: 5, Step: 5 / steps, SupplyHigh: 5}
				ends := func(v float64) float64 { return math.Round(math.Max(0, math.Min(5, v))/5*steps) * 5 / steps }
				for _, b := range benches(mains) {
					cfg.Kind = b.kind
					a, asked := run(t, b, cfg, ends, r)
					if a.Fault != b.want || fmt.Sprint(asked) != fmt.Sprint(b.asks) {
						t.Errorf("%g Hz mains, %g Hz, %g steps: %s: %q after %v by %q; want %q after %v", mains, rateHz, steps, b.name, a.Fault, asked, a.By, b.want, b.asks)
					}
					if len(a.By) == 0 || a.Text == "" || a.Remedy == "" {
						t.Errorf("%s: without words: %+v", b.name, a)
					}
					if a.Fault == Floating && strings.Contains(strings.ToLower(a.Remedy), "raise the gain") {
						t.Errorf("%s: %s", b.name, a.Remedy)
					}
				}
			}
		}
	}
}

// Where somebody may be wired, what is asked says that nobody may be.
func TestActionsAreSafe(t *testing.T) {
	for _, a := range []Action{Touch, Join} {
		if !strings.Contains(Ask[a], "nobody may be connected") {
			t.Errorf("%s: %s", a, Ask[a])
		}
	}
	for f, words := range told {
		if words[0] == "" || words[1] == "" {
			t.Errorf("%s: no words", f)
		}
	}
}

func TestLookRefuses(t *testing.T) {
	if _, err := LookAt(Config{RateHz: 250}, make([]float64, 100)); err == nil {
		t.Error("a short look was taken")
	}
	x := make([]float64, 1000)
	x[500] = math.NaN()
	if _, err := LookAt(Config{RateHz: 250}, x); err == nil {
		t.Error("a look with a hole was taken")
	}
}

// Nothing that a look can hold makes the finder ask without end or give numbers that JSON
// cannot hold.
func FuzzDecide(f *testing.F) {
	f.Add(uint64(1), 250.0, 5.0, 0.7, "pulse")
	f.Fuzz(func(t *testing.T, seed uint64, rateHz, high, hum float64, kind string) {
		if !(rateHz >= 20 && rateHz < 5000) || !(math.Abs(high) < 1e6) || !(math.Abs(hum) < 1e6) {
			return
		}
		r := rand.New(rand.NewPCG(seed, 1))
		cfg := Config{RateHz: rateHz, High: high, Kind: kind, SupplyLow: math.NaN(), SupplyHigh: math.NaN()}
		b := bench{name: "anything", kind: kind, at: func(t float64, a Action) float64 {
			return sine(t, 50, hum) * float64(len(a)+int(seed%7)) / 6
		}}
		a, _ := run(t, b, cfg, func(v float64) float64 { return v }, r)
		if a.Fault == NotYet || a.Remedy == "" {
			t.Errorf("%+v", a)
		}
	})
}

// TestMovesWithoutAPulse: where the meters find no heartbeat the finder asks for the finger or the electrodes, it does not
// say that all is well; and what is mostly a small hum is not said to have little hum in it. Every end says what to do.
func TestMovesWithoutAPulse(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for _, c := range []struct {
		kind    string
		none    bool
		hum     float64
		want    Fault
		say, do string
	}{
		{"pulse", true, 0, NoPulse, "is the finger on the sensor?", "Lay the finger"},
		{"ecg", true, 0, NoPulse, "are the electrodes on?", "Press the electrodes on"},
		{"pulse", false, 0, Nothing, "Nothing wrong", "keep still for ten seconds"},
		{"pulse", true, 0.05, SmallHum, "hum is most of it", "Put the sensor on"},
	} {
		x := make([]float64, 750)
		for i := range x {
			x[i] = 2.3 + 0.012*r.NormFloat64() + sine(float64(i)/250, 50, c.hum)
		}
		cfg := Config{RateHz: 250, Low: 0, High: 5, Step: 5.0 / 1024, Kind: c.kind, NoPulse: c.none}
		look, err := LookAt(cfg, x)
		if err != nil {
			t.Fatal(err)
		}
		a := Decide(cfg, look, nil)
		if a.Fault != c.want || !strings.Contains(a.Text, c.say) || !strings.Contains(a.Remedy, c.do) || strings.Contains(a.Remedy, "Check") {
			t.Errorf("%+v: %+v", c, a)
		}
	}
}
