package session

import (
	"slices"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
)

// teller notes what a tap is told, in order.
type teller struct {
	mu   sync.Mutex
	told []string
}

func (l *teller) note(what string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.told = append(l.told, what)
}

func (l *teller) events() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.told)
}

func (l *teller) Begin(uint32, acquire.Info, float64, time.Time) { l.note("begin") }
func (l *teller) Samples(int64, [][]int32)                       { l.note("samples") }
func (l *teller) Gap(int64, int64, string)                       { l.note("gap") }
func (l *teller) Restarted(int)                                  { l.note("restarted") }
func (l *teller) Rate(float64)                                   {}
func (l *teller) Beats(int, []beat.Beat, int)                    {}
func (l *teller) Note(int64, string)                             {}
func (l *teller) Text(int64, []string)                           {}
func (l *teller) Settings([]ChannelState)                        {}
func (l *teller) End()                                           { l.note("end") }

// TestTapsHearOfRestarts: a jump of a recording and a lost stretch restart the beat
// finder, and taps are told after the samples that follow and not otherwise.
func TestTapsHearOfRestarts(t *testing.T) {
	info := acquire.Info{Address: "test:x", Name: "x", ClaimedRateHz: 1000, ExactClock: true, Channels: []acquire.Channel{{Label: "a", Kind: acquire.KindPulse, MaxCount: 1 << 20}}}
	source := newScript(info)
	tap := &teller{}
	start(t, []Tap{tap}, source)
	for i := range 4 { // each later than a frame's interval, so that each makes one
		b := ramp(int64(100*i), 0, 100, time.Now())
		switch i {
		case 2:
			b.Jump = true
		case 3:
			b = ramp(500, 200, 100, time.Now())
		}
		source.blocks <- b
		time.Sleep(60 * time.Millisecond)
	}
	want := []string{"begin", "samples", "restarted", "samples", "samples", "restarted", "gap", "samples", "restarted"}
	deadline := time.Now().Add(5 * time.Second)
	for time.Now().Before(deadline) && !slices.Equal(tap.events(), want) {
		time.Sleep(20 * time.Millisecond)
	}
	if got := tap.events(); !slices.Equal(got, want) {
		t.Errorf("told %v, want %v", got, want)
	}
}
