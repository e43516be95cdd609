//go:build portaudio && linux

package soundcard

import "golang.org/x/sys/unix"

func dupTo(from, to int) error { return unix.Dup3(from, to, 0) }
