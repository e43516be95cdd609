package firmware

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire/acquiretest"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/signalpath"
)

func sectionsOf(t testing.TB, s signalpath.Settings, rateHz float64) filter.Sections {
	t.Helper()
	p, err := signalpath.New(s, rateHz)
	if err != nil {
		t.Fatalf("%+v at %g Hz: %v", s, rateHz, err)
	}
	sections, err := p.Sections()
	if err != nil {
		t.Fatal(err)
	}
	return sections
}

// steep are paths whose sections reach far above the input.
var steep = []struct {
	name string
	s    signalpath.Settings
	c    Config
}{
	{"one notch", signalpath.Settings{
		Drift:  signalpath.Drift{On: true, CutoffHz: 5, Order: 8},
		Hum:    signalpath.Hum{Mode: signalpath.Notch, FreqHz: 50, BandwidthHz: 5, Harmonics: 1},
		Smooth: signalpath.Smooth{Shape: signalpath.Butterworth, CutoffHz: 15, Order: 2},
	}, Config{RateHz: 500, Bits: 10, Signed: true}},
	{"four notches", signalpath.Settings{
		Drift:  signalpath.Drift{On: true, CutoffHz: 5, Order: 5},
		Hum:    signalpath.Hum{Mode: signalpath.Notch, FreqHz: 60, BandwidthHz: 0.5, Harmonics: 4},
		Smooth: signalpath.Smooth{Shape: signalpath.Butterworth, CutoffHz: 5, Order: 2},
	}, Config{RateHz: 360, Bits: 12, Signed: true}},
	{"ten notches", signalpath.Settings{
		Drift:  signalpath.Drift{On: true, CutoffHz: 5, Order: 8},
		Hum:    signalpath.Hum{Mode: signalpath.Notch, FreqHz: 50, BandwidthHz: 5, Harmonics: 10},
		Smooth: signalpath.Smooth{Shape: signalpath.Butterworth, CutoffHz: 200, Order: 5},
	}, Config{RateHz: 1000, Bits: 24, Signed: true}},
}

func randomPath(r *rand.Rand) (signalpath.Settings, Config) {
	pick := func(v ...float64) float64 { return v[r.IntN(len(v))] }
	c := Config{RateHz: pick(97.3, 125, 200, 250, 360, 500, 1000), Bits: int(pick(8, 10, 12)), Signed: r.IntN(2) == 0, Invert: r.IntN(4) == 0, Form: Small}
	if r.IntN(4) == 0 {
		c.Bits, c.Form = int(pick(10, 16, 24)), Exact
	}
	s := signalpath.Settings{Drift: signalpath.Drift{On: r.IntN(5) > 0, CutoffHz: pick(0.3, 0.5, 1, 2, 5), Order: 1 + r.IntN(8)}}
	if r.IntN(3) > 0 {
		s.Hum = signalpath.Hum{Mode: signalpath.Notch, FreqHz: pick(25, 50, 60), BandwidthHz: pick(0.5, 1, 5, 20), Harmonics: 1 + r.IntN(5)}
	}
	if r.IntN(3) > 0 {
		s.Smooth = signalpath.Smooth{Shape: signalpath.Butterworth, CutoffHz: pick(5, 15, 40, c.RateHz*0.4, c.RateHz*0.49), Order: 1 + r.IntN(8)}
	}
	return s, c
}

// rounded are the sections with the coefficients of the whole numbers.
func (f *Filter) rounded() filter.Sections {
	var list filter.Sections
	unit := math.Exp2(float64(f.q))
	for _, s := range f.sections {
		list = append(list, filter.NewSection([3]float64{float64(s.b[0]) / unit, float64(s.b[1]) / unit, float64(s.b[2]) / unit}, [2]float64{float64(s.a[0]) / unit, float64(s.a[1]) / unit}))
	}
	return list
}

// exactly is what floating point makes of counts.
func (f *Filter) exactly(t testing.TB, s filter.Sections, x []int32) []float64 {
	t.Helper()
	c, err := filter.NewCascade(s, f.cfg.RateHz)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = float64(v)
		if f.cfg.Invert {
			out[i] = float64(f.low+f.high) - out[i]
		}
	}
	c.Process(out, out)
	return out
}

// worstInputs drive each section as far up and as far down as any input can: the
// converter's ends by the sign of the impulse response up to it, turned round in time.
func (f *Filter) worstInputs(t testing.TB, seconds float64) []int32 {
	t.Helper()
	n := int(seconds * f.cfg.RateHz)
	var list []int32
	for k := range f.sections {
		c, err := filter.NewCascade(f.rounded()[:k+1], f.cfg.RateHz)
		if err != nil {
			t.Fatal(err)
		}
		h := make([]float64, n)
		h[1] = 1 // a cascade begins as if the first value had stood for ever
		c.Process(h, h)
		for _, up := range []bool{true, false} {
			for i := range h[1:] {
				v := f.low
				if (h[n-1-i] >= 0) == up {
					v = f.high
				}
				list = append(list, int32(v))
			}
		}
	}
	return list
}

// highest runs counts and answers the greatest size of a section's output, in units inside.
func (f *Filter) highest(x []int32) int64 {
	f.Reset()
	var out [1]int32
	most := int64(0)
	for i := range x {
		f.Process(out[:], x[i:i+1])
		for k := range f.sections {
			most = max(most, f.sections[k].y[0], -f.sections[k].y[0]-1)
		}
	}
	return most
}

// TestNothingWraps: no section leaves its type with the worst input that there is.
func TestNothingWraps(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	made, closest := 0, 0.0
	for n := range 160 {
		s, c := randomPath(r)
		if n < len(steep) {
			s, c = steep[n].s, steep[n].c
		}
		f, err := New(sectionsOf(t, s, c.RateHz), c)
		if err != nil {
			continue
		}
		word := int64(1<<30 - 1)
		if c.Form == Small {
			word = math.MaxInt16
		}
		high := f.highest(f.worstInputs(t, 8))
		if high > word {
			t.Errorf("%+v, %+v: a section reaches %d, %d are held", s, c, high, word)
		}
		made++
		closest = max(closest, float64(high)/float64(word))
	}
	t.Logf("%d paths; a section reached %.0f %% of what is held at most", made, 100*closest)
	if made < 50 || closest < 0.9 {
		t.Errorf("%d paths, the highest at %.2f of what is held: not much was tried", made, closest)
	}
}

// TestWorstInputInC: with the worst input the C gives what the Go form gives, which
// computes in 64 bits, and computes nothing that C leaves undefined.
func TestWorstInputInC(t *testing.T) {
	gcc, err := exec.LookPath("gcc")
	if err != nil {
		acquiretest.Missing(t, "gcc")
	}
	made := 0
	for _, k := range steep {
		for _, form := range []Form{Small, Exact} {
			c := k.c
			c.Form = form
			f, err := New(sectionsOf(t, k.s, c.RateHz), c)
			if err != nil {
				t.Logf("%s: %v", k.name, err)
				continue
			}
			made++
			dir := t.TempDir()
			write(t, filepath.Join(dir, "path.h"), f.C(nil))
			program := filepath.Join(dir, "run")
			if out, err := exec.Command(gcc, "-std=c99", "-O2", "-Wall", "-Wextra", "-Wno-type-limits", "-Werror", "-fsanitize=undefined", "-fno-sanitize-recover", "-I", dir, "-o", program, "testdata/run.c").CombinedOutput(); err != nil {
				t.Fatalf("%s: %v\n%s", k.name, err, out)
			}
			x := f.worstInputs(t, 8)
			cmd := exec.Command(program)
			cmd.Stdin = strings.NewReader(strings.Trim(fmt.Sprint(x), "[]"))
			var problems strings.Builder
			cmd.Stderr = &problems
			out, err := cmd.Output()
			if err != nil {
				t.Fatalf("%s: %v\n%s", k.name, err, problems.String())
			}
			compare(t, k.name, f, x, strings.Fields(string(out)))
		}
	}
	if made < 4 { // small of the four notches, exact of all
		t.Errorf("%d paths made, want 4 or more", made)
	}
}

// TestNoiseIsNotExceeded: whatever comes in, outputs lie no farther than Noise from what
// floating point makes of it with the same coefficients, and no farther than Noise and
// Error together from what it makes with the wanted ones.
func TestNoiseIsNotExceeded(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 7))
	made, closest := 0, 0.0
	for n := range 200 {
		s, c := randomPath(r)
		if n%5 == 0 { // a level comes through: rounded gains at the start
			s.Drift.On, s.Smooth = false, signalpath.Smooth{Shape: signalpath.RC, CutoffHz: 40}
		}
		sections := sectionsOf(t, s, c.RateHz)
		f, err := New(sections, c)
		if err != nil {
			continue
		}
		made++
		_, db := f.Error()
		span := float64(f.high - f.low)
		for kind := range 5 {
			x := make([]int32, int(20*c.RateHz))
			height := span
			for i := range x {
				at := float64(i) / c.RateHz
				beat := math.Exp(-math.Pow((math.Mod(at, 0.83)-0.2)/0.06, 2)) + 0.3*math.Exp(-math.Pow((math.Mod(at, 0.83)-0.45)/0.09, 2))
				v := 0.0
				switch kind {
				case 0: // an ordinary beat; with a high-pass its level does not count
					v = 0.45 + OrdinaryBeat*beat
					if s.Drift.On {
						height = OrdinaryBeat * span
					}
				case 1:
					v = 0.3 + 0.5*beat + 0.01*r.NormFloat64()
				case 2: // from end to end
					v = float64(i / int(c.RateHz*0.37) % 2)
				case 3:
					v = 0.999
				case 4:
					v = r.Float64()
				}
				x[i] = int32(math.Round(float64(f.low) + span*min(max(v, 0), 1)))
			}
			y := make([]int32, len(x))
			f.Reset()
			f.Process(y, x)
			same, wanted := f.exactly(t, f.rounded(), x), f.exactly(t, sections, x)
			noise, all := 0.0, 0.0
			for i, v := range y {
				counts := float64(v) / math.Exp2(float64(f.Fraction()))
				noise, all = max(noise, math.Abs(counts-same[i])), max(all, math.Abs(counts-wanted[i]))
			}
			if noise > f.Noise()+1e-9*span {
				t.Errorf("%+v, %+v: signal %d: rounding moves an output by %.3g counts, said %.3g", s, c, kind, noise, f.Noise())
			}
			if most := f.Noise() + (math.Pow(10, db/20)-1)*height; kind < 2 && all > most+1e-9*span {
				t.Errorf("%+v, %+v: signal %d: an output is %.3g counts off, said %.3g", s, c, kind, all, most)
			}
			if f.Noise() > 0 {
				closest = max(closest, noise/f.Noise())
			}
		}
	}
	t.Logf("%d paths; an output was off by %.0f %% of what is said at most", made, 100*closest)
	if made < 70 || closest < 0.3 {
		t.Errorf("%d paths, the farthest at %.2f of what is said: not much was tried, or too much is said", made, closest)
	}
}

// TestTooLittleRoom: what sixteen bits cannot do well is refused, and the other form named.
func TestTooLittleRoom(t *testing.T) {
	for _, k := range []struct {
		s    signalpath.Settings
		c    Config
		want string
	}{
		// The low-pass near half the rate makes much of what rounding cuts off.
		{signalpath.Settings{Drift: signalpath.Drift{On: true, CutoffHz: 0.5, Order: 8}, Smooth: signalpath.Smooth{Shape: signalpath.Butterworth, CutoffHz: 47.677, Order: 8}},
			Config{RateHz: 97.3, Bits: 10}, "of an ordinary beat"},
		{signalpath.Settings{Drift: signalpath.Drift{On: true, CutoffHz: 5, Order: 8}, Hum: signalpath.Hum{Mode: signalpath.Notch, FreqHz: 50, BandwidthHz: 5, Harmonics: 10}, Smooth: signalpath.Smooth{Shape: signalpath.Butterworth, CutoffHz: 200, Order: 5}},
			Config{RateHz: 500, Bits: 12, Signed: true}, "form small"},
	} {
		sections := sectionsOf(t, k.s, k.c.RateHz)
		k.c.Form = Small
		if _, err := New(sections, k.c); err == nil || !strings.Contains(err.Error(), k.want) || !strings.Contains(err.Error(), "choose the form exact") {
			t.Errorf("%+v: error %v, want one that says %q and names the form exact", k.s, err, k.want)
		}
		k.c.Form = Exact
		if f, err := New(sections, k.c); err != nil || f.Noise() > 0.1 {
			t.Errorf("%+v: exact: %v", k.s, err)
		}
	}
}
