package session

import "golang.org/x/sys/unix"

// clock_gettime(2): CLOCK_BOOTTIME counts the time of a suspend, CLOCK_MONOTONIC does not.
const (
	wholeClock = unix.CLOCK_BOOTTIME
	awakeClock = unix.CLOCK_MONOTONIC
)
