package board_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/board"
)

// turned is lamp clip A with its low-pass at a corner.
func turned(t *testing.T, cornerHz float64) *board.Board {
	t.Helper()
	b, err := board.Example("lamp_clip_a")
	if err != nil {
		t.Fatal(err)
	}
	at := (1/(2*math.Pi*cornerHz*1e-6) - 1000) / 20000
	b, err = b.WithTrimmer("P1", at)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestGhostIsTheSimulatedBoard: a simulated board, recorded with its trimmer at one corner and
// taken through the change to another, is within 3 % of the beat's height what the same
// board gives with the trimmer there.
func TestGhostIsTheSimulatedBoard(t *testing.T) {
	for _, c := range []struct{ from, to float64 }{{30, 10}, {16, 12}, {16, 40}, {10, 20}, {40, 8.5}} {
		simulated := func(corner float64) []float64 {
			s := simulate.Finger()
			s.MotionPerMinute, s.Channels[0].NoiseVolts, s.Channels[0].TrimmerHz = 0, 0.001, corner
			counts, _ := simulatetest.Run(t, s, 250*20)
			x := make([]float64, len(counts[0]))
			for i, n := range counts[0] {
				x[i] = float64(n) * 5 / 1024
			}
			return x
		}
		g, err := turned(t, c.to).Ghost(turned(t, c.from), 250, simulated(c.from))
		if err != nil {
			t.Fatal(err)
		}
		want := simulated(c.to)
		low, high, worst := math.Inf(1), math.Inf(-1), 0.0
		sum := 0.0
		for i := 500; i < len(want)-250; i++ {
			low, high = math.Min(low, want[i]), math.Max(high, want[i])
			d := g.Volts[i] - want[i]
			worst = math.Max(worst, math.Abs(d))
			sum += d * d
		}
		height := 1.0 // of the simulated pulse before the trimmer
		off := math.Sqrt(sum / float64(len(want)-750))
		t.Logf("%g to %g Hz: worst %.2f %%, rms %.2f %% of the beat; honest from %.3g to %.3g Hz", c.from, c.to, 100*worst/height, 100*off/height, g.LowHz, g.HighHz)
		if !(worst <= 0.03*height) || high-low < 0.5 {
			t.Errorf("%g to %g Hz: ghost is off by %.3g V at most", c.from, c.to, worst)
		}
	}
}

func TestGhostRefuses(t *testing.T) {
	b := turned(t, 16)
	hole := make([]float64, 100)
	hole[50] = math.NaN()
	for _, x := range [][]float64{nil, make([]float64, 5), hole} {
		if _, err := b.Ghost(b, 250, x); err == nil {
			t.Errorf("a ghost of %d samples", len(x))
		}
	}
	if _, err := b.Ghost(b, math.NaN(), make([]float64, 100)); err == nil {
		t.Error("a ghost without a rate")
	}
}

// TestGhostClips: a gain of ten times more is held at what the changed board can give.
func TestGhostClips(t *testing.T) {
	b := turned(t, 16)
	more, err := b.With("R3", 100e3) // the sensor's load
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 1000)
	for i := range x {
		x[i] = 2.5 + 0.5*math.Sin(2*math.Pi*2*float64(i)/250)
	}
	g, err := more.Ghost(b, 250, x)
	if err != nil {
		t.Fatal(err)
	}
	f, _ := more.Figures([]float64{1, 2})
	for i, v := range g.Volts {
		if v < f.Span.LowVolts || v > f.Span.HighVolts {
			t.Fatalf("sample %d: %g V", i, v)
		}
	}
	if g.Clipped < 0.5 {
		t.Errorf("%.0f %% clipped", 100*g.Clipped)
	}
}

// TestFaultFinder: in each example, parts drawn at random are far from what the file says;
// the response, measured to 0.1 dB, names the part in 9 of 10 at least. A part that no
// response can tell from the named one counts when it is named beside it.
func TestFaultFinder(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 5))
	hz := board.Grid(0.1, 200, 12)
	total, named, first, many := 0, 0, 0, 0
	for _, name := range board.ExampleNames() {
		b, err := board.Example(name)
		if err != nil {
			t.Fatal(err)
		}
		for range 14 {
			h, ref := fault(t, b, hz, r)
			m := board.Measured{FreqHz: hz}
			for i := range hz {
				m.GainDB = append(m.GainDB, 20*math.Log10(math.Hypot(real(h[i]), imag(h[i])))+0.1*r.NormFloat64())
			}
			c, err := b.Compare(m)
			if err != nil {
				t.Fatal(err)
			}
			if c.Agrees {
				continue // this part does not matter
			}
			total++
			hit := false
			for i, s := range c.Suspects {
				hit = hit || s.Ref == ref
				if i == 0 && s.Ref == ref {
					first++
				}
			}
			if hit {
				named++
			} else {
				t.Logf("%s: %s not named: %s", name, ref, c.Text)
			}
			many += len(c.Suspects)
		}
	}
	t.Logf("%d of %d named, %d of them first; %.1f suspects each", named, total, first, float64(many)/float64(total))
	if total < 30 || named*10 < total*9 || many > 5*total {
		t.Errorf("%d of %d named", named, total)
	}
}

// fault is the response of the board with one resistor, capacitor or trimmer that is not as
// the file says, of one arm where there are two.
func fault(t *testing.T, b *board.Board, hz []float64, r *rand.Rand) ([]complex128, string) {
	t.Helper()
	all := b.Components()
	for range 100 {
		c := all[r.IntN(len(all))]
		if c.Stage < 1 {
			continue // mid-rail and sensor are not in a sweep
		}
		if c.At > 0 { // turned to an end
			return board.ResponseWith(b, c.Ref, []float64{1e-4, 1}[r.IntN(2)]/c.At, hz), c.Ref
		}
		return board.ResponseWith(b, c.Ref, []float64{0.1, 0.22, 0.5, 2, 4.7, 10}[r.IntN(6)], hz), c.Ref
	}
	t.Fatal("no fault could be made")
	return nil, ""
}

// TestFaultInWords: the words name part and value.
func TestFaultInWords(t *testing.T) {
	b := turned(t, 16)
	hz := board.Grid(0.1, 200, 12)
	say := func(wrong *board.Board) string {
		h := wrong.Response(hz)
		m := board.Measured{FreqHz: hz}
		for i := range hz {
			m.GainDB = append(m.GainDB, 20*math.Log10(math.Hypot(real(h[i]), imag(h[i]))))
		}
		c, err := b.Compare(m)
		if err != nil {
			t.Fatal(err)
		}
		return c.Text
	}
	for _, c := range []struct {
		ref  string
		at   bool
		v    float64
		want string
	}{
		{"", false, 0, "agree within 0.0 dB"},
		{"C5", false, 0.47e-6, "C5 470 nF instead of 1 µF"},
		{"P1", true, 0, "P1 at its lower end"},
		{"P1", true, 1, "P1 at its upper end"},
		{"R6", false, 2700, "R6 2.7 kΩ instead of 1 kΩ"},
		{"C4", false, 47e-6, "C4 47 µF instead of 470 µF"},
	} {
		wrong, err := b, error(nil)
		switch {
		case c.at:
			wrong, err = b.WithTrimmer(c.ref, c.v)
		case c.ref != "":
			wrong, err = b.With(c.ref, c.v)
		}
		if err != nil {
			t.Fatal(err)
		}
		if got := say(wrong); !strings.Contains(got, c.want) {
			t.Errorf("%s %g: %q, want %q", c.ref, c.v, got, c.want)
		}
	}
	// Half of the level is told from half of the shape.
	places := b.MeasuredCorner(16.6365)
	near(t, "the trimmer's place for lamp clip A's corner", places["P1"], (1/(2*math.Pi*16*1e-6)-1000)/20000, 0.02)
	if p := b.MeasuredCorner(5000); len(p) != 0 {
		t.Errorf("a corner out of reach: %v", p)
	}
}

func ExampleBoard_Compare() {
	b, _ := board.Example("lamp_clip_a")
	wrong, _ := b.With("C5", 0.47e-6)
	m := board.Measured{FreqHz: board.Grid(0.5, 200, 10)}
	for _, h := range wrong.Response(m.FreqHz) {
		m.GainDB = append(m.GainDB, 20*math.Log10(math.Hypot(real(h), imag(h))))
	}
	c, _ := b.Compare(m)
	fmt.Println(c.Text)
	// Output: Measured is +6.5 dB from predicted at 200 Hz. Suspect: P1 at 19 % of its way, or C5 470 nF instead of 1 µF.
}

// TestAtStages: a sine of 2 Hz at the output is, at each stage, as high as the gains between
// say; a board changed behind the sensor shows the change there only.
func TestAtStages(t *testing.T) {
	b := turned(t, 16)
	const hz, rate = 2.0, 250.0
	x := make([]float64, 2500)
	for i := range x {
		x[i] = 2.5 + math.Sin(2*math.Pi*hz*float64(i)/rate)
	}
	f, err := b.Figures([]float64{hz, 3})
	if err != nil {
		t.Fatal(err)
	}
	height := func(y []float64) float64 {
		sum := 0.0
		for _, v := range y[625:1875] { // whole cycles in the middle
			sum += v * v
		}
		return math.Sqrt(2 * sum / 1250)
	}
	all, err := b.AtStages(b, rate, x)
	if err != nil || len(all) != len(b.Stages) {
		t.Fatalf("%d stages, %v", len(all), err)
	}
	want := 1.0
	for i := len(all) - 1; i >= 0; i-- {
		near(t, b.Stages[i].Title(), height(all[i]), want, 0.01)
		want /= math.Pow(10, f.Stages[i].Curve.GainDB[0]/20)
	}
	more, err := b.With("R5", 220e3) // the gain: 221 instead of 101
	if err != nil {
		t.Fatal(err)
	}
	changed, err := more.AtStages(b, rate, x)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "before the change", height(changed[1]), height(all[1]), 0.01)
	near(t, "behind the change", height(changed[2]), height(all[2])*221/101, 0.01)
	if _, err := b.AtStages(b, rate, x[:3]); err == nil {
		t.Error("three samples")
	}
}
