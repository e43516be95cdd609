package firmware

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"pulsewright/acquire/acquiretest"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/signalpath"
)

func preset(t testing.TB, kind string, rateHz float64) filter.Sections {
	t.Helper()
	p, err := signalpath.New(signalpath.Preset(kind, rateHz), rateHz)
	if err != nil {
		t.Fatal(err)
	}
	s, err := p.Sections()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustNew(t testing.TB, s filter.Sections, c Config) *Filter {
	t.Helper()
	f, err := New(s, c)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// counts are a beat-like wave with noise, steps and both ends of the converter.
func counts(c Config, n int) []int32 {
	r := rand.New(rand.NewPCG(uint64(c.Bits), 2))
	span := math.Exp2(float64(c.Bits))
	low := 0.0
	if c.Signed {
		low = -span / 2
	}
	list := make([]int32, n)
	for i := range list {
		v := 0.45 + 0.2*math.Exp(-math.Pow(math.Mod(float64(i)/c.RateHz, 0.8)-0.2, 2)/0.005) + 0.01*r.NormFloat64()
		switch {
		case i%997 > 950:
			v = 2 // beyond the end
		case i%997 > 900:
			v = -1
		}
		list[i] = int32(math.Round(low + span*v))
	}
	return list
}

var configs = []struct {
	name, kind string
	c          Config
}{
	{"pulse 10 bits 250 Hz", "pulse", Config{RateHz: 250, Bits: 10}},
	{"pulse 10 bits 250 Hz small", "pulse", Config{RateHz: 250, Bits: 10, Form: Small}},
	{"ecg 10 bits 500 Hz", "ecg", Config{RateHz: 500, Bits: 10}},
	{"ecg 12 bits 250 Hz small", "ecg", Config{RateHz: 250, Bits: 12, Signed: true, Form: Small}},
	{"ecg 24 bits 1000 Hz", "ecg", Config{RateHz: 1000, Bits: 24, Signed: true}},
	{"pulse 16 bits 1000 Hz", "pulse", Config{RateHz: 1000, Bits: 16}},
	{"nothing", "other", Config{RateHz: 250, Bits: 10}},
}

// TestAgainstFloatingPoint: outputs follow the live view's filter, which computes in
// 64-bit floating point and is itself checked against scipy.
func TestAgainstFloatingPoint(t *testing.T) {
	for _, k := range configs {
		s := preset(t, k.kind, k.c.RateHz)
		f := mustNew(t, s, k.c)
		x := counts(k.c, int(20*k.c.RateHz))
		got := make([]int32, len(x))
		f.Process(got, x)
		c, err := filter.NewCascade(s, k.c.RateHz)
		if err != nil {
			t.Fatal(err)
		}
		want := make([]float64, len(x))
		for i, v := range x {
			want[i] = float64(min(max(int64(v), f.low), f.high))
		}
		c.Process(want, want)
		worst, scale := 0.0, math.Exp2(float64(f.Fraction()))
		for i := range want {
			worst = max(worst, math.Abs(float64(got[i])/scale-want[i]))
		}
		span := math.Exp2(float64(k.c.Bits))
		at, db := f.Error()
		t.Logf("%s: worst difference %.3g counts (%.2g of the range); gain %.3g dB off at %.3g Hz", k.name, worst, worst/span, db, at)
		// Truncating each of n outputs costs up to a unit inside and the output's own.
		limit := 1/scale + 4*float64(len(s)+1)*math.Exp2(-float64(f.guard))
		limit += span * (math.Pow(10, db/20) - 1) * 3
		if worst > limit {
			t.Errorf("%s: %g counts off, want at most %g", k.name, worst, limit)
		}
	}
}

// TestCIsTheSame compiles the C and runs it on the same counts.
func TestCIsTheSame(t *testing.T) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		acquiretest.Missing(t, "a C compiler")
	}
	for _, k := range configs {
		f := mustNew(t, preset(t, k.kind, k.c.RateHz), k.c)
		dir := t.TempDir()
		write(t, filepath.Join(dir, "path.h"), f.C([]string{"lamp clip, " + k.name}))
		program := filepath.Join(dir, "run")
		if out, err := exec.Command(cc, "-std=c99", "-O1", "-Wall", "-Wextra", "-Wno-type-limits", "-Werror", "-fsanitize=undefined", "-fno-sanitize-recover", "-I", dir, "-o", program, "testdata/run.c").CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", k.name, err, out)
		}
		x := counts(k.c, 5000)
		cmd := exec.Command(program)
		cmd.Stdin = strings.NewReader(strings.Trim(fmt.Sprint(x), "[]"))
		var problems bytes.Buffer
		cmd.Stderr = &problems
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v\n%s", k.name, err, problems.String())
		}
		compare(t, k.name, f, x, strings.Fields(string(out)))
	}
}

// TestOnABoard runs the C on a simulated ATmega328P: the same numbers, and its cycles.
func TestOnABoard(t *testing.T) {
	for _, tool := range []string{"avr-gcc", "simavr"} {
		if _, err := exec.LookPath(tool); err != nil {
			acquiretest.Missing(t, tool+" (install gcc-avr avr-libc simavr)")
		}
	}
	for _, k := range configs {
		f := mustNew(t, preset(t, k.kind, k.c.RateHz), k.c)
		dir := t.TempDir()
		x := counts(k.c, 300)
		write(t, filepath.Join(dir, "path.h"), f.C(nil))
		write(t, filepath.Join(dir, "counts.h"), "static const int32_t counts[] PROGMEM = {"+strings.ReplaceAll(strings.Trim(fmt.Sprint(x), "[]"), " ", ", ")+"};\n")
		elf := filepath.Join(dir, "board.elf")
		if out, err := exec.Command("avr-gcc", "-std=gnu99", "-Os", "-Wall", "-Wno-type-limits", "-Werror", "-mmcu=atmega328p", "-DF_CPU=16000000UL", "-I", dir, "-o", elf, "testdata/board.c").CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", k.name, err, out)
		}
		out, err := exec.Command("simavr", "-m", "atmega328p", "-f", "16000000", elf).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", k.name, err, out)
		}
		var values []string
		most := 0
		for _, m := range regexp.MustCompile(`(-?\d+) (\d+)\.`).FindAllStringSubmatch(string(out), -1) {
			var c int
			fmt.Sscan(m[2], &c)
			values = append(values, m[1])
			if len(values) > 1 { // the first starts up
				most = max(most, c)
			}
		}
		compare(t, k.name, f, x, values)
		if e := float64(f.Cycles()); math.Abs(float64(most)-e) > 0.15*e+20 {
			t.Errorf("%s: %d cycles on the board, said to be about %g", k.name, most, e)
		}
		t.Logf("%s: %d sections, at most %d cycles a sample: %.1f %% of a 16 MHz processor", k.name, len(f.sections), most, 100*float64(most)*k.c.RateHz/16e6)
	}
}

func compare(t *testing.T, name string, f *Filter, x []int32, values []string) {
	t.Helper()
	want := make([]int32, len(x))
	f.Reset()
	f.Process(want, x)
	if len(values) != len(want) {
		t.Fatalf("%s: %d values, want %d", name, len(values), len(want))
	}
	for i, v := range values {
		if v != fmt.Sprint(want[i]) {
			t.Fatalf("%s: sample %d is %s, want %d", name, i, v, want[i])
		}
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestSmallCoefficients: a first-order high-pass of 0.5 Hz with 14 fractional bits has
// its corner at 0.44 Hz when sampled at 250 Hz, and at 1 kHz a pole at z = 1 within two
// steps (closed form: a1 = −(1 − K)/(1 + K), K = tan(π·0.5/fs), rounded to 1/16384). With
// 30 bits both keep their corner.
func TestSmallCoefficients(t *testing.T) {
	corner := func(f *Filter) float64 {
		low, high := 0.01, 5.0
		for range 60 {
			mid := math.Sqrt(low * high)
			if cmplx.Abs(f.Response(mid)) < math.Sqrt(0.5) {
				low = mid
			} else {
				high = mid
			}
		}
		return low
	}
	for _, rate := range []float64{250, 1000} {
		s, err := filter.ButterworthHighPass(rate, 0.5, 1)
		if err != nil {
			t.Fatal(err)
		}
		exact := mustNew(t, s, Config{RateHz: rate, Bits: 10})
		if c := corner(exact); math.Abs(c/0.5-1) > 1e-4 {
			t.Errorf("with 30 bits at %g Hz the corner is at %g Hz, want 0.5", rate, c)
		}
		k := math.Tan(math.Pi * 0.5 / rate)
		pole := math.Round((1-k)/(1+k)*16384) / 16384
		want := math.Atan((1-pole)/(1+pole)) * rate / math.Pi
		small, err := New(s, Config{RateHz: rate, Bits: 10, Form: Small})
		if err != nil {
			t.Logf("%g Hz: %v", rate, err)
			continue
		}
		if c := corner(small); math.Abs(c/want-1) > 0.01 {
			t.Errorf("with 14 bits at %g Hz the corner is at %g Hz, want %g", rate, c, want)
		}
	}
}

func TestRefusals(t *testing.T) {
	low, err := filter.ButterworthLowPass(48000, 0.1, 2)
	if err != nil {
		t.Fatal(err)
	}
	high, err := filter.ButterworthHighPass(1000, 0.3, 2)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range []struct {
		s    filter.Sections
		c    Config
		want string
	}{
		{high, Config{RateHz: 1000, Bits: 10, Form: Small}, "choose the form exact"},
		{low, Config{RateHz: 48000, Bits: 16, Form: Small}, "8 to 12"},
		{low, Config{RateHz: 48000, Bits: 16}, "choose a lower rate or a higher corner"},
		{nil, Config{RateHz: 250, Bits: 4}, "8 to 24"},
		{nil, Config{RateHz: 250, Bits: 10, Form: "float"}, "choose exact or small"},
		{nil, Config{Bits: 10}, "rate 0 Hz"},
	} {
		if _, err := New(k.s, k.c); err == nil || !strings.Contains(err.Error(), k.want) {
			t.Errorf("%+v: error %v, want one that says %q", k.c, err, k.want)
		}
	}
}

// TestNoLimitCycle: after a large step a high-pass comes back to rest and stays there.
func TestNoLimitCycle(t *testing.T) {
	for _, form := range []Form{Exact, Small} {
		f := mustNew(t, preset(t, "pulse", 250), Config{RateHz: 250, Bits: 10, Form: form})
		x := make([]int32, 250*60)
		for i := range x {
			x[i] = 300
			if i > 250 {
				x[i] = 700
			}
		}
		f.Process(x, x)
		for i, v := range x[len(x)-2500:] {
			if v > 1<<f.fraction/4 || v < -(1<<f.fraction)/4 {
				t.Fatalf("%s: a minute after a step sample %d is %d/%d counts, want under a quarter", form, i, v, 1<<f.fraction)
			}
		}
	}
}

// TestHighPassLetsNoLevelThrough: rounding leaves its zeros at 0 Hz.
func TestHighPassLetsNoLevelThrough(t *testing.T) {
	for k := range 200 {
		for order := 1; order <= 4; order++ {
			s, err := filter.ButterworthHighPass(250, 0.2+0.01*float64(k), order)
			if err != nil {
				t.Fatal(err)
			}
			f, err := New(s, Config{RateHz: 250, Bits: 10})
			if err != nil {
				t.Fatal(err)
			}
			if g := f.Response(0); g != 0 {
				t.Fatalf("%g Hz, order %d: gain %g at 0 Hz", 0.2+0.01*float64(k), order, g)
			}
		}
	}
}
