//go:build unix && !solaris && !aix

package recording

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFile marks a file as being written until it is closed; ErrInUse when another
// holds it. Where files cannot be locked the error is another.
func lockFile(f *os.File) error {
	c, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var locked error
	if err := c.Control(func(fd uintptr) { locked = unix.Flock(int(fd), unix.LOCK_EX|unix.LOCK_NB) }); err != nil {
		return err
	}
	if errors.Is(locked, unix.EWOULDBLOCK) {
		return ErrInUse
	}
	return locked
}
