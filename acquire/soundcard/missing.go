//go:build !portaudio

package soundcard

import (
	"context"

	"pulsewright/acquire"
)

// Open opens an audio input. In this build it fails with ErrNotBuilt, after the
// address was checked.
func Open(_ context.Context, a acquire.Address) (acquire.Source, error) {
	if _, err := parse(a); err != nil {
		return nil, err
	}
	return nil, ErrNotBuilt
}

// Devices lists the audio inputs. In this build it fails with ErrNotBuilt.
func Devices() ([]Device, error) { return nil, ErrNotBuilt }

// Bench is an output and an input that run together; this build has none.
type Bench struct{}

// OpenBench fails with ErrNotBuilt in this build.
func OpenBench(string, string, float64) (*Bench, error) { return nil, ErrNotBuilt }

// Name is empty in this build.
func (*Bench) Name() string { return "" }

// Run fails with ErrNotBuilt in this build.
func (*Bench) Run(context.Context, []float64, int) ([]float64, error) { return nil, ErrNotBuilt }

// Close does nothing in this build.
func (*Bench) Close() error { return nil }
