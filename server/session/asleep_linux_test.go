package session

import (
	"runtime"
	"sync/atomic"
	"testing"
	"time"
)

// TestBusyComputerDoesNotSleep: with more to do than cores, the time slept stays
// what it was.
func TestBusyComputerDoesNotSleep(t *testing.T) {
	var stop atomic.Bool
	defer stop.Store(true)
	for range 4 * runtime.GOMAXPROCS(0) {
		go func() {
			for !stop.Load() {
			}
		}()
	}
	first := asleepTotal()
	for until := time.Now().Add(500 * time.Millisecond); time.Now().Before(until); {
		if now := asleepTotal(); (now - first).Abs() > 20*time.Millisecond {
			t.Fatalf("%v slept, then %v, on a computer that was awake", first, now)
		}
	}
}
