//go:build !windows

package command

import (
	"context"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire/simulate"
)

// restless is a board whose loop does not keep its pace, as boards that also draw, print or wait do.
type restless struct {
	name string
	// rateHz is how often it samples at a time, in seconds since it began.
	rateHz func(t float64) float64
	// pauses tells how long the loop stands still after the sample at t.
	pauses func(t float64) float64
	// stamp is the name of a clock that it prints first, "" for none; it counts microseconds or
	// milliseconds from zero on, and wraps around at 2^32.
	stamp string
	zero  float64 // s
	// change is when the pace changes, 0 for never; unplugged is how long the cable is out then.
	change, unplugged float64
	// silent boards may be without a rate for good: nothing tells their samples' time.
	silent bool
}

func steps(first, second, at float64) func(float64) float64 {
	return func(t float64) float64 {
		if t < at {
			return first
		}
		return second
	}
}

func always(hz float64) func(float64) float64 { return steps(hz, hz, 0) }

func restlessBoards() []restless {
	const change = 18
	everySecond := func(t float64) float64 { // a display is drawn: 80 ms
		if math.Mod(t, 1) < 0.004 {
			return 0.08
		}
		return 0
	}
	return []restless{
		{name: "steady", rateHz: always(250)},
		{name: "250 to 200", rateHz: steps(250, 200, change), change: change},
		{name: "461 to 193", rateHz: steps(461, 193, change), change: change},
		{name: "250 to 200 with t_us", rateHz: steps(250, 200, change), change: change, stamp: "t_us"},
		{name: "wander of 15 %", rateHz: func(t float64) float64 { return 250 * (1 + 0.15*math.Sin(2*math.Pi*t/20)) }, silent: true},
		{name: "wander of 15 % with millis", rateHz: func(t float64) float64 { return 250 * (1 + 0.15*math.Sin(2*math.Pi*t/20)) }, stamp: "millis"},
		{name: "display", rateHz: always(250), pauses: everySecond, silent: true},
		{name: "display with t_us", rateHz: always(250), pauses: everySecond, stamp: "t_us"},
		{name: "pause of 2 s", rateHz: always(250), pauses: func(t float64) float64 {
			if t >= change && t < change+0.004 {
				return 2
			}
			return 0
		}, change: change},
		{name: "unplugged for 3 s", rateHz: always(250), change: change, unplugged: 3},
		{name: "t_us that wraps around", rateHz: always(250), stamp: "t_us", zero: 4294.967296 - change},
		{name: "100 Hz to 50 Hz", rateHz: steps(100, 50, change), change: change},
	}
}

// TestRateAtEverySecond: boards on pseudo-terminals whose loops slow down, wander, pause and are
// unplugged, over a pulse of 72 a minute. At each second the rate is within 5 % or it is not shown;
// after a change it is shown again 20 s later at most. It takes 46 s of the clock.
func TestRateAtEverySecond(t *testing.T) {
	if testing.Short() {
		t.Skip("short: a minute of boards")
	}
	const bpm, fine, seconds = 72.0, 4000.0, 46
	config := steady(bpm)
	config.RateHz = fine
	g, err := simulate.New(config)
	if err != nil {
		t.Fatal(err)
	}
	signal := [][]int32{make([]int32, (seconds+10)*int(fine))}
	g.Next(signal)
	channel := g.Channels()[0]
	at := func(t float64) int { // a converter of 10 bits on 5 V
		return int(math.Round(channel.Value(signal[0][min(int(t*fine), len(signal[0])-1)]) / 5 * 1023))
	}
	var wg sync.WaitGroup
	for _, board := range restlessBoards() { // all at once: they take a minute of the clock, and little work
		b := newBench(t)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		start := time.Now()
		go board.run(ctx, b, start, at)
		s := openStream(t, program(t, "serial:"+b.link+"?baud=115200"))
		wg.Go(func() { board.watch(t, s, start, bpm, seconds) })
	}
	wg.Wait()
}

// watch reads what a page is shown, until so many seconds after the board's start.
func (r restless) watch(t *testing.T, s *stream, start time.Time, bpm, seconds float64) {
	read, shown := 0, map[int]bool{}
	var last, back float64 // s of a reading before the change, and of the first one 5 s after it
	check := func(m map[string]any, now float64) {
		if m["type"] != "reading" || m["state"] != "reading" {
			return
		}
		shown[int(now)] = true
		if now < r.change || r.change == 0 {
			last = now
		} else if back == 0 && now > r.change+5 {
			back = now
		}
		rate, settling := m["rateBpm"].(float64), r.change > 0 && now > r.change && now < r.change+5
		if math.Abs(rate/bpm-1) > 0.05 && !settling {
			t.Errorf("%s: at %.0f s a rate of %.1f bpm is shown, the pulse has %g: %v", r.name, now, rate, bpm, m["reason"])
		}
	}
	s.until(r.name, time.Duration(seconds+20)*time.Second, func() bool {
		now := time.Since(start).Seconds()
		for ; read < len(s.all); read++ {
			check(s.all[read], now)
		}
		return now > seconds
	})
	reason := s.last["reading"]["reason"]
	t.Logf("%s: a rate in %d of %g seconds, before the change last at %.0f s, again at %.0f s; at the end: %v", r.name, len(shown), seconds, last, back, reason)
	switch {
	case r.silent:
	case len(shown) < 15 || last == 0:
		t.Errorf("%s: a rate in %d seconds only; it says %v", r.name, len(shown), reason)
	case r.change > 0 && (back == 0 || back > r.change+r.unplugged+22):
		t.Errorf("%s: after the change at %g s the rate came back at %.0f s (0: never); it says %v", r.name, r.change, back, reason)
	}
}

// run prints the board's lines until ctx ends.
func (r restless) run(ctx context.Context, b *bench, start time.Time, at func(float64) int) {
	names := "pulse\r\n"
	if r.stamp != "" {
		names = r.stamp + ",pulse\r\n"
	}
	b.write([]byte(names))
	plugged := true
	for t := 0.0; ctx.Err() == nil; {
		if wait := time.Until(start.Add(time.Duration(t * 1e9))); wait > time.Millisecond {
			time.Sleep(wait)
		}
		if r.unplugged > 0 {
			if out := t >= r.change && t < r.change+r.unplugged; out == plugged {
				if plugged = !out; plugged {
					b.plug()
					b.write([]byte(names))
				} else {
					b.unplug()
				}
			}
		}
		line := fmt.Sprintf("%d\r\n", at(t))
		switch r.stamp {
		case "t_us":
			line = fmt.Sprintf("%d,%s", uint32(uint64((t+r.zero)*1e6)), line)
		case "millis":
			line = fmt.Sprintf("%d,%s", uint32(uint64((t+r.zero)*1e3)), line)
		}
		b.write([]byte(line))
		next := t + 1/r.rateHz(t)
		if r.pauses != nil {
			next += r.pauses(t)
		}
		t = next
	}
}
