package session

import (
	"fmt"
	"io"
	"math"
	"strings"
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
	if len(p.gaps) != 1 || p.gaps[0].Index != 1000 || p.gaps[0].Samples != 1250 || p.gaps[0].Reason != "nothing came for 5.0 s" {
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

// A computer that sleeps stops its clock: Arrived goes on as if nothing had been.
func TestSleepOfTheComputerIsAGap(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, Channels: []acquire.Channel{volts}})
	slept := make(chan time.Duration, 1)
	slept <- 0
	s := New(Config{Openers: nil, Hub: hub.New(1000)})
	s.asleep = func() time.Duration { d := <-slept; slept <- d; return d }
	runScript(t, s, src)
	p := watch(t, s)
	b := &board{src: src, at: time.Now()}
	b.send(1000)
	p.until(func() bool { return len(p.values) == 1000 })
	<-slept
	slept <- time.Hour
	b.taken += 3600 * 250
	b.send(500)
	p.until(func() bool { return len(p.values) == 1500 })
	if len(p.gaps) != 1 || p.gaps[0].Index != 1000 || p.gaps[0].Samples != 3600*250 || p.gaps[0].Reason != "this computer slept for 3600 s" {
		t.Errorf("gaps %v, want one of an hour at 1000", p.gaps)
	}
	place(t, p, 0)
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
