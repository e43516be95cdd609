package firmware

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/recording"
)

// dataFolder is where the open recordings are, or the test is skipped (fails in CI).
func dataFolder(t *testing.T) string {
	t.Helper()
	root := os.Getenv("PULSEWRIGHT_DATA")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared", "data")
	}
	if _, err := os.Stat(root); err != nil {
		acquiretest.Missing(t, "open test signals ("+err.Error()+"; set PULSEWRIGHT_DATA)")
	}
	return root
}

// asConverted is the first lead of a record as a 10-bit converter sees it at 250 Hz:
// straight between samples, 10 mV over the range (MIT-BIH: 200 counts a millivolt).
func asConverted(t *testing.T, path string, seconds float64) []taken {
	t.Helper()
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rateHz := f.Describe().ClaimedRateHz
	n := min(f.Len(), int64(seconds*rateHz))
	var x []float64
	last := int32(0)
	err = f.Blocks(context.Background(), 0, n, func(_ int64, block [][]int32) error {
		for _, count := range block[0] {
			if count != acquire.MissingCount {
				last = count
			}
			x = append(x, float64(last))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	list := make([]taken, int(float64(len(x))*250/rateHz))
	for i := range list {
		p := float64(i) * rateHz / 250
		k := int(p)
		v := x[k]
		if k+1 < len(x) {
			v += (x[k+1] - x[k]) * (p - float64(k))
		}
		list[i].count = int32(min(max(math.Round(v/2), 0), 1023))
	}
	return list
}

// TestRecordsOnABoard feeds the simulated ATmega328P's converter with records of the MIT-BIH
// Arrhythmia Database (Moody and Mark 2001): its lines are those of the Go code, whose beats
// and rates TestBoardFinderOnMIT scores. A minute of two records; PULSEWRIGHT_BOARD_RECORDS=all
// takes all sixteen, whole.
func TestRecordsOnABoard(t *testing.T) {
	folder := filepath.Join(dataFolder(t), "mitdb")
	runner := avrTools(t)
	names, seconds := []string{"105", "203"}, 60.0
	if os.Getenv("PULSEWRIGHT_BOARD_RECORDS") == "all" {
		names, seconds = nil, math.Inf(1)
		all, err := filepath.Glob(filepath.Join(folder, "*.hea"))
		if err != nil || len(all) == 0 {
			t.Fatalf("no record in %s: %v", folder, err)
		}
		for _, path := range all {
			names = append(names, filepath.Base(path[:len(path)-len(".hea")]))
		}
	}
	b := mustBoard(t, ECG, Config{RateHz: 250, Bits: 10})
	elf, _, _ := buildAVR(t, b, AVR)
	for _, name := range names {
		b := mustBoard(t, ECG, Config{RateHz: 250, Bits: 10})
		r := runAVR(t, runner, elf, b, asConverted(t, filepath.Join(folder, name+".hea"), min(seconds, 1e6)))
		t.Logf("%s: %d samples alike, %d to %d cycles apart, %.1f %% of 16 MHz", name, r.samples, r.shortest, r.longest, 100*r.awake*250/16e6)
		if r.shortest < 64000-128 || r.longest > 64000+128 {
			t.Errorf("%s: samples %d to %d cycles apart: one was late", name, r.shortest, r.longest)
		}
	}
}
