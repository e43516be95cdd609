// Package simulatetest hands tests the signal of a simulated board; the generator that
// comes with it knows the truth.
package simulatetest

import (
	"errors"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
)

// Run makes a board's first samples, [channel][sample].
func Run(t testing.TB, c simulate.Config, samples int64) ([][]int32, *simulate.Generator) {
	t.Helper()
	g, err := simulate.New(c)
	if err != nil {
		t.Fatal(err)
	}
	counts := make([][]int32, len(c.Channels))
	for i := range counts {
		counts[i] = make([]int32, samples)
	}
	g.Next(counts)
	return counts, g
}

// Demo makes the first samples of a demo, as opening its address does.
func Demo(t testing.TB, address string, samples int64) ([][]int32, *simulate.Generator) {
	t.Helper()
	a, err := acquire.ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	c, _, err := simulate.FromAddress(a)
	if err != nil {
		t.Fatal(err)
	}
	return Run(t, c, samples)
}

// Record writes a board's first samples to a new file at path, which ends in .edf or .bdf.
func Record(t testing.TB, c simulate.Config, samples int64, path string) ([][]int32, *simulate.Generator) {
	t.Helper()
	counts, g := Run(t, c, samples)
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{ClaimedRateHz: c.RateHz, Channels: g.Channels()}, NoSync: true})
	if err == nil {
		err = errors.Join(w.Write(counts, 0), w.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	return counts, g
}
