package web

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/acquiretest"
)

func wiring(t *testing.T) string {
	t.Helper()
	page, err := fs.ReadFile(Files(), "wiring.html")
	if err != nil {
		t.Fatal(err)
	}
	return string(page)
}

// TestElectrodeResistors: the page's resistors let no more than 10 µA and 50 µA through
// at the whole supply (IEC 60601-1, patient leakage current, type CF, normal condition
// and single fault), and no smaller current than that.
func TestElectrodeResistors(t *testing.T) {
	rows := regexp.MustCompile(`<tr data-supply="(\d+)"><td>(\d+) V</td><td>(\d+) kΩ</td><td>(\d+) kΩ</td>`).FindAllStringSubmatch(wiring(t), -1)
	if len(rows) < 2 {
		t.Fatalf("%d rows of resistors", len(rows))
	}
	for _, row := range rows {
		var x [4]float64
		for i := range x {
			x[i], _ = strconv.ParseFloat(row[i+1], 64)
		}
		normal, fault := x[1]/(x[2]*1e3), x[1]/(x[3]*1e3)
		if x[0] != x[1] || math.Abs(normal-10e-6) > 1e-9 || math.Abs(fault-50e-6) > 1e-9 {
			t.Errorf("%v: %.3g µA and %.3g µA, want 10 and 50", row[0], normal*1e6, fault*1e6)
		}
	}
}

// part reads a value that a drawing carries.
func part(t *testing.T, svg, name string) float64 {
	t.Helper()
	m := regexp.MustCompile(`data-` + name + `="([^"]+)"`).FindStringSubmatch(svg)
	if m == nil {
		t.Fatalf("the drawing has no %s: %.90s", name, svg)
	}
	x, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// input is what stands behind the tip: a resistor to ground, or to a voltage of its own.
type input struct{ volts, ohms float64 }

// TestSoundCircuit simulates the circuits of the page with ngspice: 5 V peak to peak of
// a heartbeat's frequency about 2.5 V come out as large as the divider says and as a
// sine, both within 3 %. The diode is a 1N4148 with Is = 2.52 nA, N = 1.752 (a common
// SPICE model of it). On a biased input the circuit without the second capacitor does not.
func TestSoundCircuit(t *testing.T) {
	page := wiring(t)
	drawing := func(variant string) string {
		return regexp.MustCompile(`<svg[^>]*data-variant="` + variant + `"[^>]*>`).FindString(page)
	}
	for _, tc := range []struct {
		variant string
		in      input
		good    bool
	}{
		{"line", input{0, 10e3}, true}, {"line", input{0, 47e3}, true},
		{"biased", input{2.0, 2200}, true}, {"biased", input{2.7, 1500}, true},
		{"line", input{2.0, 2200}, false}, {"line", input{2.7, 1500}, false},
	} {
		svg := drawing(tc.variant)
		c1, r1, r2, c2 := part(t, svg, "c1"), part(t, svg, "r1"), part(t, svg, "r2"), 0.0
		join := "Vjoin node tip 0"
		if tc.variant == "biased" {
			c2 = part(t, svg, "c2")
			join = fmt.Sprintf("C2 tip node %g", c2)
		}
		deck := fmt.Sprintf("sound input\nVboard board 0 SIN(2.5 2.5 1.25)\nC1 board a %g\nR1 a node %g\nR2 node 0 %g\n%s\n"+
			"D1 node p d\nD2 p 0 d\nD3 0 q d\nD4 q node d\nRin tip bias %g\nVbias bias 0 %g\n.model d D(IS=2.52n N=1.752)\n", c1, r1, r2, join, tc.in.ohms, tc.in.volts)
		times, volts := simulate(t, deck)
		amplitude, rest := sine(times, volts, 1.25)
		load := r2 * tc.in.ohms / (r2 + tc.in.ohms)
		want := 2.5 * load / (r1 + load)
		size := amplitude/want - 1
		t.Logf("%s at %g V through %g Ω: ±%.1f mV, %+.1f %% from the divider, %.2f %% not a sine", tc.variant, tc.in.volts, tc.in.ohms, 1e3*amplitude, 100*size, 100*rest)
		if good := math.Abs(size) < 0.03 && rest < 0.03; good != tc.good {
			t.Errorf("%s at %g V through %g Ω: undistorted %v, want %v", tc.variant, tc.in.volts, tc.in.ohms, good, tc.good)
		}
	}
}

// simulate runs a deck over ten seconds and returns the voltage of the tip.
func simulate(t *testing.T, deck string) (times, volts []float64) {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		acquiretest.Missing(t, "ngspice (Debian ngspice)")
	}
	folder := t.TempDir()
	file, out := filepath.Join(folder, "deck.cir"), filepath.Join(folder, "out.txt")
	deck += ".control\nset wr_singlescale\ntran 2m 8 0 2m\nlinearize v(tip)\nwrdata " + out + " v(tip)\nquit\n.endc\n.end\n"
	if err := os.WriteFile(file, []byte(deck), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	said, err := exec.CommandContext(ctx, program, "-b", file).CombinedOutput()
	data, readErr := os.ReadFile(out)
	if readErr != nil {
		t.Fatalf("ngspice: %v\n%s", err, said)
	}
	for line := range bytes.Lines(data) {
		var at, v float64
		if n, _ := fmt.Sscan(strings.TrimSpace(string(line)), &at, &v); n == 2 {
			times, volts = append(times, at), append(volts, v)
		}
	}
	if len(times) < 3000 {
		t.Fatalf("ngspice gave %d values\n%s", len(times), said)
	}
	return times, volts
}

// sine fits a + b·sin + c·cos over whole periods: the amplitude, and the largest distance
// of a value from the fit as a share of it.
func sine(times, volts []float64, hz float64) (amplitude, rest float64) {
	n := int(6 / (times[1] - times[0])) // whole periods of 0.8 s
	n -= n % int(math.Round(1/hz/(times[1]-times[0])))
	times, volts = times[len(times)-n:], volts[len(volts)-n:]
	var a, b, c float64
	for i, at := range times {
		a += volts[i] / float64(n)
		b += 2 * volts[i] * math.Sin(2*math.Pi*hz*at) / float64(n)
		c += 2 * volts[i] * math.Cos(2*math.Pi*hz*at) / float64(n)
	}
	amplitude = math.Hypot(b, c)
	for i, at := range times {
		rest = max(rest, math.Abs(volts[i]-a-b*math.Sin(2*math.Pi*hz*at)-c*math.Cos(2*math.Pi*hz*at)))
	}
	return amplitude, rest / amplitude
}
