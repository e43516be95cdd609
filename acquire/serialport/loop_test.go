//go:build linux || darwin

package serialport

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
)

// TestBeginnersLoop runs the loop that beginners write on a simulated board: delay(2) and
// print, after 3600 lines delay(5); with the time in each line; with a display that takes
// 80 ms each second (called so, or uneven, where the simulator does not keep up). At every second the used rate is that of the last three to 5 %, or it
// is doubted; with the time every sample stands where the board took it. The board reads a
// ramp of one count a line, so that the counts tell which lines came.
//
// It takes 30 s of a simulator that must keep up, so it runs where PULSEWRIGHT_LOOP is set.
func TestBeginnersLoop(t *testing.T) {
	if os.Getenv("PULSEWRIGHT_LOOP") == "" {
		t.Skip("SKIP: takes 30 s; set PULSEWRIGHT_LOOP=1 (make loops)")
	}
	t.Parallel()
	dir := buildBoard(t)
	var wave strings.Builder
	for i := range 401 {
		fmt.Fprintf(&wave, "%d\n", 1000+5*i)
	}
	for firmware, doubts := range map[string]string{"loop": "unevenly", "loop_display": "stands still", "loop_stamp": "", "loop_stamp_display": ""} {
		t.Run(firmware, func(t *testing.T) {
			t.Parallel()
			sim := simulate(t, dir, firmware, wave.String())
			src, err := acquire.Openers{"serial": Open}.Open(deadline(t), "serial:"+sim.port+"?baud=115200")
			if err != nil {
				t.Fatal(err)
			}
			defer src.Close()
			beginnersLoop(t, src, doubts)
		})
	}
}

type came struct {
	samples int64
	at      time.Time
}

func beginnersLoop(t *testing.T, src acquire.Source, doubts string) {
	info := src.Describe()
	e := clock.New(info.ClaimedRateHz)
	var list []came
	var began, second time.Time
	said, trusted, seconds := "", 0, 0
	var lost int64
	var zero float64 // the board's time of sample 0
	for began.IsZero() || time.Since(began) < 28*time.Second {
		b, err := src.Read(deadline(t))
		if err != nil && !errors.Is(err, acquire.ErrChanged) {
			t.Fatal(err)
		}
		if b.Len() == 0 {
			continue
		}
		if began.IsZero() {
			began, second = b.Arrived, b.Arrived.Add(5*time.Second)
		}
		lost += b.Lost
		n := b.First + int64(b.Len())
		if b.BoardSeconds != nil {
			e.ObserveBoard(n, b.BoardSeconds[b.Len()-1])
			if base := b.BoardSeconds[0] - float64(b.First)/info.ClaimedRateHz; list == nil {
				zero = base
			} else if math.Abs(base-zero) > 1e-6 {
				t.Fatalf("sample %d stands at %g s, %g after the grid's", b.First, b.BoardSeconds[0], base-zero)
			}
		}
		e.Observe(n, b.Arrived)
		list = append(list, came{n, b.Arrived})
		if b.Arrived.Before(second) {
			continue
		}
		second = second.Add(time.Second)
		seconds++
		x := e.Estimate()
		if x.Doubt != "" {
			said = x.Doubt
			continue
		}
		trusted++
		k := len(list) - 1
		for k > 0 && b.Arrived.Sub(list[k].at) < 3*time.Second {
			k--
		}
		if doubts == "" {
			continue // the board's time is the truth, whether or not the simulator keeps up
		}
		if truth := float64(n-list[k].samples) / b.Arrived.Sub(list[k].at).Seconds(); math.Abs(x.UsedHz/truth-1) > 0.05 {
			t.Errorf("after %.0f s: %.1f Hz used, %.1f come, and no doubt", b.Arrived.Sub(began).Seconds(), x.UsedHz, truth)
		}
	}
	t.Logf("claimed %.1f Hz; used %.1f Hz in the end; trusted in %d of %d s; %d lost; %q; %s", info.ClaimedRateHz, e.Estimate().UsedHz, trusted, seconds, lost, said,
		src.(acquire.HealthReporter).Health().Detail)
	if doubts != "" && !strings.Contains(said, doubts) {
		t.Errorf("it said %q, want %q", said, doubts)
	}
	if doubts == "" && trusted < seconds*9/10 {
		t.Errorf("with the board's time trusted in %d of %d s only (%s)", trusted, seconds, said)
	}
}
