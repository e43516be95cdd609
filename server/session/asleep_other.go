//go:build !linux && !darwin

package session

import "time"

var started = time.Now()

// longestSleep tells a sleep from a wall clock that was set.
const longestSleep = 24 * time.Hour

// asleepTotal is how much more time has gone by on the wall than on the clock that
// stands still while the computer sleeps, since the program's start. Where that
// clock goes on (Windows), a pause is seen by itself.
func asleepTotal() time.Duration {
	more := time.Now().Round(0).Sub(started.Round(0)) - time.Since(started)
	if more < time.Second || more > longestSleep {
		return 0
	}
	return more
}
