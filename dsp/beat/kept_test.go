package beat

import (
	"sync"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

// kept holds what several tests read or compute, by name.
var kept sync.Map

type keeper struct {
	sync.Mutex
	known bool
	value any
}

// once gives what make makes, made once for all tests: nobody may change it. What a make
// that fails or skips its test leaves is made again.
func once[T any](name string, make func() T) T {
	v, _ := kept.LoadOrStore(name, &keeper{})
	k := v.(*keeper)
	k.Lock()
	defer k.Unlock()
	if !k.known {
		k.value, k.known = make(), true
	}
	return k.value.(T)
}

// mitRecord is a record of the MIT-BIH Arrhythmia Database (Moody and Mark 2001), counts of
// 5 µV.
type mitRecord struct {
	leads [2][]float64
	ref   score.Reference
}

func readMIT(t testing.TB, name string) mitRecord {
	t.Helper()
	data := openData(t, "mitdb")
	return once("mitdb/"+name, func() mitRecord {
		first, second, err := mitdata.Signal(data, name)
		if err != nil {
			t.Fatal(err)
		}
		ann, err := mitdata.Annotations(data, name)
		if err != nil {
			t.Fatal(err)
		}
		return mitRecord{[2][]float64{first, second}, score.FromAnnotations(ann)}
	})
}

// pulseBeats are the beats that the pulse detector as it is finds in a record.
func pulseBeats(t testing.TB, r record) []Beat {
	t.Helper()
	return once("pulses of "+r.name, func() []Beat { return runPulse(t, r, defaultPulseParams()) })
}

// pulseDelay is by how much they come after the R peaks, seconds.
func pulseDelay(t testing.TB, r record) float64 {
	t.Helper()
	return once("delay of "+r.name, func() float64 { _, d := scorePulse(t, r, pulseBeats(t, r)); return d })
}
