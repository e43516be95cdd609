package beat

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

var devRecords = []string{"100", "105", "106", "107", "109", "113", "114", "203", "208", "209", "212", "215", "219", "223", "231", "234"}

// openData gives the folder of open test signals or skips (fails in CI).
func openData(t testing.TB, folder string) fs.FS {
	t.Helper()
	root := os.Getenv("PULSEWRIGHT_DATA")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared", "data")
	}
	dir := filepath.Join(root, folder)
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("open test signals %s are missing: %v", folder, err)
		}
		t.Skipf("open test signals %s are missing (set PULSEWRIGHT_DATA): %v", folder, err)
	}
	return os.DirFS(dir)
}

func runECG(t testing.TB, x []float64, rate float64, p ecgParams) []int64 {
	d, err := newECG(ECGConfig{RateHz: rate}, p)
	if err != nil {
		t.Fatal(err)
	}
	var s []int64
	for _, b := range d.Process(nil, x) {
		s = append(s, b.Sample)
	}
	return s
}

func TestECGMIT(t *testing.T) {
	data := openData(t, "mitdb")
	var full, after score.Total
	for _, name := range devRecords {
		x, _, err := mitdata.Signal(data, name)
		if err != nil {
			t.Fatal(err)
		}
		ann, err := mitdata.Annotations(data, name)
		if err != nil {
			t.Fatal(err)
		}
		ref := score.FromAnnotations(ann)
		got := runECG(t, x, mitdata.RateHz, defaultECGParams())
		a, _ := score.Match(ref, got, score.Config{RateHz: mitdata.RateHz})
		b, _ := score.Match(ref, got, score.Config{RateHz: mitdata.RateHz, LearningSeconds: score.Learning})
		full.Add(a)
		after.Add(b)
		t.Logf("%s %5d FN %3d FP %3d Se %.2f +P %.2f | %5d FN %3d FP %3d Se %.2f +P %.2f | rms %.1f med %.1f bias %.1f ms", name,
			a.Beats(), a.FN, a.FP, 100*a.Se(), 100*a.PPV(), b.Beats(), b.FN, b.FP, 100*b.Se(), 100*b.PPV(), 1000*a.RMS(), 1000*a.MedianAbs(), 1000*a.Bias())
	}
	for _, r := range []*score.Total{&full, &after} {
		t.Logf("gross %d FN %d FP %d Se %.3f +P %.3f, average %.3f %.3f, rms %.1f med %.1f", r.Gross.Beats(), r.Gross.FN, r.Gross.FP, 100*r.Gross.Se(), 100*r.Gross.PPV(), 100*r.AverageSe(), 100*r.AveragePPV(), 1000*r.Gross.RMS(), 1000*r.Gross.MedianAbs())
	}
}
