package command

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat/score"
)

const testdata = "../../testdata"

// TestTestdataIsMadeAnew: go generate gives the same files, byte for byte, in another
// time zone too.
func TestTestdataIsMadeAnew(t *testing.T) {
	tool, err := exec.LookPath("go")
	if err != nil {
		acquiretest.Missing(t, "the go command")
	}
	folder := t.TempDir()
	cmd := exec.Command(tool, "run", filepath.Join(testdata, "make.go"), "-out", folder)
	cmd.Env = append(os.Environ(), "TZ=America/New_York")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	made, err := os.ReadDir(folder)
	if err != nil || len(made) < 10 {
		t.Fatalf("%d files, %v", len(made), err)
	}
	total := 0
	for _, e := range made {
		fresh, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		kept, err := os.ReadFile(filepath.Join(testdata, e.Name()))
		if err != nil || !bytes.Equal(kept, fresh) {
			t.Errorf("%s is not what go generate makes: %v", e.Name(), err)
		}
		total += len(kept)
	}
	if total > 300_000 {
		t.Errorf("%d bytes; at most 300,000", total)
	}
}

// TestTestdataHoldsWhatItSays: the same samples in every format, and the beats that were
// put in are those that are found.
func TestTestdataHoldsWhatItSays(t *testing.T) {
	for name, truth := range map[string]string{"lamp_clip_a.edf": "lamp_clip_a", "lamp_clip_a.bdf": "lamp_clip_a", "lamp_clip_a.csv": "lamp_clip_a", "lamp_clip_a.wav": "lamp_clip_a",
		"lamp_clip_a_lines.txt": "lamp_clip_a", "chest_lead_a.hea": "chest_lead_a"} {
		path := filepath.Join(testdata, name)
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if info := f.Describe(); info.ClaimedRateHz != 250 || f.Len() != 5000 {
			t.Errorf("%s: %g Hz, %d samples; want 250 and 5000", name, info.ClaimedRateHz, f.Len())
		}
		f.Close()
		status, out, problem := call("beats", path)
		if status != 0 {
			t.Fatalf("%s: %s", name, problem)
		}
		res, err := score.Match(score.Reference{Samples: columnOf(t, readText(t, filepath.Join(testdata, truth+"_truth.csv")), "peak"), Excluded: []score.Span{{First: -1, Last: 2 * 250}, {First: 19 * 250, Last: 1 << 40}}}, columnOf(t, out, "sample"), score.Config{RateHz: 250})
		if err != nil || res.FN+res.FP > 0 || res.TP < 18 {
			t.Errorf("%s: %d beats found, %d missed, %d extra: %v", name, res.TP, res.FN, res.FP, err)
		}
	}
}

func readText(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// columnOf reads a column of whole numbers from CSV with a header.
func columnOf(t *testing.T, text, name string) (list []int64) {
	t.Helper()
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, n := range rows[0] {
		for _, row := range rows[1:] {
			if n != name {
				continue
			}
			v, err := strconv.ParseInt(row[i], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, v)
		}
	}
	return list
}
