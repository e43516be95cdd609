package command

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/beat/score"
)

// call runs the program with arguments.
func call(args ...string) (status int, stdout, stderr string) {
	var out, messages bytes.Buffer
	status = Run(context.Background(), args, &out, &messages)
	return status, out.String(), messages.String()
}

// record writes a simulated recording and returns its path and the truth.
func record(t *testing.T, c simulate.Config, seconds float64, ext string) (string, simulate.Truth) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "lamp clip"+ext)
	_, g := simulatetest.Record(t, c, int64(seconds*c.RateHz), path)
	return path, g.Truth()
}

func TestExitStatus(t *testing.T) {
	edf, _ := record(t, simulate.Finger(), 5, ".edf")
	for _, c := range []struct {
		args   []string
		status int
		out    string // standard output holds it
		err    string // standard error holds it
	}{
		{[]string{"-h"}, 0, "usage: pulsewright", ""},
		{[]string{"help"}, 0, "beats", ""},
		{[]string{"beats", "-h"}, 0, "usage: pulsewright beats", ""},
		{[]string{"serve", "--help"}, 0, "-listen", ""},
		{[]string{"nonsense"}, 2, "", `no command and no recording "nonsense"`},
		{[]string{edf, "-listen", "127.0.0.1:0"}, 2, "", "-listen stands after"},
		{[]string{"beats"}, 2, "", "name one recording"},
		{[]string{"beats", "-kind", "toe", edf}, 2, "", "choose ecg or pulse"},
		{[]string{"beats", "-channel", "-1", edf}, 2, "", "counted from 1"},
		{[]string{"beats", "-channel", "9", edf}, 1, "", "has 1 channels"},
		{[]string{"beats", "-nonsense", edf}, 2, "", "nonsense"},
		{[]string{"beats", filepath.Join(t.TempDir(), "none.edf")}, 1, "", "none.edf"},
		{[]string{"rate", "-h"}, 0, "usage: pulsewright rate", ""},
		{[]string{"rate"}, 2, "", "name one recording"},
		{[]string{"rate", "-kind", "toe", edf}, 2, "", "choose ecg or pulse"},
		{[]string{"check", "-supply", "5", edf}, 2, "", "0:5"},
		{[]string{"check", "-mains", "51", edf}, 2, "", "50 or 60"},
		{[]string{"convert", edf}, 2, "", "the new file"},
		{[]string{"convert", edf, edf}, 1, "", ""},
		{[]string{"score", "a"}, 2, "", "pairs"},
		{[]string{"score", "a", "b"}, 2, "", "-rate"},
		{[]string{"serve", "-listen", "256.0.0.1:1"}, 1, "", "-listen"},
		{[]string{"inputs", "x"}, 2, "", "no argument"},
		{[]string{"inputs"}, 0, "demo:finger\t", ""},
	} {
		status, out, messages := call(c.args...)
		if status != c.status || !strings.Contains(out, c.out) || !strings.Contains(messages, c.err) {
			t.Errorf("%q: status %d, want %d\nstdout: %s\nstderr: %s", c.args, status, c.status, out, messages)
		}
		if c.status != 0 && out != "" {
			t.Errorf("%q failed, but printed results: %s", c.args, out)
		}
	}
}

func TestARecordingAloneIsServed(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	edf, _ := record(t, simulate.Finger(), 5, ".edf")
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	var out, messages bytes.Buffer
	if status := Run(ended, []string{edf}, &out, &messages); status != 0 || !strings.Contains(out.String(), "http://127.0.0.1:") {
		t.Errorf("status %d\nstdout: %s\nstderr: %s", status, out.String(), messages.String())
	}
}

func TestBeatsOfASimulatedFingerAreTheTrueOnes(t *testing.T) {
	c := simulate.Finger()
	c.MotionPerMinute = 0
	path, truth := record(t, c, 60, ".edf")
	status, out, messages := call("beats", path)
	if status != 0 {
		t.Fatal(messages)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if lines[0] != "sample,time_s,kind,amplitude,quality,by_hand" {
		t.Fatalf("header %q", lines[0])
	}
	found := map[int64]bool{}
	for _, l := range lines[1:] {
		f := strings.Split(l, ",")
		sample, err := strconv.ParseInt(f[0], 10, 64)
		if err != nil || f[2] != "pulse" {
			t.Fatalf("line %q", l)
		}
		if at, _ := strconv.ParseFloat(f[1], 64); math.Abs(at-float64(sample)/c.RateHz) > 1e-4 {
			t.Fatalf("line %q: time does not fit the sample at %g Hz", l, c.RateHz)
		}
		found[sample] = true
	}
	missed := 0
	for _, b := range truth.Beats[0] {
		ok := false
		for d := int64(-15); d <= 15; d++ { // 60 ms
			ok = ok || found[b.Sample+d]
		}
		if !ok {
			missed++
		}
	}
	if n := len(truth.Beats[0]); missed > 2 || len(found) > n+2 { // a beat cut by either end may go either way
		t.Errorf("%d of %d true beats not found, %d found", missed, n, len(found))
	}
}

func TestCheckMeasuresTheSimulatedBoard(t *testing.T) {
	c := simulate.Finger()
	c.MotionPerMinute, c.MainsWanderHz, c.Harmonics = 0, 0, nil
	c.Channels[0].TrimmerHz, c.Channels[0].HumVolts, c.Channels[0].FlickerVolts = 0, 0.2, 0
	path, _ := record(t, c, 60, ".edf")
	status, out, messages := call("check", "-json", "-supply", "0:5", "-midrail", "2.5", path)
	if status != 0 {
		t.Fatal(messages)
	}
	var r struct {
		Hum struct {
			VoltsRMS, FreqHz float64
		}
		Pulse    struct{ HeightVolts float64 }
		Verdicts []struct{ Topic, Grade string }
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	// The simulation's own parameters are the truth: 0.2 V rms at 50 Hz beside a 1 V pulse.
	if math.Abs(r.Hum.VoltsRMS-0.2) > 0.004 || math.Abs(r.Hum.FreqHz-50) > 0.02 || math.Abs(r.Pulse.HeightVolts-1) > 0.15 {
		t.Errorf("hum %.4f V at %.3f Hz, pulse %.3f V; true are 0.2 V, 50 Hz, 1 V", r.Hum.VoltsRMS, r.Hum.FreqHz, r.Pulse.HeightVolts)
	}
	grade := ""
	for _, v := range r.Verdicts {
		if v.Topic == "hum" {
			grade = v.Grade
		}
	}
	if grade != "poor" {
		t.Errorf("hum of 57 %% of the pulse, peak to peak, is graded %q, want poor", grade)
	}
	if status, out, _ := call("check", path); status != 0 || !strings.Contains(out, "hum") {
		t.Errorf("the report for a person: %d\n%s", status, out)
	}
}

// written is the path of a file made with a text.
func written(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestScoreOfKnownLists(t *testing.T) {
	folder := t.TempDir()
	file := func(name, text string) string { return written(t, filepath.Join(folder, name), text) }
	// Four beats, one found late by 10 ms, one missed, one too many.
	reference := file("a.csv", "sample\n1000\n2000\n3000\n4000\n")
	detected := file("b.csv", "sample,time_s,kind,amplitude,quality\n1010,1.01,ecg,1,1\n2000,2,ecg,1,1\n2500,2.5,ecg,1,1\n4000,4,ecg,1,1\n")
	status, out, messages := call("score", "-rate", "1000", reference, detected)
	if status != 0 {
		t.Fatal(messages)
	}
	if got := strings.Fields(strings.Split(out, "\n")[1]); strings.Join(got[:7], " ") != "a 4 3 1 1 75.00 75.00" {
		t.Errorf("scored %q, want 3 found, 1 missed, 1 extra", got)
	}
}

// What score refuses names the thing, the value, the rule and the remedy.
func TestScoreRefuses(t *testing.T) {
	folder := t.TempDir()
	file := func(name, text string) string { return written(t, filepath.Join(folder, name), text) }
	good := file("good.csv", "sample\n1000\n2000\n")
	none := filepath.Join(folder, "none.atr")
	for _, c := range []struct {
		args   []string
		status int
		words  []string // standard error holds each
	}{
		{[]string{"-rate", "360", good}, 2, []string{"pairs", "reference"}},
		{[]string{good, good}, 2, []string{"-rate 0", "Hz", "above 0"}},
		{[]string{"-rate", "-360", good, good}, 2, []string{"-rate -360", "Hz", "above 0"}},
		{[]string{"-rate", "NaN", good, good}, 2, []string{"-rate NaN", "Hz"}},
		{[]string{"-rate", "Inf", good, good}, 2, []string{"-rate +Inf", "Hz"}},
		{[]string{"-rate", "fast", good, good}, 2, []string{"fast", "-rate"}},
		{[]string{"-rate", "360", "-learning", "-1", good, good}, 2, []string{"-learning -1", "seconds", "must be 0 or more"}},
		{[]string{"-rate", "360", "-window", "0", good, good}, 2, []string{"-window 0", "seconds", "above 0"}},
		{[]string{"-rate", "360", none, good}, 1, []string{none, "no such file"}},
		{[]string{"-rate", "360", good, none}, 1, []string{none, "no such file"}},
		{[]string{"-rate", "360", folder, good}, 1, []string{folder, "directory"}},
		{[]string{"-rate", "360", file("empty.csv", ""), good}, 1, []string{"empty.csv", "no header", "sample"}},
		{[]string{"-rate", "360", file("other.csv", "time_s,kind\n1,ecg\n"), good}, 1, []string{"other.csv", "time_s, kind", "named sample"}},
		{[]string{"-rate", "360", file("words.csv", "sample\n1000\nsoon\n"), good}, 1, []string{"words.csv", "line 3", `"soon"`, "whole number"}},
		{[]string{"-rate", "360", file("below.csv", "sample\n-5\n"), good}, 1, []string{"below.csv", "line 2", `-5`, "0 or more"}},
		{[]string{"-rate", "360", file("short.csv", "both,sample\n1,10\n1\n"), good}, 1, []string{"short.csv", "line 3", "sample"}},
		{[]string{"-rate", "360", file("text.atr", "these are no annotations at all, only words"), good}, 1, []string{"text.atr", "MIT annotation file", ".csv"}},
	} {
		status, out, messages := call(append([]string{"score"}, c.args...)...)
		if status != c.status || out != "" {
			t.Errorf("%q: status %d, want %d\nstdout: %s\nstderr: %s", c.args, status, c.status, out, messages)
		}
		for _, w := range c.words {
			if !strings.Contains(messages, w) {
				t.Errorf("%q: %q does not say %q", c.args, strings.TrimSpace(messages), w)
			}
		}
	}
}

// A file that ends a tenth of a second after an R peak, or anywhere later, lists that
// beat: what the detector still holds back at the end is told.
func TestBeatsListsTheLastBeat(t *testing.T) {
	const rate = 250
	for _, after := range []float64{0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.6} {
		// QRS of 1 mV and 80 ms, a triangle, once a second, its R peaks at 0.5, 1.5 … s, and
		// 5 µV of an amplifier's noise: what stands still is taken for clipped.
		r := rand.New(rand.NewPCG(1, 2))
		var text strings.Builder
		text.WriteString("# rate 250 Hz\necg [mV]\n")
		for i := range int((19.5 + after) * rate) {
			off := math.Abs(math.Mod(float64(i)/rate, 1) - 0.5)
			fmt.Fprintf(&text, "%.4f\n", max(0, 1-off/0.04)+0.005*r.NormFloat64())
		}
		path := filepath.Join(t.TempDir(), "short.csv")
		if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		found := foundBeats(t, "-kind", "ecg", path)
		if n := len(found); n != 20 || math.Abs(float64(found[n-1])-19.5*rate) > 2 {
			t.Errorf("the file ends %g s after the 20th R: %d beats, %v; want the last at %d", after, n, found, int64(19.5*rate))
		}
	}
}

func TestConvertKeepsTheCounts(t *testing.T) {
	edf, _ := record(t, simulate.Both(), 20, ".edf")
	folder := t.TempDir()
	csv, back := filepath.Join(folder, "a.csv"), filepath.Join(folder, "b.csv")
	again := filepath.Join(folder, "a.edf")
	for _, pair := range [][2]string{{edf, csv}, {edf, again}, {again, back}} {
		if status, _, messages := call("convert", pair[0], pair[1]); status != 0 {
			t.Fatal(messages)
		}
	}
	a, err1 := os.ReadFile(csv)
	b, err2 := os.ReadFile(back)
	if err1 != nil || err2 != nil || len(a) < 1000 {
		t.Fatal(err1, err2, len(a))
	}
	if !bytes.Equal(rows(a), rows(b)) {
		t.Error("samples changed on the way through EDF")
	}
}

// rows leaves the comments out.
func rows(b []byte) []byte {
	var out []byte
	for line := range bytes.Lines(b) {
		if line[0] != '#' {
			out = append(out, line...)
		}
	}
	return out
}

func TestPickChannel(t *testing.T) {
	write := func(head string) string {
		path := filepath.Join(t.TempDir(), "a.csv")
		text := head + "\n" + strings.Repeat("1,2,3\n", 300)
		if err := os.WriteFile(path, []byte("# rate 250 Hz\n"+text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	pick := func(path string, number int, asked string) (int, string, error) {
		rec, n, err := openAny(path, number, asked, recording.OpenOptions{})
		if err != nil {
			return 0, "", err
		}
		defer rec.File.Close()
		return n, rec.Channels[n].Kind, nil
	}
	three := write("temp,II,finger")
	for _, c := range []struct {
		number  int
		asked   string
		channel int
		kind    string
	}{
		{0, "", 1, "ecg"}, {0, "ecg", 1, "ecg"}, {0, "pulse", 2, "pulse"}, {3, "", 2, "pulse"}, {2, "pulse", 1, "pulse"}, {1, "", 0, "other"}, {0, "other", 1, "other"},
	} {
		if n, kind, err := pick(three, c.number, c.asked); err != nil || n != c.channel || kind != c.kind {
			t.Errorf("channel %d of kind %q: %d, %s, %v; want %d, %s", c.number, c.asked, n, kind, err, c.channel, c.kind)
		}
	}
	if n, kind, err := pick(write("a,b,c"), 0, "ecg"); err != nil || n != 0 || kind != "ecg" {
		t.Errorf("an ECG where none is named: %d, %s, %v", n, kind, err)
	}
	if _, _, err := pick(three, 4, ""); err == nil {
		t.Error("a fourth channel of three")
	}
}

// TestMedianDelayLeavesOutWhatIsFar: a pulse half a second after its R peak, and one that
// belongs to none.
func TestMedianDelayLeavesOutWhatIsFar(t *testing.T) {
	r := score.Reference{Samples: []int64{1000, 2000, 9000}}
	if got := score.Delay(r, []int64{1125, 2400, 9250}, 300); got != 250 {
		t.Errorf("%d samples, want the upper of 125 and 250", got)
	}
	if got := score.Delay(r, []int64{20_000}, 300); got != 0 {
		t.Errorf("%d samples of nothing near", got)
	}
}
