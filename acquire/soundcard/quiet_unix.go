//go:build portaudio && unix

package soundcard

import (
	"os"

	"golang.org/x/sys/unix"
)

// quietly runs f with standard error closed off: the sound system's libraries
// print dozens of lines about devices that are not there.
func quietly(f func() error) error {
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return f()
	}
	defer null.Close()
	kept, err := unix.Dup(2)
	if err != nil {
		return f()
	}
	defer unix.Close(kept)
	if err := dupTo(int(null.Fd()), 2); err != nil {
		return f()
	}
	defer func() { _ = dupTo(kept, 2) }()
	return f()
}
