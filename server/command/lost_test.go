package command

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
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
	if _, err := os.Stat(out); status != 1 || !strings.Contains(told, "annotations (1)") || err == nil {
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
		if status, _, told := call("convert", "-strict", path, filepath.Join(t.TempDir(), name)); status != 1 || !strings.Contains(told, "annotations (1)") {
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
