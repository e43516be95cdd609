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
