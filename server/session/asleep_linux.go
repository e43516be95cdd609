package session

import (
	"time"

	"golang.org/x/sys/unix"
)

// asleepTotal is how long this computer has slept since it was started: CLOCK_BOOTTIME
// counts the time of a suspend, CLOCK_MONOTONIC and Go's clock do not
// (clock_gettime(2)).
func asleepTotal() time.Duration {
	var boot, awake unix.Timespec
	if unix.ClockGettime(unix.CLOCK_MONOTONIC, &awake) != nil || unix.ClockGettime(unix.CLOCK_BOOTTIME, &boot) != nil {
		return 0
	}
	return time.Duration(boot.Nano() - awake.Nano())
}
