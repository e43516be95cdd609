package recording

import (
	"math"
	"math/rand/v2"
	"os/exec"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

func needTool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		acquiretest.Missing(t, "the program "+name)
	}
	return path
}

// lampClip is a 10-bit converter on a 5 V supply.
func lampClip() acquire.Channel {
	return acquire.Channel{Label: "pulse", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 5.0 / 1024, MinCount: 0, MaxCount: 1023}
}

// chestLead is a 24-bit converter, ±2.5 V around a 2.5 V mid-rail.
func chestLead() acquire.Channel {
	return acquire.Channel{Label: "chest ecg", Kind: acquire.KindECG, Unit: "V", VoltsPerCount: 2.5 / (1 << 23), OffsetVolts: 2.5, MinCount: -1 << 23, MaxCount: 1<<23 - 1}
}

// noise makes counts over a channel's whole range; both ends occur.
func noise(c acquire.Channel, n int, seed uint64) []int32 {
	r := rand.New(rand.NewPCG(seed, 1))
	row := make([]int32, n)
	low, high := c.MinCount, c.MaxCount
	if low == high {
		low, high = -1<<20, 1<<20
	}
	for i := range row {
		switch r.IntN(20) {
		case 0:
			row[i] = low
		case 1:
			row[i] = high
		default:
			row[i] = low + int32(r.Int64N(int64(high)-int64(low)+1))
		}
	}
	return row
}

func mustOpen(t testing.TB, path string) *File {
	t.Helper()
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// all reads a whole file.
func all(t testing.TB, f *File) [][]int32 {
	t.Helper()
	counts := make([][]int32, len(f.Describe().Channels))
	for c := range counts {
		counts[c] = make([]int32, f.Len())
	}
	if n, err := f.ReadAt(counts, 0); err != nil {
		t.Fatalf("read %d of %d: %v", n, f.Len(), err)
	}
	return counts
}

func sameCounts(t testing.TB, got, want [][]int32) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d channels, want %d", len(got), len(want))
	}
	for c := range want {
		if len(got[c]) != len(want[c]) {
			t.Fatalf("channel %d has %d samples, want %d", c, len(got[c]), len(want[c]))
		}
		for i := range want[c] {
			if got[c][i] != want[c][i] {
				t.Fatalf("channel %d sample %d is %d, want %d", c, i, got[c][i], want[c][i])
			}
		}
	}
}

func near(a, b, relative float64) bool { return math.Abs(a-b) <= relative*math.Abs(b) }

var anEvening = time.Date(2026, 3, 12, 19, 42, 5, 250e6, time.Local)
