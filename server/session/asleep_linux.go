package session

import (
	"time"

	"golang.org/x/sys/unix"
)

// asleepTotal is how long this computer has slept since it was started: CLOCK_BOOTTIME
// counts the time of a suspend, CLOCK_MONOTONIC and Go's clock do not
// (clock_gettime(2)). On a busy computer this thread may wait between two looks at
// the clocks, which must not pass for sleep: the quickest of some counts.
func asleepTotal() time.Duration {
	best, slept := time.Duration(1<<62), time.Duration(0)
	for range 20 {
		var before, boot, after unix.Timespec
		if unix.ClockGettime(unix.CLOCK_MONOTONIC, &before) != nil || unix.ClockGettime(unix.CLOCK_BOOTTIME, &boot) != nil || unix.ClockGettime(unix.CLOCK_MONOTONIC, &after) != nil {
			return 0
		}
		if took := time.Duration(after.Nano() - before.Nano()); took < best {
			best, slept = took, time.Duration(boot.Nano()-before.Nano())
		}
		if best < time.Millisecond {
			break
		}
	}
	return slept.Round(10 * time.Millisecond)
}
