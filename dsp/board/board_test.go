package board_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"pulsewright/dsp/board"
)

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: %.9g, want %.9g within %g of it", what, got, want, share)
	}
}

// quiet is an op amp without noise, bias and offset, fast enough not to matter.
const quiet = `"opAmp": {"gainBandwidthHz": 1e8, "openLoopGain": 1e8, "noiseVoltsPerRootHz": 0, "noiseCornerHz": 0, "noiseAmpsPerRootHz": 0, "offsetVolts": 0, "biasAmps": 0}`

func lone(t *testing.T, stages string) *board.Board {
	t.Helper()
	b, err := board.Parse([]byte(`{"board": 1, "supplyVolts": 5, ` + quiet + `, "stages": [` + stages + `]}`))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestRC holds a low-pass against the textbook: corner 1/(2πRC), gain 1/(1 + jf/f₀), 5 % after
// ln(20)·RC, noise √(kT/C) in all (Nyquist, "Thermal Agitation of Electric Charge in
// Conductors", Phys. Rev. 32 (1928) 110).
func TestRC(t *testing.T) {
	b := lone(t, `{"stage": "generator", "parts": {"source": 1000}}, {"stage": "low-pass", "parts": {"resistor": 9000, "capacitor": "1u"}}`)
	const rc = 1e4 * 1e-6
	corner := 1 / (2 * math.Pi * rc)
	hz := board.Grid(0.05, 5000, 300)
	f, err := b.Figures(hz)
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range b.Response(hz) {
		want := 1 / complex(1, hz[i]/corner)
		if cmplx.Abs(h-want) > 1e-12 {
			t.Fatalf("%g Hz: %v, want %v", hz[i], h, want)
		}
	}
	near(t, "corner", *f.Corners.HighHz, corner, 1e-6)
	near(t, "settling", *f.SettlingSeconds, math.Log(20)*rc, 1e-6)
	for _, s := range []float64{0.1, 1, 3} {
		near(t, "step", b.Step([]float64{s * rc})[0], 1-math.Exp(-s), 1e-8)
	}
	sum := 0.0
	for i := 1; i < len(hz); i++ {
		a, c := f.Noise.VoltsPerRootHz[i-1], f.Noise.VoltsPerRootHz[i]
		sum += (a*a + c*c) / 2 * (hz[i] - hz[i-1])
	}
	// From 0.05 Hz to 5 kHz the arc tangent leaves out 0.4 % of the whole.
	share := 2 / math.Pi * (math.Atan(5000/corner) - math.Atan(0.05/corner))
	near(t, "noise, V²", sum, share*1.380649e-23*300.15/1e-6, 1e-4)
}

// TestJohnson: the noise of 1 kΩ at 300.15 K is √(4kTR) = 4.0713 nV/√Hz, k = 1.380649e-23 J/K
// (CODATA 2018; the SI's definition since 2019).
func TestJohnson(t *testing.T) {
	b := lone(t, `{"stage": "generator", "parts": {"source": 1000}}`)
	f, err := b.Figures([]float64{1, 1000})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "density", f.Noise.VoltsPerRootHz[1], 4.07134e-9, 1e-5)
}

// TestOpAmpNoise: a non-inverting amplifier of gain 11 from an op amp of 10 nV/√Hz with a
// corner of 100 Hz has 11·10·√(1 + 100/f) nV/√Hz, resistors left aside (common practice).
func TestOpAmpNoise(t *testing.T) {
	b := lone(t, `{"stage": "generator", "parts": {"source": 0.1}}, {"stage": "non-inverting", "opAmp": {"gainBandwidthHz": 1e8, "openLoopGain": 1e8, "noiseVoltsPerRootHz": 1e-8, "noiseCornerHz": 100, "noiseAmpsPerRootHz": 0}, "parts": {"feedback": 10, "leg": 1}}`)
	f, err := b.Figures([]float64{1, 100, 1000})
	if err != nil {
		t.Fatal(err)
	}
	for i, corner := range []float64{101, 2, 1.1} {
		near(t, "density", f.Noise.VoltsPerRootHz[i], 110e-9*math.Sqrt(corner), 1e-3)
	}
}

// TestSallenKeyButterworth: equal resistors and a feedback capacitor twice the other make
// the Butterworth response of order 2 with f₀ = 1/(2π√2·RC) (Sallen and Key, "A practical
// method of designing RC active filters", IRE Trans. CT-2 (1955) 74–85; Q = 1/√2).
func TestSallenKeyButterworth(t *testing.T) {
	b := lone(t, `{"stage": "generator", "parts": {"source": 0.1}}, {"stage": "sallen-key", "parts": {"first": 1e4, "second": 1e4, "feedbackCapacitor": 2e-6, "capacitor": 1e-6}}`)
	f0 := 1 / (2 * math.Pi * math.Sqrt2 * 1e4 * 1e-6)
	for _, r := range []float64{0.1, 0.5, 1, 2, 10} {
		h := b.Response([]float64{r * f0})[0]
		near(t, fmt.Sprintf("gain at %g of f₀", r), cmplx.Abs(h), 1/math.Sqrt(1+math.Pow(r, 4)), 1e-4)
	}
	f, err := b.Figures(board.Grid(0.05, 5000, 10))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "corner", *f.Corners.HighHz, f0, 1e-4)
	// Step of a Butterworth of order 2: 1 − √2·e^(−x)·sin(x + π/4), x = 2πf₀t/√2.
	for _, x := range []float64{0.3, 1, 2, 4, 8} {
		want := 1 - math.Sqrt2*math.Exp(-x)*math.Sin(x+math.Pi/4)
		near(t, "step", b.Step([]float64{x * math.Sqrt2 / (2 * math.Pi * f0)})[0], want, 1e-4)
	}
}

// TestGains: gains of the textbook circuits, far from their corners.
func TestGains(t *testing.T) {
	for _, c := range []struct {
		stages string
		want   float64
	}{
		{`{"stage": "generator", "parts": {"source": 0.1}}, {"stage": "non-inverting", "parts": {"feedback": "100k", "leg": "1k"}}`, 101},
		{`{"stage": "generator", "parts": {"source": 0.1}}, {"stage": "inverting", "parts": {"in": "10k", "feedback": "100k", "trimmer": {"value": "20k", "at": 0.25}}}`, -10.5},
		{`{"stage": "generator", "parts": {"source": "10k"}}, {"stage": "divider", "parts": {"top": "10k", "bottom": "20k"}}`, 0.5},
		{`{"stage": "electrodes", "parts": {"series": "100k", "third": "100k"}}, {"stage": "instrumentation", "parts": {"arm": "22k", "gain": "10k", "in": "10k", "feedback": "20k"}}`, (1 + 4.4) * 2},
		{`{"stage": "electrodes", "parts": {"series": "100k", "third": "100k"}}, {"stage": "difference", "parts": {"in": "900k", "feedback": "10M"}}`, 10},
		// 10 mA × 0.01 = 0.1 mA into 10 kΩ: all of the light is 1 V, with the load above −1 V.
		{`{"stage": "phototransistor", "parts": {"load": "10k", "lamp": "10m", "transfer": 0.01}}`, 1},
		{`{"stage": "phototransistor", "pullUp": true, "parts": {"load": "10k", "lamp": "10m", "transfer": 0.01}}`, -1},
	} {
		h := lone(t, c.stages).Response([]float64{10})[0]
		if math.Abs(real(h)/c.want-1) > 1e-4 || math.Abs(imag(h)) > 1e-3*math.Abs(c.want) {
			t.Errorf("%s: gain %v, want %g", c.stages, h, c.want)
		}
	}
}

// TestRest: 45 nA in 1 MΩ are 45 mV, times 11 (facts of the trade); which stage clips first.
func TestRest(t *testing.T) {
	b, err := board.Parse([]byte(`{"board": 1, "supplyVolts": 5, "opAmp": {"openLoopGain": 1e8}, "midRail": {"top": "10k", "bottom": "10k", "buffered": true}, "converter": {"referenceVolts": 5, "bits": 10, "rateHz": 250},
		"stages": [{"stage": "phototransistor", "parts": {"load": "10k", "lamp": "10m", "transfer": 0.01}}, {"stage": "coupling", "parts": {"capacitor": "10u", "resistor": "1M"}},
		{"stage": "non-inverting", "parts": {"feedback": "10k", "leg": "1k"}}, {"stage": "divider", "parts": {"top": "1k", "bottom": "1k"}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	f, err := b.Figures([]float64{1, 10})
	if err != nil {
		t.Fatal(err)
	}
	middle := 2.5 + 45e-9*5e3 // the bias of the buffer in the divider of the mid-rail
	near(t, "behind the coupling", f.Stages[1].Room.RestVolts, middle+0.045, 1e-4)
	amp := middle + 11*0.045 - 10e3*45e-9
	near(t, "behind the gain", f.Stages[2].Room.RestVolts, amp, 1e-4)
	// The mid-rail buffer's offset moves all alike, the amplifier's is amplified.
	near(t, "spread", f.Stages[2].Room.SpreadVolts, 3e-3+11*3e-3, 1e-3)
	if f.Span.ClipsFirst != 2 {
		t.Errorf("clips first: %d, want 2", f.Span.ClipsFirst)
	}
	near(t, "input that clips", f.Span.InputVolts, (3.5-amp)/11*1.01, 1e-3) // 10 kΩ loaded by 1 MΩ
	near(t, "span above", f.Span.HighVolts, 3.5/2, 1e-3)
	near(t, "span below", f.Span.LowVolts, 0.02/2, 1e-1)
	near(t, "converter's noise", f.Noise.ConverterVoltsPerRootHz, 5.0/1024/math.Sqrt(12)/math.Sqrt(125), 1e-9)
}

// TestSeries: E12 and E24 have the values of IEC 60063, which keep eight that are not the
// rounded power; E96 keeps to the rule (the standard's rule; the exceptions from memory).
func TestSeries(t *testing.T) {
	exceptions := map[float64]float64{2.6: 2.7, 2.9: 3.0, 3.2: 3.3, 3.5: 3.6, 3.8: 3.9, 4.2: 4.3, 4.6: 4.7, 8.3: 8.2}
	e24 := board.Series(24)
	for i := range 24 {
		want := math.Round(10*math.Pow(10, float64(i)/24)) / 10
		if kept, ok := exceptions[want]; ok {
			want = kept
		}
		if e24[i] != want {
			t.Errorf("E24 %d: %g, want %g", i, e24[i], want)
		}
	}
	for i, want := range []float64{1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2} {
		if got := board.Series(12)[i]; got != want {
			t.Errorf("E12 %d: %g, want %g", i, got, want)
		}
	}
	e96 := board.Series(96)
	for i, want := range map[int]float64{0: 1, 1: 1.02, 2: 1.05, 3: 1.07, 24: 1.78, 48: 3.16, 67: 4.99, 95: 9.76} {
		if e96[i] != want {
			t.Errorf("E96 %d: %g, want %g", i, e96[i], want)
		}
	}
	for _, c := range []struct {
		v      float64
		series int
		want   float64
	}{{9947, 12, 1e4}, {9947, 24, 1e4}, {9947, 96, 1e4}, {14.3e3, 12, 15e3}, {14.3e3, 96, 14.3e3}, {95.9e3, 24, 1e5}, {2.29e-9, 24, 2.2e-9}, {0.94, 24, 0.91}, {0.95, 24, 0.91}, {4.88e3, 24, 4.7e3}, {4.92e3, 24, 5.1e3}, {9.6, 24, 10}, {1.04e6, 24, 1e6}, {1.06e6, 24, 1.1e6}, {3183, 24, 3.3e3}, {1000, 24, 1000}} {
		if got := board.Nearest(c.v, c.series); math.Abs(got/c.want-1) > 1e-12 {
			t.Errorf("nearest of E%d to %g: %g, want %g", c.series, c.v, got, c.want)
		}
	}
	n := board.NearValues(5000)
	if n[0].Nearest != 4700 || n[0].Lower != 3900 || n[0].Higher != 5600 {
		t.Errorf("beside 5000 in E12: %+v", n[0])
	}
}

func TestParseValue(t *testing.T) {
	for text, want := range map[string]float64{"10k": 1e4, "4k7": 4700, "4.7 kΩ": 4700, "100n": 1e-7, "100 nF": 1e-7, "2u2": 2.2e-6, "1µ": 1e-6, "1M": 1e6, "10m": 0.01, "10mA": 0.01, "1e-6": 1e-6, "47": 47, "0R47": 0.47, "1Meg": 1e6} {
		if got, err := board.ParseValue(text); err != nil || got != want {
			t.Errorf("%q: %g, %v; want %g", text, got, err, want)
		}
	}
	for _, text := range []string{"", "k", "10x", "Inf", "NaN", "0x10", "4k7k", "1.5k2", "1e400", "1e3k", "4k-7", strings.Repeat("1", 100)} {
		if got, err := board.ParseValue(text); err == nil {
			t.Errorf("%q is read as %g", text, got)
		}
	}
}

// TestRefuses: what is wrong is named with the rule.
func TestRefuses(t *testing.T) {
	stages := func(s string) string { return `{"board": 1, "supplyVolts": 5, "stages": [` + s + `]}` }
	for _, c := range []struct{ text, want string }{
		{`{`, "unexpected EOF"},
		{`{"board": 1, "stages": []} {}`, "more than one value"},
		{`{"board": 2}`, "format version 2"},
		{`{"board": 1, "colour": 3}`, `unknown field "colour"`},
		{`{"board": 1, "supplyVolts": 0, "stages": []}`, "supply of 0 V"},
		{`{"board": 1, "supplyVolts": 5, "stages": []}`, "0 stages"},
		{`{"board": 1, "supplyVolts": 5, "kind": "toe", "stages": []}`, "pulse, ecg or other"},
		{`{"board": 1, "supplyVolts": 5, "name": "a\nb", "stages": []}`, "one line"},
		{`{"board": 1, "supplyVolts": 5, "converter": {"referenceVolts": 5, "bits": 40, "rateHz": 1}, "stages": []}`, "40 bits"},
		{stages(`{"stage": "buffer"}`), "a board begins with"},
		{stages(source + `,` + source), "has only one"},
		{stages(source + `,{"stage": "chorus"}`), "there is no such stage"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": 1000}}`), "capacitor is missing"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": 1000, "capacitor": 1e-320}}`), "capacitor of 1e-320 F: it must be from 0.1 pF to 100 mF"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": -1000, "capacitor": "1u"}}`), "resistor of -1000 Ω"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": "ten", "capacitor": "1u"}}`), `value "ten"`},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": 1e400, "capacitor": "1u"}}`), "1e400"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": {"value": 1, "colour": 3}, "capacitor": "1u"}}`), "unknown field"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": {"value": 1000, "name": "R\n.control"}, "capacitor": "1u"}}`), "a letter, then"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": {"value": 1000, "name": "X"}, "capacitor": {"value": "1u", "name": "x"}}}`), ""},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": {"value": 1000, "name": "R9"}, "trimmer": {"value": 1000, "name": "r9"}, "capacitor": "1u"}}`), "stands at two parts"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": 1000, "trimmer": {"value": 1000, "at": 1.5}, "capacitor": "1u"}}`), "stands at 1.5"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": {"value": 1000, "at": 0.5}, "capacitor": "1u"}}`), "only a trimmer"},
		{stages(source + `,{"stage": "low-pass", "parts": {"resistor": {"value": 1000, "tolerance": 2}, "capacitor": "1u"}}`), "tolerance of 2"},
		{stages(source + `,{"stage": "buffer", "opAmp": "best"}`), `op amp "best"`},
		{stages(source + `,{"stage": "buffer", "opAmp": {"gainBandwidthHz": 0}}`), "gainBandwidthHz of 0"},
		{stages(source + `,{"stage": "buffer", "opAmp": {"noiseVoltsPerRootHz": 1e-320}}`), "noiseVoltsPerRootHz"},
		{stages(source + `,{"stage": "coupling", "opAmp": "rail-to-rail CMOS", "parts": {"capacitor": "1u", "resistor": "1k"}}`), "it has no op amp"},
		{stages(source + `,{"stage": "coupling", "pullUp": true, "parts": {"capacitor": "1u", "resistor": "1k"}}`), "pullUp is for light sensors"},
		{stages(source + `,{"stage": "coupling", "parts": {"capacitor": "1u", "resistor": "1k", "trimmer": 1}}`), `no part "trimmer"`},
		{stages(source + `,{"stage": "difference", "parts": {"in": 1000, "feedback": 1000}}`), "electrodes are followed by"},
		{stages(`{"stage": "electrodes", "parts": {"series": "100k", "third": "100k"}}`), "must follow"},
		{stages(source + `,{"stage": "sallen-key", "parts": {"first": "10k", "second": "10k", "feedbackCapacitor": "1u", "capacitor": "1u", "leg": "1k"}}`), "feedback and leg both"},
		{stages(source + `,{"stage": "sallen-key", "parts": {"first": "10k", "second": "10k", "feedbackCapacitor": "1u", "capacitor": "1u", "leg": "1k", "feedback": "3k"}}`), "swings by itself"},
	} {
		_, err := board.Parse([]byte(c.text))
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", c.text, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "board: ")):
			t.Errorf("%s: %v, want %q", c.text, err, c.want)
		}
	}
}

// TestWritesWhatItReads: a board written as JSON is the same board.
func TestWritesWhatItReads(t *testing.T) {
	for _, name := range board.ExampleNames() {
		b, err := board.Example(name)
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		again, err := board.Parse(text)
		if err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		hz := board.Grid(0.05, 5000, 5)
		for i, h := range b.Response(hz) {
			if h != again.Response(hz)[i] {
				t.Fatalf("%s at %g Hz: %v, then %v", name, hz[i], h, again.Response(hz)[i])
			}
		}
	}
}

// TestSpread: with one resistor and one capacitor of 5 % the corner lies within
// 1/(2πRC·1.05²) and 1/(2πRC·0.95²), and 95 of 100 boards nearly fill that; the same seed
// gives the same.
func TestSpread(t *testing.T) {
	b := lone(t, `{"stage": "generator", "parts": {"source": 0.1}}, {"stage": "low-pass", "parts": {"resistor": 1e4, "capacitor": "1u"}}`)
	cfg := board.SpreadConfig{FreqHz: []float64{1, 16, 100}, Boards: 400, Tolerance: 0.05, Seed: 3}
	s, err := b.Spread(cfg)
	if err != nil {
		t.Fatal(err)
	}
	// Of the sum of two even spreads of ±5 %, 95 of 100 lie within ±7.8 %: the triangle's
	// tail of 2.5 % begins at 10 % × (1 − √0.05).
	corner := 1 / (2 * math.Pi * 1e-2)
	near(t, "low corner", s.CornerHigh.Low, corner/1.0776, 0.012)
	near(t, "high corner", s.CornerHigh.High, corner*1.0806, 0.012)
	again, _ := b.Spread(cfg)
	if *again.CornerHigh != *s.CornerHigh {
		t.Error("the same seed gives other boards")
	}
	cfg.Seed = 4
	if other, _ := b.Spread(cfg); *other.CornerHigh == *s.CornerHigh {
		t.Error("another seed gives the same boards")
	}
	if s.CornerLow != nil {
		t.Error("a low-pass has no lower corner")
	}
	// Arms that differ let the body's hum through; arms alike do not.
	chest, err := board.Example("chest_lead_a")
	if err != nil {
		t.Fatal(err)
	}
	f, err := chest.Figures([]float64{1, 10})
	if err != nil {
		t.Fatal(err)
	}
	c, err := chest.Spread(board.SpreadConfig{FreqHz: []float64{10}, Boards: 50})
	if err != nil {
		t.Fatal(err)
	}
	if *f.BodyVoltsPerNanoamp > 1e-9 || *c.BodyVoltsPerNanoamp < 1e-5 {
		t.Errorf("body's hum: %g V/nA with equal arms, %g with unequal ones", *f.BodyVoltsPerNanoamp, *c.BodyVoltsPerNanoamp)
	}
}

// TestWith changes a part, and both arms of one that stands twice.
func TestWith(t *testing.T) {
	b, err := board.Example("chest_lead_a")
	if err != nil {
		t.Fatal(err)
	}
	before := b.Response([]float64{10})[0]
	for _, c := range b.Components() {
		changed, err := b.With(c.Ref, c.Value*1.5)
		if err != nil {
			t.Fatalf("%s: %v", c.Ref, err)
		}
		n := 0
		for i, d := range changed.Components() {
			if d.Value != b.Components()[i].Value {
				n++
			}
		}
		if n < 1 || n > 2 {
			t.Errorf("%s: %d parts changed", c.Ref, n)
		}
	}
	if b.Response([]float64{10})[0] != before {
		t.Error("With changed the board itself")
	}
	if _, err := b.With("R99", 1); err == nil {
		t.Error("a part that is not there was changed")
	}
	if _, err := b.WithTrimmer("P1", 2); err == nil {
		t.Error("a trimmer was turned beyond its end")
	}
}

func FuzzParse(f *testing.F) {
	for _, name := range board.ExampleNames() {
		b, err := board.Example(name)
		if err != nil {
			f.Fatal(err)
		}
		text, _ := json.Marshal(b)
		f.Add(text)
	}
	f.Add([]byte(`{"board": 1, "supplyVolts": 5, "stages": [` + source + `]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		b, err := board.Parse(text)
		if err != nil {
			return
		}
		for _, h := range b.Response([]float64{0.05, 10, 5000}) {
			if cmplx.IsNaN(h) || cmplx.IsInf(h) {
				t.Fatalf("gain %v of %s", h, text)
			}
		}
		again, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := board.Parse(again); err != nil {
			t.Fatalf("%v: written as %s", err, again)
		}
		b.Netlist(board.NetlistOptions{LowHz: 1, HighHz: 10, PerDecade: 1})
	})
}

// signalPower is what an RC lets through of a power that falls as 1/f² from 0.5 to 15 Hz:
// the integral of 1/(f²(1 + f²/c²)) is −1/f − atan(f/c)/c.
func signalPower(corner float64) float64 {
	at := func(f float64) float64 { return -1/f - math.Atan(f/corner)/corner }
	return at(15) - at(0.5)
}

// TestTurn: of an RC alone, hum at a place of the trimmer is 1/√(1 + (50/f₀)²) over that where
// it stands, and the corner 1/(2πRC).
func TestTurn(t *testing.T) {
	b := lone(t, `{"stage": "generator", "parts": {"source": 0.1}}, {"stage": "low-pass", "parts": {"resistor": 1e3, "trimmer": {"value": 2e4, "at": 0.5}, "capacitor": "1u"}}`)
	all, err := b.Turn("P1", 5)
	if err != nil {
		t.Fatal(err)
	}
	corner := func(at float64) float64 { return 1 / (2 * math.Pi * (1000.1 + 2e4*math.Max(at, 1e-4)) * 1e-6) }
	hum := func(at float64) float64 { return 1 / math.Hypot(1, 50/corner(at)) }
	for i, at := range []float64{0, 0.25, 0.5, 0.75, 1} {
		near(t, "corner", *all[i].CornerHz, corner(at), 1e-4)
		if math.Abs(all[i].HumDB-20*math.Log10(hum(at)/hum(0.5))) > 1e-3 {
			t.Errorf("hum at %g: %g dB", at, all[i].HumDB)
		}
		near(t, "settling", *all[i].SettlingSeconds, math.Log(20)/(2*math.Pi*corner(at)), 1e-4)
		if want := 10 * math.Log10(signalPower(corner(at))/signalPower(corner(0.5))); math.Abs(all[i].SignalDB-want) > 0.03 /* eight points a decade */ {
			t.Errorf("signal at %g: %g dB, want %g", at, all[i].SignalDB, want)
		}
		if i > 0 && !(all[i].SignalDB < all[i-1].SignalDB && all[i].SignalDB > all[i].HumDB-all[0].HumDB+all[0].SignalDB) {
			t.Errorf("signal at %g: %g dB", at, all[i].SignalDB)
		}
	}
	for _, ref := range []string{"P2", "R1", ""} {
		if _, err := b.Turn(ref, 5); err == nil {
			t.Errorf("%q was turned", ref)
		}
	}
}

// TestSpanTurnsWithTheSignal: what the first gain cannot rise (1.5 V from the supply) the
// output, turned over by the second stage, cannot fall; and a phototransistor ends 0.3 V
// before the supply, or with its load there, before ground.
func TestSpanTurnsWithTheSignal(t *testing.T) {
	const text = `{"board": 1, "supplyVolts": 5, "opAmp": "rail-to-rail CMOS", "midRail": {"top": "10k", "bottom": "10k", "buffered": true}, "stages": [
		{"stage": "phototransistor", %s"parts": {"load": "10k", "lamp": "10m", "transfer": 0.01}}, {"stage": "coupling", "parts": {"capacitor": "100u", "resistor": "1M"}},
		{"stage": "non-inverting", "opAmp": {"offsetVolts": 0, "biasAmps": 0}, "parts": {"feedback": "90k", "leg": "10k", "legCapacitor": "100u"}}, {"stage": "inverting", "parts": {"in": "10k", "feedback": "10k"}}]}`
	for pullUp, want := range map[string]board.Room{"": {LowVolts: 0, HighVolts: 4.7, RestVolts: 1}, `"pullUp": true, `: {LowVolts: 0.3, HighVolts: 5, RestVolts: 4}} {
		b, err := board.Parse([]byte(fmt.Sprintf(text, pullUp)))
		if err != nil {
			t.Fatal(err)
		}
		f, err := b.Figures([]float64{1, 10})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "rest", f.Span.RestVolts, 2.5, 1e-3)
		near(t, "span above", f.Span.HighVolts, 4.975, 2e-3) // the second stage's own
		near(t, "span below", f.Span.LowVolts, 1.5, 2e-3)
		sensor := f.Stages[0].Room
		near(t, "sensor's rest", sensor.RestVolts, want.RestVolts, 1e-3)
		if sensor.LowVolts != want.LowVolts || sensor.HighVolts != want.HighVolts {
			t.Errorf("%s: sensor from %g to %g V, want %g to %g", pullUp, sensor.LowVolts, sensor.HighVolts, want.LowVolts, want.HighVolts)
		}
	}
}
