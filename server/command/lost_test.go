package command

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/server/channel"
)

// TestCommandsTellWhatWasLost: a cut file is told of by every command that reads one; -strict
// makes it an error and leaves no file behind. A whole one is told nothing of.
func TestCommandsTellWhatWasLost(t *testing.T) {
	edf, _ := record(t, simulate.Finger(), 20, ".edf")
	whole, err := os.ReadFile(edf)
	if err != nil {
		t.Fatal(err)
	}
	cut := filepath.Join(t.TempDir(), "cut.edf")
	if err := os.WriteFile(cut, whole[:len(whole)*3/4], 0o600); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "out.edf")
	for _, command := range []string{"beats", "rate", "check", "convert"} {
		end := []string{}
		if command == "convert" {
			end = []string{out}
		}
		for _, c := range []struct {
			file   string
			strict bool
			status int
			told   string
		}{{cut, true, 1, "-strict"}, {cut, false, 0, "its end is missing"}, {edf, true, 0, ""}} {
			os.Remove(out)
			args := []string{command}
			if c.strict {
				args = append(args, "-strict")
			}
			status, _, told := call(append(append(args, c.file), end...)...)
			if status != c.status || !strings.Contains(told, c.told) || c.told == "" && strings.Contains(told, "missing") {
				t.Errorf("%v: status %d, want %d; told %q", args, status, c.status, told)
			}
			if _, err := os.Stat(out); command == "convert" && (err == nil) != (c.status == 0) {
				t.Errorf("%v: the new file: %v", args, err)
			}
		}
	}
}

// TestConvertStrictDropsNothing: notes have no place in a WAV file.
func TestConvertStrictDropsNothing(t *testing.T) {
	out := filepath.Join(t.TempDir(), "a.wav")
	status, _, told := call("convert", "-strict", filepath.Join(testdata, "lamp_clip_a.edf"), out)
	if _, err := os.Stat(out); status != 1 || !strings.Contains(told, "place for them: 1 note") || err == nil {
		t.Errorf("status %d, %v, told %q", status, err, told)
	}
}

// TestConvertTellsWhatLiesBeside: notes made afterwards have no place in CSV and WAV either.
func TestConvertTellsWhatLiesBeside(t *testing.T) {
	path, _ := record(t, simulate.Finger(), 5, ".edf")
	if err := os.WriteFile(filepath.Join(filepath.Dir(path), ".marks.json"), fmt.Appendf(nil, `{%q: [{"sample": 7, "text": "turned the trimmer"}]}`, filepath.Base(path)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"a.csv", "a.wav"} {
		if status, _, told := call("convert", "-strict", path, filepath.Join(t.TempDir(), name)); status != 1 || !strings.Contains(told, "place for them: 1 note") {
			t.Errorf("%s: status %d, told %q", name, status, told)
		}
	}
	if status, _, told := call("convert", "-strict", path, filepath.Join(t.TempDir(), "a.edf")); status != 0 {
		t.Error(told)
	}
}

// TestConvertToBeyondTheEnd: what is beyond the end is the end; counts are read back exactly.
func TestConvertToBeyondTheEnd(t *testing.T) {
	in := filepath.Join(testdata, "lamp_clip_a.edf")
	out := filepath.Join(t.TempDir(), "a.csv")
	if status, _, told := call("convert", "-counts", "-from", "15", "-to", "1e9", in, out); status != 0 {
		t.Fatalf("status %d, told %q", status, told)
	}
	read := func(path string, from int64, n int) []int32 {
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if f.Len() != from+int64(n) {
			t.Fatalf("%s: %d samples, want %d", path, f.Len(), from+int64(n))
		}
		counts := [][]int32{make([]int32, n)}
		if _, err := f.ReadAt(counts, from); err != nil {
			t.Fatal(err)
		}
		return counts[0]
	}
	if a, b := read(in, 3750, 1250), read(out, 0, 1250); fmt.Sprint(a) != fmt.Sprint(b) {
		t.Error("counts changed on the way through CSV")
	}
	if status, _, told := call("convert", "-counts", in, filepath.Join(t.TempDir(), "a.edf")); status != 2 || !strings.Contains(told, "-counts") {
		t.Errorf("status %d, told %q", status, told)
	}
}

// TestConvertKeepsRatesStrictly: samples are told to be repeated only where they are, in the file that is made.
func TestConvertKeepsRatesStrictly(t *testing.T) {
	folder := t.TempDir()
	write := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("two.hea", []byte("two 2 100 500\ntwo.dat 16x2 200 16 0 0 0 0 lead\ntwo.dat 16 200 16 0 0 0 0 finger\n"))
	write("two.dat", make([]byte, 500*3*2))
	for name, want := range map[string]bool{"a.edf": false, "a.bdf": false, "a.csv": true, "a.wav": true} {
		status, _, told := call("convert", "-strict", filepath.Join(folder, "two.hea"), filepath.Join(folder, name))
		if n := strings.Count(told, "each sample is repeated"); (status != 0) != want || (n == 1) != want || n > 1 {
			t.Errorf("%s: status %d, told %q", name, status, told)
		}
	}
}

// TestConvertTellsWhatChanged within a recording, where a CSV in units has one setting for all of it; with -counts it has them all.
func TestConvertTellsWhatChanged(t *testing.T) {
	light := acquire.Channel{Label: "light", Kind: acquire.KindPulse, MinCount: -100, MaxCount: 100}
	settings := channel.Resolve(channel.Places{Described: light, RateHz: 250}).Settings
	w, err := recording.Create(filepath.Join(t.TempDir(), "a.edf"), recording.Header{NoSync: true,
		Info:     acquire.Info{ClaimedRateHz: 250, Channels: []acquire.Channel{light}},
		Settings: channel.NewCarried(channel.Start{RateHz: 250, Ratio: 1, Channels: []channel.Settings{settings}})})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write([][]int32{make([]int32, 1000)}, 0); err != nil {
		t.Fatal(err)
	}
	settings.Scale.Gain = 2
	w.Annotate(500, -1, channel.Event{Settings: &settings}.Text())
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		told string
	}{{nil, `volts of "light" (from 2 s on)`}, {[]string{"-from", "2"}, ""}, {[]string{"-counts"}, ""}} {
		status, _, told := call(append(append([]string{"convert", "-strict"}, c.args...), w.Path(), filepath.Join(t.TempDir(), "a.csv"))...)
		if (status == 0) != (c.told == "") || !strings.Contains(told, c.told) {
			t.Errorf("%v: status %d, told %q", c.args, status, told)
		}
	}
}
