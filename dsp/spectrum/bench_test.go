package spectrum

import (
	"math"
	"math/rand/v2"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

// BenchmarkWelchBesideScipy takes the density of ten minutes at 1 kHz and has scipy
// do the same in between: x-scipy is how many times as fast, the best of all turns of
// each.
func BenchmarkWelchBesideScipy(b *testing.B) {
	x, random := make([]float64, 600_000), rand.New(rand.NewPCG(1, 1))
	for i := range x {
		x[i] = 2.5 + random.NormFloat64()
	}
	ours, theirs := math.Inf(1), math.Inf(1)
	for b.Loop() {
		for range 5 {
			start := time.Now()
			if _, err := Of(Config{RateHz: 1000, SegmentSamples: 4096}, x); err != nil {
				b.Fatal(err)
			}
			ours = min(ours, time.Since(start).Seconds())
		}
		out, err := exec.Command("/usr/bin/python3", "testdata/bench.py", "5").Output()
		if err != nil {
			b.Skipf("SKIP: scipy (Debian: python3-scipy) is not on this machine: %v", err)
		}
		seconds, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			b.Fatal(err)
		}
		theirs = min(theirs, seconds)
	}
	b.ReportMetric(theirs/ours, "x-scipy")
	b.ReportMetric(ours/float64(len(x))*1e9, "ns/sample")
	b.ReportMetric(0, "ns/op")
}
