package board_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/acquiretest"
	"pulsewright/dsp/board"
)

// spice runs a deck's text in a folder of its own and gives what it printed.
func spice(t *testing.T, folder, deck string) string {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		acquiretest.Missing(t, "ngspice (Debian ngspice)")
	}
	if err := os.WriteFile(filepath.Join(folder, "deck.cir"), []byte(deck), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	run := exec.CommandContext(ctx, program, "-b", "deck.cir")
	run.Dir = folder
	var out bytes.Buffer
	run.Stdout, run.Stderr = &out, &out
	if err := run.Run(); err != nil {
		t.Fatalf("ngspice: %v\n%s\n%s", err, out.String(), deck)
	}
	return out.String()
}

// table reads what wrdata wrote: rows of numbers.
func table(t *testing.T, folder, name string) [][]float64 {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	var rows [][]float64
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		var row []float64
		for _, f := range strings.Fields(line) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatalf("%s: %q", name, line)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

// measured is what ngspice says of a deck.
type measured struct {
	freqHz   []float64
	gain     []complex128
	noise    []float64 // V/√Hz
	settling float64
	rest     float64 // volts of the output
}

// measure runs .ac, .noise, .op and .tran on a deck whose input is vin and whose output is
// out; the step comes after 1 ms.
func measure(t *testing.T, deck string, watchSeconds float64) measured {
	t.Helper()
	folder := t.TempDir()
	body, _, _ := strings.Cut(deck, ".ac ")
	body, _, _ = strings.Cut(body, "\n.end\n")
	spice(t, folder, fmt.Sprintf(`%s
.options reltol=1e-5 vntol=1e-9
.control
set wr_singlescale
ac dec 10 0.05 5k
wrdata ac.data v(out)
noise v(out) vin dec 10 0.05 5k
setplot noise1
wrdata noise.data onoise_spectrum
op
wrdata rest.data v(out)
alter vin dc = 1m
op
wrdata moved.data v(out)
alter vin dc = 0
tran %g %g 0 %g
wrdata tran.data v(out)
quit 0
.endc
.end
`, body, watchSeconds/800, watchSeconds+1e-3, watchSeconds/800))
	var m measured
	for _, row := range table(t, folder, "ac.data") {
		m.freqHz = append(m.freqHz, row[0])
		m.gain = append(m.gain, complex(row[1], row[2]))
	}
	for _, row := range table(t, folder, "noise.data") {
		m.noise = append(m.noise, row[1])
	}
	m.rest = table(t, folder, "rest.data")[0][1]
	end := table(t, folder, "moved.data")[0][1]
	steps := table(t, folder, "tran.data")
	most := 0.0
	off := func(row []float64) float64 { return math.Abs(row[1] - end) }
	for _, row := range steps {
		if row[0] > 1e-3 {
			most = math.Max(most, off(row))
		}
	}
	for i := len(steps) - 2; i >= 0; i-- {
		if a, b := off(steps[i]), off(steps[i+1]); a > 0.05*most { // between two steps by proportion
			m.settling = steps[i][0] + (steps[i+1][0]-steps[i][0])*(a-0.05*most)/(a-b) - 1e-3
			break
		}
	}
	return m
}

// hold compares a board's figures with what ngspice says.
func hold(t *testing.T, b *board.Board, deck func() string) {
	t.Helper()
	f, err := b.Figures([]float64{1, 2})
	if err != nil {
		t.Fatal(err)
	}
	if f.SettlingSeconds == nil {
		t.Fatal("it never settles")
	}
	m := measure(t, deck(), 2**f.SettlingSeconds)
	f, err = b.Figures(m.freqHz)
	if err != nil {
		t.Fatal(err)
	}
	var worstDB, worstDeg, worstNoise float64
	for i, g := range m.gain {
		worstDB = math.Max(worstDB, math.Abs(20*math.Log10(cmplx.Abs(g))-f.Whole.GainDB[i]))
		turn := cmplx.Phase(g)*180/math.Pi - f.Whole.PhaseDeg[i]
		worstDeg = math.Max(worstDeg, math.Abs(math.Remainder(turn, 360)))
		worstNoise = math.Max(worstNoise, math.Abs(f.Noise.VoltsPerRootHz[i]/m.noise[i]-1))
	}
	settling := *f.SettlingSeconds/m.settling - 1
	rest := f.Span.RestVolts - m.rest
	t.Logf("gain %.2g dB, phase %.2g°, noise %.2g %%, settling %.2g %% of %.3g s, rest %.2g V", worstDB, worstDeg, 100*worstNoise, 100*settling, m.settling, rest)
	if len(m.gain) < 50 || !(worstDB <= 0.05) || !(worstDeg <= 0.5) || !(worstNoise <= 0.05) || !(math.Abs(settling) <= 0.03) || !(math.Abs(rest) <= 1e-3+1e-6*math.Abs(m.rest)) {
		t.Errorf("ngspice differs: gain %.3g dB (0.05), phase %.3g° (0.5), noise %.3g %% (5), settling %.3g %% (3), rest %.3g V (0.001, or a millionth)\n%s", worstDB, worstDeg, 100*worstNoise, 100*settling, rest, deck())
	}
}

const head = `{"board": 1, "supplyVolts": 5, "midRail": {"top": "10k", "bottom": "10k", "bypass": "10u"%s}, "stages": [%s]}`

func parse(t *testing.T, buffered bool, stages ...string) *board.Board {
	t.Helper()
	b, err := board.Parse([]byte(fmt.Sprintf(head, map[bool]string{true: `, "buffered": true`}[buffered], strings.Join(stages, ","))))
	if err != nil {
		t.Fatalf("%v in %s", err, stages)
	}
	return b
}

const source = `{"stage": "generator", "parts": {"source": "1k"}}`

// everyStage has each kind of stage in a board of its own.
var everyStage = map[string][]string{
	"phototransistor":         {`{"stage": "phototransistor", "parts": {"load": "27k", "lamp": "20m", "transfer": 0.002, "capacitance": "10n"}}`},
	"photodiode, load above":  {`{"stage": "photodiode", "pullUp": true, "parts": {"load": "1M", "lamp": "10m", "transfer": 1e-4, "capacitance": "150p"}}`},
	"electrodes, difference":  {`{"stage": "electrodes", "parts": {"series": "100k", "third": "100k"}}`, `{"stage": "difference", "parts": {"in": "1M", "feedback": "3.3M", "feedbackCapacitor": "1n"}}`},
	"electrodes, three":       {`{"stage": "electrodes", "parts": {"skin": "33k", "series": "100k", "bias": "4M7", "third": "100k"}}`, `{"stage": "instrumentation", "opAmp": "rail-to-rail CMOS", "parts": {"arm": "47k", "gain": "1k", "in": "10k", "feedback": "22k"}}`},
	"coupling":                {source, `{"stage": "coupling", "parts": {"capacitor": "1u", "resistor": "470k"}}`},
	"coupling, mid-rail weak": {source, `{"stage": "coupling", "parts": {"capacitor": "22u", "resistor": "10k"}}`, `{"stage": "inverting", "parts": {"in": "4k7", "feedback": "47k"}}`},
	"non-inverting":           {source, `{"stage": "non-inverting", "parts": {"feedback": "1M", "leg": "1k", "legCapacitor": "220u"}}`},
	"inverting":               {source, `{"stage": "inverting", "parts": {"in": "10k", "feedback": "220k", "trimmer": {"value": "500k", "at": 0.7}, "inCapacitor": "10u", "feedbackCapacitor": "10n"}}`},
	"low-pass":                {source, `{"stage": "low-pass", "parts": {"resistor": "1k", "trimmer": {"value": "50k", "at": 0.2}, "capacitor": "1u"}}`},
	"sallen-key":              {source, `{"stage": "sallen-key", "parts": {"first": "10k", "second": "10k", "feedbackCapacitor": "1u", "capacitor": "220n"}}`},
	"sallen-key with gain":    {source, `{"stage": "sallen-key", "parts": {"first": "33k", "second": "27k", "feedbackCapacitor": "100n", "capacitor": "100n", "feedback": "10k", "leg": "22k"}}`},
	"buffer":                  {source, `{"stage": "low-pass", "parts": {"resistor": "2M2", "capacitor": "100n"}}`, `{"stage": "buffer"}`},
	"divider":                 {source, `{"stage": "divider", "parts": {"top": "33k", "bottom": "10k", "capacitor": "470n"}}`},
}

func TestNgspiceOurNetlist(t *testing.T) {
	boards := map[string]*board.Board{}
	for name, stages := range everyStage {
		boards[name] = parse(t, name != "coupling, mid-rail weak", stages...)
	}
	for _, name := range board.ExampleNames() {
		b, err := board.Example(name)
		if err != nil {
			t.Fatal(err)
		}
		boards[name] = b
	}
	for seed := range uint64(8) {
		boards[fmt.Sprintf("random %d", seed)] = randomBoard(t, rand.New(rand.NewPCG(seed, 18)))
	}
	if len(boards) < 20 {
		t.Fatalf("%d boards", len(boards))
	}
	for name, b := range boards {
		t.Run(name, func(t *testing.T) {
			hold(t, b, func() string { return b.Netlist(board.NetlistOptions{LowHz: 0.05, HighHz: 5000, PerDecade: 10}) })
		})
	}
}

// randomBoard draws two to six stages behind a sensor, all parts from E24.
func randomBoard(t *testing.T, r *rand.Rand) *board.Board {
	t.Helper()
	value := func(low, high float64) float64 {
		return board.Nearest(low*math.Pow(high/low, r.Float64()), 24)
	}
	draw := func() string {
		switch r.IntN(6) {
		case 0:
			return fmt.Sprintf(`{"stage": "coupling", "parts": {"capacitor": %g, "resistor": %g}}`, value(1e-7, 1e-5), value(1e5, 1e6))
		case 1:
			return fmt.Sprintf(`{"stage": "low-pass", "parts": {"resistor": %g, "trimmer": {"value": %g, "at": %g}, "capacitor": %g}}`, value(1e2, 1e4), value(1e4, 1e5), r.Float64(), value(1e-8, 1e-6))
		case 2:
			return fmt.Sprintf(`{"stage": "non-inverting", "parts": {"feedback": %g, "leg": %g, "feedbackCapacitor": %g}}`, value(1e4, 1e5), value(1e3, 1e4), value(1e-9, 1e-7))
		case 3:
			return fmt.Sprintf(`{"stage": "inverting", "opAmp": {"like": "rail-to-rail CMOS", "gainBandwidthHz": %g, "noiseVoltsPerRootHz": 9e-9}, "parts": {"in": %g, "feedback": %g}}`, value(1e5, 1e7), value(1e4, 1e5), value(1e4, 1e6))
		case 4:
			c := value(1e-8, 1e-6)
			return fmt.Sprintf(`{"stage": "sallen-key", "parts": {"first": %g, "second": %g, "feedbackCapacitor": %g, "capacitor": %g}}`, value(1e3, 1e5), value(1e3, 1e5), 2.2*c, c)
		}
		return fmt.Sprintf(`{"stage": "divider", "parts": {"top": %g, "bottom": %g, "capacitor": %g}}`, value(1e3, 1e5), value(1e4, 1e5), value(1e-9, 1e-7))
	}
	stages := []string{source}
	if r.IntN(2) == 0 {
		stages[0] = fmt.Sprintf(`{"stage": "photodiode", "parts": {"load": %g, "lamp": 0.01, "transfer": 1e-4}}`, value(1e5, 1e6))
	}
	for range 2 + r.IntN(5) {
		stages = append(stages, draw())
	}
	return parse(t, r.IntN(2) == 0, stages...)
}

// TestNgspiceByHand: netlists written by hand, not made by the program.
func TestNgspiceByHand(t *testing.T) {
	// The single pole of an op amp: 1e5 at 0 Hz, 1.2 MHz of gain-bandwidth: 12 Hz.
	const amp = `
.subckt lm p n o
Rin p n 1e12 noisy=0
E1 a 0 p n 1e5
Rp a b 1k noisy=0
Cp b 0 13.26291192u
E2 o 0 b 0 1
.ends
`
	quiet := `"opAmp": {"noiseVoltsPerRootHz": 0, "noiseCornerHz": 0, "noiseAmpsPerRootHz": 0, "biasAmps": 0, "offsetVolts": 0}`
	for _, c := range []struct{ name, stages, deck string }{
		{"RC", source + `,{"stage": "low-pass", "parts": {"resistor": "9k", "capacitor": "1u"}}`, `RC by hand
vin a 0 dc 0 ac 1 pulse(0 1m 1m 1n 1n 1e9 2e9)
R1 a out 10k
C1 out 0 1u
.end
`},
		{"Sallen-Key", source + `,{"stage": "buffer", ` + quiet + `},{"stage": "sallen-key", ` + quiet + `, "parts": {"first": "10k", "second": "22k", "feedbackCapacitor": "1u", "capacitor": "220n", "feedback": "3k3", "leg": "10k"}}`,
			`Sallen-Key by hand
vin src 0 dc 0 ac 1 pulse(0 1m 1m 1n 1n 1e9 2e9)
vcc top 0 5
Rm1 top half 10k
Rm2 half 0 10k
Cm half 0 10u
Xm half vm vm lm
Rs src pre 1k
X1 pre drive drive lm
Ra drive x 10k
Rb x y 22k
Ca x out 1u
Cb y 0 220n
Rf out z 3.3k
Rg z vm 10k
X2 y z out lm
` + amp + ".end\n"},
		{"clip with gain", `{"stage": "phototransistor", "parts": {"load": "10k", "lamp": "10m", "transfer": 0.01}},{"stage": "coupling", "parts": {"capacitor": "10u", "resistor": "100k"}},
			{"stage": "non-inverting", ` + quiet + `, "parts": {"feedback": "100k", "leg": "1k", "legCapacitor": "470u"}},
			{"stage": "low-pass", "parts": {"resistor": "1k", "trimmer": {"value": "20k", "at": 0.45}, "capacitor": "1u"}},{"stage": "buffer", ` + quiet + `}`,
			// Light as a current of 0.1 mA, with its shot noise 2qI from a resistor
			// of 2kT/(qI): 4kT/R = 2qI for R = 2kT/(qI) = 517.298 Ω at 300.15 K.
			`clip by hand
vin light 0 dc 0 ac 1 pulse(0 1m 1m 1n 1n 1e9 2e9)
vcc top 0 5
Rm1 top half 10k
Rm2 half 0 10k
Cm half 0 10u
Xm half vm vm lm
G1 top emitter light 0 100u
I1 top emitter 100u
Vq q 0 0
Rq q 0 517.298
Fq top emitter Vq 1
Rload emitter 0 10k
C1 emitter grid 10u
R1 grid vm 100k
X1 grid fb amp lm
R2 amp fb 100k
R3 fb leg 1k
C2 leg vm 470u
R4 amp wiper 1k
R5 wiper lp 9k
C3 lp 0 1u
X2 lp out out lm
` + amp + ".end\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(fmt.Sprintf(head, `, "buffered": true`, c.stages), `"supplyVolts"`, quiet+`, "supplyVolts"`, 1)
			b, err := board.Parse([]byte(text))
			if err != nil {
				t.Fatal(err)
			}
			hold(t, b, func() string { return c.deck })
		})
	}
}

// TestNgspiceRunsTheDeckAsItIs: the deck alone gives ngspice all it needs.
func TestNgspiceRunsTheDeckAsItIs(t *testing.T) {
	for _, name := range board.ExampleNames() {
		b, err := board.Example(name)
		if err != nil {
			t.Fatal(err)
		}
		out := spice(t, t.TempDir(), b.Netlist(board.NetlistOptions{LowHz: 0.05, HighHz: 5000, PerDecade: 20}))
		rows, worst := 0, 0.0
		for _, line := range strings.Split(out, "\n") {
			f := strings.Fields(line)
			if len(f) != 4 {
				continue
			}
			hz, err1 := strconv.ParseFloat(f[1], 64)
			db, err2 := strconv.ParseFloat(f[2], 64)
			if err1 != nil || err2 != nil {
				continue
			}
			rows++
			worst = math.Max(worst, math.Abs(db-20*math.Log10(cmplx.Abs(b.Response([]float64{hz})[0]))))
		}
		if rows != 101 || worst > 0.05 {
			t.Errorf("%s: %d rows, want 101; off by %g dB\n%s", name, rows, worst, out)
		}
	}
}
