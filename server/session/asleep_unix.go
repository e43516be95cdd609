//go:build linux || darwin

package session

import (
	"time"

	"golang.org/x/sys/unix"
)

// asleepTotal is how long this computer has slept since it was started, by a clock that
// goes on in a sleep and one that stands still as Go's does. On a busy computer this
// thread may wait between two looks at the clocks, which must not pass for sleep: the
// quickest of some counts.
func asleepTotal() time.Duration {
	best, slept := time.Duration(1<<62), time.Duration(0)
	for range 20 {
		var before, whole, after unix.Timespec
		if unix.ClockGettime(awakeClock, &before) != nil || unix.ClockGettime(wholeClock, &whole) != nil || unix.ClockGettime(awakeClock, &after) != nil {
			return 0
		}
		if took := time.Duration(after.Nano() - before.Nano()); took < best {
			best, slept = took, time.Duration(whole.Nano()-before.Nano())
		}
		if best < time.Millisecond {
			break
		}
	}
	return slept.Round(10 * time.Millisecond)
}
