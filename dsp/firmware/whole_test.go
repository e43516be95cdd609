package firmware

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/acquiretest"
)

// boards of the kinds people have.
var boards = []struct {
	name string
	kind Kind
	c    Config
}{
	{"finger, 10 bits, 250 Hz", Pulse, Config{RateHz: 250, Bits: 10}},
	{"chest, 10 bits, 250 Hz", ECG, Config{RateHz: 250, Bits: 10}},
	{"finger, 12 bits, 100 Hz, small", Pulse, Config{RateHz: 100, Bits: 12, Form: Small}},
	{"chest, 12 bits, 500 Hz", ECG, Config{RateHz: 500, Bits: 12}},
	{"chest, 16 bits signed, 360 Hz", ECG, Config{RateHz: 360, Bits: 16, Signed: true}},
	{"finger, 16 bits, 500 Hz", Pulse, Config{RateHz: 500, Bits: 16}},
	{"finger turned over, 12 bits signed, 200 Hz", Pulse, Config{RateHz: 200, Bits: 12, Signed: true, Invert: true}},
	{"chest, 8 bits, 125 Hz, small", ECG, Config{RateHz: 125, Bits: 8, Form: Small}},
}

func mustBoard(t testing.TB, kind Kind, c Config) *Board {
	t.Helper()
	b, err := NewBoard(preset(t, string(kind), c.RateHz), kind, c)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// taken is a count and how many were lost before it.
type taken struct {
	count int32
	lost  int
}

// heart is an invented signal: beats at a rate that wanders, hum, drift, noise,
// clipping now and then, holes short and long.
func heart(kind Kind, c Config, n int) []taken {
	r := rand.New(rand.NewPCG(uint64(c.Bits), uint64(c.RateHz)))
	span, low := math.Exp2(float64(c.Bits)), 0.0
	if c.Signed {
		low = -span / 2
	}
	list := make([]taken, n)
	phase := 0.0
	for i := range list {
		s := float64(i) / c.RateHz
		phase += (72 + 30*math.Sin(s/20)) / 60 / c.RateHz
		p := math.Mod(phase, 1)
		v := 0.45 + 0.05*math.Sin(s/3) + 0.02*math.Sin(2*math.Pi*50.1*s) + 0.003*r.NormFloat64()
		if kind == ECG {
			v += 0.25*math.Exp(-math.Pow((p-0.3)/0.015, 2)) + 0.06*math.Exp(-math.Pow((p-0.6)/0.05, 2))
		} else {
			v += 0.3*math.Exp(-math.Pow((p-0.3)/0.1, 2)) + 0.08*math.Exp(-math.Pow((p-0.6)/0.12, 2))
		}
		if i%9973 > 9600 {
			v += 1
		}
		if c.Invert {
			v = 1 - 1/span - v
		}
		list[i].count = int32(math.Round(low + span*math.Max(0, math.Min(v, 1-1/span))))
		switch {
		case i%3001 == 3000:
			list[i].lost = 1 + r.IntN(int(c.RateHz)/20)
		case i%20011 == 20010:
			list[i].lost = int(c.RateHz) / 4
		}
	}
	return list
}

// lines are what the board prints of what it takes, a star before those with the light on.
func lines(b *Board, list []taken) (text string, beats, rated int) {
	var out strings.Builder
	out.WriteString(b.Header())
	for _, v := range list {
		if v.lost > 0 {
			b.Lost(v.lost)
		}
		r := b.Take(v.count)
		if r.Light {
			out.WriteByte('*')
		} else {
			out.WriteByte(' ')
		}
		out.WriteString(b.Line(r))
		if r.Ago > 0 {
			beats++
		}
		if r.Rate16 > 0 {
			rated++
		}
	}
	return out.String(), beats, rated
}

// TestWholeProgramIsTheSame compiles the program with each compiler there is, without a
// word of warning, and runs it on four minutes of signal with holes and clipping.
func TestWholeProgramIsTheSame(t *testing.T) {
	compilers := 0
	for _, cc := range []string{"gcc", "clang"} {
		path, err := exec.LookPath(cc)
		if err != nil {
			continue
		}
		compilers++
		for _, k := range boards {
			b := mustBoard(t, k.kind, k.c)
			code, err := b.Program(Plain, []string{k.name})
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			write(t, filepath.Join(dir, "board.c"), code)
			program := filepath.Join(dir, "board")
			args := []string{"-std=c99", "-O1", "-Wall", "-Wextra", "-Wconversion", "-Werror"}
			if cc == "gcc" { // its run-time library comes with it
				args = append(args, "-fsanitize=undefined", "-fno-sanitize-recover")
			}
			if out, err := exec.Command(path, append(args, "-DBOARD=\""+filepath.Join(dir, "board.c")+"\"", "-o", program, "testdata/host.c")...).CombinedOutput(); err != nil {
				t.Fatalf("%s: %s: %v\n%s", cc, k.name, err, out)
			}
			list := heart(k.kind, k.c, int(240*k.c.RateHz))
			var in bytes.Buffer
			for _, v := range list {
				fmt.Fprintln(&in, v.count, v.lost)
			}
			cmd := exec.Command(program)
			cmd.Stdin = &in
			var problems bytes.Buffer
			cmd.Stderr = &problems
			out, err := cmd.Output()
			if err != nil {
				t.Fatalf("%s: %s: %v\n%s", cc, k.name, err, problems.String())
			}
			want, beats, rated := lines(b, list)
			if string(out) != want {
				t.Fatalf("%s: %s: %s", cc, k.name, firstDifference(string(out), want))
			}
			t.Logf("%s: %s: %d beats in 240 s, a rate in %.0f %% of the samples", cc, k.name, beats, 100*float64(rated)/float64(len(list)))
			if beats < 200 || beats > 320 || 2*rated < len(list) {
				t.Errorf("%s: %d beats, %d of %d samples with a rate: an invented heart of 42 to 102 bpm", k.name, beats, rated, len(list))
			}
		}
	}
	if compilers < 2 {
		acquiretest.Missing(t, "gcc and clang")
	}
}

func firstDifference(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range w {
		if i >= len(g) || g[i] != w[i] {
			return fmt.Sprintf("line %d is %q, want %q", i+1, append(g, "nothing")[min(i, len(g))], w[i])
		}
	}
	return "more lines than wanted"
}

// avrTools builds the simulator's runner.
func avrTools(t *testing.T) (runner string) {
	t.Helper()
	for _, tool := range []string{"avr-gcc", "avr-size", "cc"} {
		if _, err := exec.LookPath(tool); err != nil {
			acquiretest.Missing(t, tool+" (install gcc gcc-avr avr-libc)")
		}
	}
	if _, err := os.Stat("/usr/include/simavr/sim_avr.h"); err != nil {
		acquiretest.Missing(t, "libsimavr-dev")
	}
	runner = filepath.Join(t.TempDir(), "simrun")
	if out, err := exec.Command("cc", "-O2", "-o", runner, "testdata/simrun.c", "-lsimavr", "-lelf").CombinedOutput(); err != nil {
		t.Fatalf("simrun: %v\n%s", err, out)
	}
	return runner
}

// buildAVR compiles the whole program; it gives the file, its program memory and its RAM.
func buildAVR(t *testing.T, b *Board, target Target) (elf string, flash, ram int) {
	t.Helper()
	code, err := b.Program(target, []string{"lamp clip A"})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	source := filepath.Join(dir, "board.c")
	write(t, source, code)
	elf = filepath.Join(dir, "board.elf")
	args := []string{"-Os", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-mmcu=atmega328p", "-DF_CPU=16000000UL", "-o", elf}
	compiler := "avr-gcc"
	if target == Ino {
		compiler = "avr-g++"
		args = append(args, "-DBOARD=\""+source+"\"", "testdata/ino.cpp")
	} else {
		args = append(args, "-std=gnu99", source)
	}
	if out, err := exec.Command(compiler, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", compiler, err, out)
	}
	out, err := exec.Command("avr-size", elf).Output()
	if err != nil {
		t.Fatal(err)
	}
	var data, bss int
	if _, err := fmt.Sscan(strings.Split(string(out), "\n")[1], &flash, &data, &bss); err != nil {
		t.Fatal(err)
	}
	return elf, flash + data, data + bss
}

// boardRun is what a run on the simulated ATmega328P gave.
type boardRun struct {
	samples, shortest, longest, stack int
	awake                             float64
}

// runAVR feeds the converter with list's counts and compares the lines with b's, but for
// the light, which a byte still on its way can be behind.
func runAVR(t *testing.T, runner, elf string, b *Board, list []taken) (r boardRun) {
	t.Helper()
	var in, figures bytes.Buffer
	for i := range list {
		list[i].lost = 0
		in.Write([]byte{byte(list[i].count), byte(list[i].count >> 8)})
	}
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, runner, elf)
	cmd.Stdin, cmd.Stderr = &in, &figures
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, figures.String())
	}
	if _, err := fmt.Sscanf(figures.String(), "samples %d shortest %d longest %d awake %f stack %d", &r.samples, &r.shortest, &r.longest, &r.awake, &r.stack); err != nil {
		t.Fatalf("%q: %v", figures.String(), err)
	}
	plain := strings.NewReplacer("*", "", " ", "", "\r", "")
	want, _, _ := lines(b, list)
	got, want := plain.Replace(string(out)), plain.Replace(want)
	if !strings.HasPrefix(got, want) { // after the last count the converter's input stays
		t.Fatal(firstDifference(got, want))
	}
	return r
}

// TestWholeProgramOnABoard runs it on a simulated ATmega328P whose converter is fed.
func TestWholeProgramOnABoard(t *testing.T) {
	runner := avrTools(t)
	for _, k := range boards {
		if k.c.Bits != 10 {
			continue
		}
		b := mustBoard(t, k.kind, k.c)
		elf, flash, ram := buildAVR(t, b, AVR)
		r := runAVR(t, runner, elf, b, heart(k.kind, k.c, int(boardSeconds(t)*k.c.RateHz)))
		share := 100 * r.awake * k.c.RateHz / 16e6
		t.Logf("%s: %d samples, %d to %d cycles apart, %.1f %% of 16 MHz, flash %d, RAM %d and a stack of %d bytes", k.name, r.samples, r.shortest, r.longest, share, flash, ram, r.stack)
		if r.shortest < 64000-128 || r.longest > 64000+128 { // a tick of the converter's own clock
			t.Errorf("%s: samples %d to %d cycles apart: one was late", k.name, r.shortest, r.longest)
		}
		off := func(said, is, most float64) bool { return math.Abs(said/is-1) > most }
		if c := b.Cost(); off(float64(c.Cycles), r.awake, 0.07) || off(float64(c.FlashBytes), float64(flash), 0.1) || off(float64(c.RAMBytes), float64(ram+r.stack), 0.03) {
			t.Errorf("%s: said to cost %+v", k.name, c)
		}
		if share > 50 || ram+r.stack > 1229 || flash > 14*1024 {
			t.Errorf("%s: %.1f %% of the processor, %d bytes of RAM and stack, %d of flash: at most 50 %%, 1.2 KB, 14 KB", k.name, share, ram+r.stack, flash)
		}
	}
}

// TestInoOnABoard: the same lines from the .ino file.
func TestInoOnABoard(t *testing.T) {
	runner := avrTools(t)
	k := boards[0]
	b := mustBoard(t, k.kind, k.c)
	elf, flash, ram := buildAVR(t, b, Ino)
	r := runAVR(t, runner, elf, b, heart(k.kind, k.c, int(10*k.c.RateHz)))
	t.Logf("%s: %d samples, %d to %d cycles apart, flash %d, RAM %d", k.name, r.samples, r.shortest, r.longest, flash, ram)
}

// TestWholeProgramOnAnARM runs it on a simulated Cortex-M0 and counts its instructions.
func TestWholeProgramOnAnARM(t *testing.T) {
	for _, tool := range []string{"arm-none-eabi-gcc", "qemu-system-arm"} {
		if _, err := exec.LookPath(tool); err != nil {
			acquiretest.Missing(t, tool+" (install gcc-arm-none-eabi libnewlib-arm-none-eabi qemu-system-arm)")
		}
	}
	for _, k := range boards {
		b := mustBoard(t, k.kind, k.c)
		code, err := b.Program(Plain, []string{k.name})
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		write(t, filepath.Join(dir, "board.c"), code)
		elf := filepath.Join(dir, "board.elf")
		if out, err := exec.Command("arm-none-eabi-gcc", "-std=gnu99", "-mcpu=cortex-m0", "-mthumb", "-Os", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-DBOARD=\""+filepath.Join(dir, "board.c")+"\"",
			"-nostartfiles", "-T", "testdata/m0.ld", "-o", elf, "testdata/m0.c", "-lc", "-lgcc").CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", k.name, err, out)
		}
		list := heart(k.kind, k.c, int(boardSeconds(t)*k.c.RateHz))
		var in []byte
		for _, v := range list {
			in = binary.LittleEndian.AppendUint32(in, uint32(v.count))
			in = binary.LittleEndian.AppendUint32(in, uint32(v.lost))
		}
		write(t, filepath.Join(dir, "counts"), string(in))
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute)
		cmd := exec.CommandContext(ctx, "qemu-system-arm", "-M", "microbit", "-nographic", "-semihosting", "-icount", "shift=0", "-kernel", elf)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		cancel()
		var instructions, samples int
		if _, e := fmt.Sscanf(string(out), "instructions %d samples %d", &instructions, &samples); e != nil || err != nil {
			t.Fatalf("%s: %v, %v: %q", k.name, err, e, out)
		}
		got, err := os.ReadFile(filepath.Join(dir, "lines"))
		if err != nil {
			t.Fatal(err)
		}
		if want, _, _ := lines(b, list); string(got) != want {
			t.Fatalf("%s: %s", k.name, firstDifference(string(got), want))
		}
		// Cortex-M0 instructions take 1 cycle, loads and stores 2, branches 3 (its
		// Technical Reference Manual, table 3-1): two in the mean is much.
		share := 100 * 2 * float64(instructions) * k.c.RateHz / 48e6
		t.Logf("%s: %d samples, %d instructions each: at two cycles %.1f %% of 48 MHz", k.name, samples, instructions, share)
		if samples != len(list) || k.c.RateHz <= 250 && share > 15 {
			t.Errorf("%s: %d of %d samples, %.1f %% of the processor: at most 15 %%", k.name, samples, len(list), share)
		}
	}
}

// boardSeconds of signal run on the simulated processors: PULSEWRIGHT_BOARD_SECONDS or 40.
func boardSeconds(t *testing.T) float64 {
	t.Helper()
	seconds := 40.0
	if s := os.Getenv("PULSEWRIGHT_BOARD_SECONDS"); s != "" {
		if _, err := fmt.Sscan(s, &seconds); err != nil {
			t.Fatalf("PULSEWRIGHT_BOARD_SECONDS=%s: %v", s, err)
		}
	}
	return seconds
}
