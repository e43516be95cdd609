package dsptest

import (
	"slices"
	"testing"
)

// Finder is a detector of events B in a stream.
type Finder[B comparable] interface {
	Process(dst []B, src []float64) []B
	Reset()
	LatencySamples() int
}

// Detector checks what every detector keeps: pieces of src give the events of the whole,
// Reset is as fresh, Process appends to dst and allocates nothing, an empty call does
// nothing. at gives an event's sample: they come in order, and in steady rhythm no later
// than declared. src must hold events.
func Detector[B comparable](t *testing.T, make_ func() Finder[B], src []float64, at func(B) int64) {
	t.Helper()
	want := make_().Process(nil, src)
	if len(want) < 10 {
		t.Fatalf("%d events, want 10 at least to check anything", len(want))
	}
	for i := 1; i < len(want); i++ {
		if at(want[i]) <= at(want[i-1]) {
			t.Errorf("event %d at %d comes after one at %d", i, at(want[i]), at(want[i-1]))
		}
	}
	d := make_()
	for _, size := range []int{1, 3, 64, 255, 256, 257, 1000} {
		d.Process(nil, src[:len(src)/3])
		d.Reset()
		var got []B
		for i := 0; i < len(src); i += size {
			got = d.Process(got, nil)
			got = d.Process(got, src[i:min(i+size, len(src))])
		}
		if !slices.Equal(got, want) {
			t.Errorf("pieces of %d after Reset: %d events, want the %d of the whole", size, len(got), len(want))
		}
	}
	first := want[0]
	if got := make_().Process([]B{first}, src); !slices.Equal(got[1:], want) || got[0] != first {
		t.Error("Process does not append to dst")
	}
	dst := make([]B, 0, 2*len(want))
	if n := testing.AllocsPerRun(3, func() { dst = d.Process(dst[:0], src) }); n != 0 {
		t.Errorf("Process allocates %g times", n)
	}
	d.Reset()
	for i := range src {
		for _, b := range d.Process(nil, src[i:i+1]) {
			if late := int64(i) - at(b); i > len(src)/2 && late > int64(d.LatencySamples()) {
				t.Errorf("the event at %d came %d samples later, declared %d", at(b), late, d.LatencySamples())
			}
		}
	}
}
