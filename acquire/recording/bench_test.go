package recording

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
)

// BenchmarkReadBesideLibedf reads an hour of two channels at 1 kHz, ten seconds at a
// time, and the same file by libedf in between: x-libedf is how many times as fast,
// the best of all turns of each.
func BenchmarkReadBesideLibedf(b *testing.B) {
	program := libedf(b, "time")
	w := create(b, "hour.edf", 1000, lampClip(), lampClip())
	for i := range int64(3600) {
		must(b, w.Write([][]int32{noise(lampClip(), 1000, uint64(i)), noise(lampClip(), 1000, uint64(i+1))}, 1000*i))
		must(b, w.Annotate(1000*i, 0, BeatText(acquire.KindECG, 0.97, 0)))
	}
	must(b, w.Close())
	read := func() time.Duration {
		start := time.Now()
		f, err := Open(w.Path())
		must(b, err)
		defer f.Close()
		ten := [][]int32{make([]int32, 10_000), make([]int32, 10_000)}
		for at := int64(0); at < f.Len(); at += 10_000 {
			_, err := f.ReadAt(ten, at)
			must(b, err)
		}
		f.Annotations()
		return time.Since(start)
	}
	ours, theirs := math.Inf(1), math.Inf(1)
	for b.Loop() {
		ours = min(ours, read().Seconds())
		seconds, err := strconv.ParseFloat(strings.TrimSpace(run(b, program, w.Path(), "1")), 64)
		must(b, err)
		theirs = min(theirs, seconds)
	}
	b.ReportMetric(theirs/ours, "x-libedf")
	b.ReportMetric(2*3600*1000*2/ours/1e6, "MB/s")
	b.ReportMetric(0, "ns/op")
}
