package session

import (
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
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

// TestSleepByTheSystemsClock asks in a time namespace whose CLOCK_BOOTTIME is two hours
// on (time_namespaces(7)), which is what a sleep of two hours leaves behind.
func TestSleepByTheSystemsClock(t *testing.T) {
	if os.Getenv("PULSEWRIGHT_ASLEEP") != "" {
		fmt.Println("asleep for", asleepTotal())
		return
	}
	ask := exec.Command("unshare", "--time", "--boottime", "7200", os.Args[0], "-test.run=^TestSleepByTheSystemsClock$")
	ask.Env = append(os.Environ(), "PULSEWRIGHT_ASLEEP=1")
	out, err := ask.CombinedOutput()
	_, rest, found := strings.Cut(string(out), "asleep for ")
	if err != nil || !found {
		t.Skipf("SKIP: a time namespace (Debian: util-linux, as root) is not to be had: %v: %s", err, out)
	}
	text, _, _ := strings.Cut(rest, "\n")
	got, err := time.ParseDuration(text)
	if more := got - asleepTotal(); err != nil || (more-2*time.Hour).Abs() > 100*time.Millisecond {
		t.Errorf("%v slept in the namespace, %v more than outside, want 2h: %v", got, more, err)
	}
}
