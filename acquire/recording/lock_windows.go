package recording

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile marks a file as being written until it is closed; ErrInUse when another
// holds it. The byte that is locked lies behind any file, so that nobody who reads notices.
func lockFile(f *os.File) error {
	c, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var locked error
	behind := &windows.Overlapped{OffsetHigh: 1 << 30}
	if err := c.Control(func(fd uintptr) {
		locked = windows.LockFileEx(windows.Handle(fd), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, behind)
	}); err != nil {
		return err
	}
	if errors.Is(locked, windows.ERROR_LOCK_VIOLATION) {
		return ErrInUse
	}
	return locked
}
