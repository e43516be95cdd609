package session

import "golang.org/x/sys/unix"

// clock_gettime(3) of macOS: CLOCK_MONOTONIC_RAW goes on while the system is asleep,
// CLOCK_UPTIME_RAW does not; no clock that is set touches either.
const (
	wholeClock = unix.CLOCK_MONOTONIC_RAW
	awakeClock = unix.CLOCK_UPTIME_RAW
)
