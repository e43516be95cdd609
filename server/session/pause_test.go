package session

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/server/hub"
)

// board prints samples to a script at 250 Hz, ten at a time, as a board does: its
// count is the number of the sample since it was switched on.
type board struct {
	src   *script
	sent  int64 // samples that reached the port
	taken int64 // samples that the board took, sent or not
	at    time.Time
}

// send delivers n samples as they are taken.
func (b *board) send(n int) {
	for ; n > 0; n -= 10 {
		b.at = b.at.Add(40 * time.Millisecond)
		b.block(10)
	}
}

// block delivers n samples at once, the oldest not sent yet.
func (b *board) block(n int) {
	block := ramp(b.sent, 0, n, b.at)
	for i := range block.Counts[0] {
		block.Counts[0][i] = int32(b.taken + int64(i))
	}
	b.src.blocks <- block
	b.sent += int64(n)
	b.taken += int64(n)
}

func newBoard(t *testing.T, exact bool) (*board, *Session, *page, *tapLog) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, ExactClock: exact, Channels: []acquire.Channel{volts}})
	tap := &tapLog{}
	s := start(t, []Tap{tap}, src)
	p := watch(t, s)
	return &board{src: src, at: time.Now().Add(-time.Minute)}, s, p, tap
}

// place looks that every sample stands where the board's count says, within slack
// samples, and returns how many there are.
func place(t *testing.T, p *page, slack int64) int {
	t.Helper()
	n := 0
	for index, v := range p.values {
		if math.IsNaN(float64(v)) {
			continue
		}
		n++
		if count := int64((float64(v) - 1) / 0.5); index-count > slack || count-index > slack {
			t.Errorf("sample %d of the board stands at %d", count, index)
			break
		}
	}
	return n
}

func TestBoardThatStopsLeavesAGap(t *testing.T) {
	b, _, p, tap := newBoard(t, false)
	b.send(1000)
	b.at = b.at.Add(5 * time.Second) // held in reset; it goes on at a time that its clock would tell
	b.taken += 1250
	b.send(500)
	p.until(func() bool { return len(p.values) == 1500 })
	if len(p.gaps) != 1 || p.gaps[0].Index != 1000 || p.gaps[0].Samples != 1250 || p.gaps[0].Reason != "nothing came" {
		t.Errorf("gaps %v, want one of 1250 samples at 1000", p.gaps)
	}
	if n := place(t, p, 0); n != 1500 {
		t.Errorf("%d samples, want 1500", n)
	}
	if !strings.Contains(tap.String(), "gap 1000+1250 samples 2250+10") {
		t.Errorf("the tap saw %s", tap)
	}
}

func TestWhatComesLateButWholeIsNoGap(t *testing.T) {
	b, s, p, _ := newBoard(t, false)
	b.send(1000)
	for _, late := range []time.Duration{0, 100, -100} { // a driver that lets go about every three seconds
		b.at = b.at.Add(3*time.Second + late*time.Millisecond)
		b.block(750)
	}
	b.send(250)
	// And a program that is late for its own reasons: what waited comes in lumps.
	b.at = b.at.Add(4 * time.Second)
	for range 4 {
		b.block(250)
	}
	b.send(250)
	p.until(func() bool { return len(p.values) == 1000+2250+250+1000+250 })
	if len(p.gaps) != 0 || s.Counters().Lost != 0 {
		t.Errorf("gaps %v though nothing is missing", p.gaps)
	}
	place(t, p, 0)
}

// The program is stopped for 8 s (SIGSTOP, a laptop's lid): the driver's buffer keeps
// the first 300 samples of that time and drops the rest.
func TestGapLiesAfterWhatABufferKept(t *testing.T) {
	b, _, p, _ := newBoard(t, false)
	b.send(1000)
	b.at = b.at.Add(8 * time.Second)
	b.block(200)
	b.block(100)
	b.taken += 2000 - 300
	b.send(500)
	p.until(func() bool { return len(p.values) == 1800 })
	if len(p.gaps) != 1 || p.gaps[0].Index != 1300 || p.gaps[0].Samples != 1700 {
		t.Errorf("gaps %v, want one of 1700 samples at 1300", p.gaps)
	}
	place(t, p, 0)
}

// As before, and samples are lost for a while longer.
func TestGapGoesOnAfterWhatABufferKept(t *testing.T) {
	b, _, p, _ := newBoard(t, false)
	b.send(1000)
	b.at = b.at.Add(8 * time.Second)
	b.block(300)
	b.taken += 2000 - 300 + 100
	b.at = b.at.Add(400 * time.Millisecond)
	b.send(500)
	p.until(func() bool { return len(p.values) == 1800 })
	if len(p.gaps) != 1 || p.gaps[0].Index != 1300 || p.gaps[0].Samples != 1800 {
		t.Errorf("gaps %v, want one of 1800 samples at 1300", p.gaps)
	}
	place(t, p, 0)
}

// sleeper is a computer's time asleep, as far as the session knows.
type sleeper struct{ total, before atomic.Int64 } // before: arrivals up to this Unix time came before the last sleep

func (z *sleeper) sleep(s time.Duration, at time.Time) {
	z.before.Store(at.UnixNano())
	z.total.Add(int64(s))
}

// newSleeping runs a session over sources on a computer that sleeps when it is told.
func newSleeping(t *testing.T, sources ...*script) (*page, *sleeper) {
	z := &sleeper{}
	var mu sync.Mutex
	s := New(Config{Hub: hub.New(1000), Openers: acquire.Openers{"test": func(context.Context, acquire.Address) (acquire.Source, error) {
		mu.Lock()
		defer mu.Unlock()
		src := sources[0]
		sources = sources[1:]
		return src, nil
	}}})
	s.asleep = func() time.Duration { return time.Duration(z.total.Load()) }
	s.sleptSince = func(at time.Time) time.Duration {
		if at.UnixNano() <= z.before.Load() {
			return time.Duration(z.total.Load())
		}
		return 0
	}
	p := watch(t, s)
	run(t, s)
	return p, z
}

// A computer that sleeps stops its clock: Arrived goes on as if nothing had been.
func TestSleepOfTheComputerIsAGap(t *testing.T) {
	for name, late := range map[string]int{"nothing under way": 0, "a block that came just before is taken after": 20} {
		t.Run(name, func(t *testing.T) {
			src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, Channels: []acquire.Channel{volts}})
			p, z := newSleeping(t, src)
			b := &board{src: src, at: time.Now()}
			b.send(1000)
			p.until(func() bool { return len(p.values) == 1000 })
			z.sleep(time.Hour, b.at.Add(time.Duration(late)*4*time.Millisecond))
			b.send(late)
			b.taken += 3600 * 250
			b.send(500)
			p.until(func() bool { return len(p.values) == 1500+late })
			if len(p.gaps) != 1 || p.gaps[0].Index != int64(1000+late) || p.gaps[0].Samples != 3600*250 || p.gaps[0].Reason != "this computer slept for 3600 s" {
				t.Errorf("gaps %v, want one of an hour at %d", p.gaps, 1000+late)
			}
			place(t, p, 0)
		})
	}
}

// The computer sleeps, and its hub with the board on it is away when it wakes; or the
// board comes back and the computer sleeps at once.
func TestSleepAndUnpluggedIsOneGapOfBoth(t *testing.T) {
	info := acquire.Info{Address: "test:x", ClaimedRateHz: 250, Channels: []acquire.Channel{volts}}
	for _, later := range []int{0, 30} {
		t.Run(fmt.Sprint(later, " samples before the sleep"), func(t *testing.T) {
			first, second := newScript(info), newScript(info)
			p, z := newSleeping(t, first, second)
			b := &board{src: first, at: time.Now()}
			b.send(1000)
			first.blocks <- fmt.Errorf("port: %w", acquire.ErrUnplugged)
			p.until(func() bool { return slices.Contains(p.states, StatusWaiting) })
			b.src, b.sent, b.at, b.taken = second, 0, b.at.Add(2*time.Second), b.taken+500
			b.send(later)
			for len(second.blocks) > 0 {
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(50 * time.Millisecond)
			z.sleep(time.Hour, time.Time{})
			b.taken += 3600 * 250
			b.send(500)
			p.until(func() bool { return len(p.values) == 1500+later })
			want := fmt.Sprint([]Gap{{1000, 500 + 3600*250, "the source was away"}})
			if later > 0 {
				want = fmt.Sprint([]Gap{{1000, 500, "the source was away"}, {1530, 3600 * 250, "this computer slept for 3600 s"}})
			}
			if got := fmt.Sprint(p.gaps); got != want {
				t.Errorf("gaps %s, want %s", got, want)
			}
			place(t, p, 0)
		})
	}
}

func TestPauseIsHeldForNoLongerThanNeeded(t *testing.T) {
	for name, end := range map[string]any{"silence": nil, "unplugged": fmt.Errorf("port: %w", acquire.ErrUnplugged), "end": io.EOF} {
		t.Run(name, func(t *testing.T) {
			b, _, p, tap := newBoard(t, false)
			b.send(1000)
			b.at = b.at.Add(5 * time.Second)
			b.taken += 1250
			b.send(10) // and nothing after it
			if end != nil {
				b.src.blocks <- end
			}
			p.until(func() bool { return len(p.values) == 1010 })
			if place(t, p, 0); len(p.gaps) != 1 || p.gaps[0].Samples != 1250 {
				t.Errorf("gaps %v, want one of 1250", p.gaps)
			}
			if !strings.Contains(tap.String(), "gap 1000+1250 samples 2250+10") {
				t.Errorf("the tap saw %s", tap)
			}
		})
	}
}

// Where samples are the clock, arrival means nothing.
func TestExactClockHasNoPauses(t *testing.T) {
	b, _, p, _ := newBoard(t, true)
	b.send(1000)
	b.at = b.at.Add(time.Hour)
	b.send(500)
	p.until(func() bool { return len(p.values) == 1500 })
	if len(p.gaps) != 0 {
		t.Errorf("gaps %v in a recording that was paused", p.gaps)
	}
}

// The board's own counter tells what is lost: nothing is counted twice.
func TestPauseWithACounterIsCountedOnce(t *testing.T) {
	b, _, p, _ := newBoard(t, false)
	b.send(1000)
	b.at = b.at.Add(5 * time.Second)
	b.taken += 1250
	b.sent += 1250 // First − the samples before = Lost
	block := ramp(b.sent, 1250, 10, b.at)
	for i := range block.Counts[0] {
		block.Counts[0][i] = int32(b.taken + int64(i))
	}
	b.src.blocks <- block
	b.sent, b.taken = b.sent+10, b.taken+10
	b.send(240)
	p.until(func() bool { return len(p.values) == 1250 })
	if len(p.gaps) != 1 || p.gaps[0].Samples != 1250 || p.gaps[0].Reason != "1250 samples lost on the way" {
		t.Errorf("gaps %v, want the counter's 1250 alone", p.gaps)
	}
	place(t, p, 0)
}

func TestSilenceShowsNoRate(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 1}}})
	s := start(t, nil, src)
	b := &board{src: src, at: time.Now().Add(-14 * time.Second)}
	b.send(1000) // the newest ten seconds ago
	p := watch(t, s)
	last := ChannelReading{}
	p.reading = func(r ChannelReading) { last = r }
	p.until(func() bool {
		return last.State == "no signal" && strings.Contains(last.Reason, "nothing has come from the source for")
	})
	// A page that comes now is told the same.
	late := watch(t, s)
	last = ChannelReading{}
	late.reading = p.reading
	late.until(func() bool { return last.State != "" })
	if last.State != "no signal" || last.RateBPM != 0 {
		t.Errorf("a late page reads %+v", last)
	}
}

// TestSecondsOfAGap: each second of signal that ends in a gap of lost samples has its reading, and so
// has the one that ends with it.
func TestSecondsOfAGap(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 1}}})
	s := start(t, nil, src)
	p := watch(t, s)
	told := map[int64]string{}
	p.reading = func(r ChannelReading) { told[r.Index] = string(r.State) + ", " + r.Reason }
	src.blocks <- ramp(0, 0, 240, time.Now())
	src.blocks <- ramp(1000, 760, 100, time.Now()) // from 0.96 to 4 s
	src.blocks <- ramp(1100, 0, 150, time.Now())
	p.until(func() bool { return told[1250] != "" })
	for at, seconds := range map[int64]string{500: "1.0", 750: "2.0", 1000: "3.0"} {
		if want := "no signal, no samples for " + seconds + " s: a gap"; !strings.HasPrefix(told[at], want) {
			t.Errorf("at sample %d %q, want %q", at, told[at], want)
		}
	}
	if !strings.HasPrefix(told[250], "searching") { // a hole of 0.04 s is bridged
		t.Errorf("at sample 250 %q", told[250])
	}
}

// A column of nan is no slow start.
func TestColumnWithoutNumbersIsSaid(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 1}}})
	s := start(t, nil, src)
	p := watch(t, s)
	last := ChannelReading{}
	p.reading = func(r ChannelReading) { last = r }
	at := time.Now().Add(-6 * time.Second)
	for k := range 60 { // a second of numbers, five of none
		b := ramp(int64(25*k), 0, 25, at.Add(time.Duration(k)*100*time.Millisecond))
		for i := range b.Counts[0] {
			if k >= 10 {
				b.Counts[0][i] = acquire.MissingCount
			}
		}
		src.blocks <- b
	}
	p.until(func() bool {
		return last.State == "no signal" && strings.HasPrefix(last.Reason, "no samples for 5.0 s: a gap")
	})
}
