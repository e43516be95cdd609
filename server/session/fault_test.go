package session

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
)

// counter is a tap that counts the samples and gaps it is told, and fails when told to.
type counter struct {
	next, samples, lost int64
	fail                func(first int64) bool
	restarts, redesigns int
	clockHz             float64
}

func (c *counter) Begin(uint32, acquire.Info, float64, time.Time) { c.next = 0 }
func (c *counter) Samples(first int64, counts [][]int32) {
	if c.fail != nil && c.fail(first) {
		panic("a tap's fault")
	}
	c.next = first + int64(len(counts[0]))
	c.samples += int64(len(counts[0]))
}
func (c *counter) Gap(_, samples int64, _ string) { c.lost += samples }
func (c *counter) Rate(float64)                   {}
func (c *counter) Beats(int, []beat.Beat, int)    {}
func (c *counter) Note(int64, string)             {}
func (c *counter) Text(int64, []string)           {}
func (c *counter) Settings([]ChannelState)        {}
func (c *counter) End()                           {}
func (c *counter) Engines(channel.Start)          {}
func (c *counter) Engine(_ int64, v channel.Event) {
	if v.Restart {
		c.restarts++
	}
	if v.RateHz > 0 {
		c.redesigns++
	}
	if v.ClockHz > 0 {
		c.clockHz = v.ClockHz
	}
}

// brokenRead is a script whose Read may panic.
type brokenRead struct{ *script }

func (s brokenRead) Read(ctx context.Context) (acquire.Block, error) {
	b, err := s.script.Read(ctx)
	if b.Len() == 13 {
		panic("a source's fault")
	}
	return b, err
}

func (s *Session) waitState(t *testing.T, what string, ok func(State) bool) State {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if state := s.State(); ok(state) {
			return state
		} else if time.Now().After(deadline) {
			t.Fatalf("in 10 s not %s: %+v", what, state)
		}
	}
}

// TestFaultCostsItsBlock: a panic in a block's working costs that block, is shown, and the
// next blocks are seen as if it had been lost on the way.
func TestFaultCostsItsBlock(t *testing.T) {
	for _, f := range []struct {
		name          string
		tap           *counter
		bad           acquire.Block
		samples, lost int64 // that the tap gets
	}{
		{"in a tap", &counter{fail: func(first int64) bool { return first == 100 }}, ramp(100, 0, 50, time.Now()), 150, 50},
		{"in an engine", &counter{}, func() acquire.Block { b := ramp(100, 0, 50, time.Now()); b.Counts = b.Counts[:1]; return b }(), 200, 0},
	} {
		t.Run(f.name, func(t *testing.T) {
			other := volts
			other.Label = "b"
			info := acquire.Info{Address: "test:x", Name: "x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{volts, other}}
			src := newScript(info)
			s := start(t, []Tap{f.tap}, src)
			two := func(b acquire.Block) acquire.Block { b.Counts = append(b.Counts, b.Counts[0]); return b }
			src.blocks <- two(ramp(0, 0, 100, time.Now()))
			if f.tap.fail != nil {
				f.bad = two(f.bad)
			}
			src.blocks <- f.bad
			src.blocks <- two(ramp(150, 0, 50, time.Now()))
			state := s.waitState(t, "at sample 200 with the fault shown", func(st State) bool { return st.LastIndex == 200 && st.Problem != "" })
			if !strings.Contains(state.Problem, "a fault of the program") || state.Status != StatusRunning {
				t.Errorf("state %q, problem %q", state.Status, state.Problem)
			}
			for n := range 2 {
				values, _, _, err := s.Recent(n, 0, 10)
				if err != nil || len(values) != 50 || values[0] != 76 || values[49] != 76+49*0.5 {
					t.Errorf("channel %d after the fault: %d values %v, %v; want 50 from 76 V", n, len(values), values, err)
				}
			}
			if err := s.do(t.Context(), func() {
				if f.tap.samples != f.samples || f.tap.lost != f.lost || f.tap.next != 200 || f.tap.restarts == 0 {
					t.Errorf("the tap got %+v, want %d samples and %d lost", *f.tap, f.samples, f.lost)
				}
			}); err != nil {
				t.Fatal(err)
			}
		})
	}
}

// TestFaultOfSourceAndCommand: a panic in a source's Read fails the source, one in a
// command is its answer; the session goes on in both.
func TestFaultOfSourceAndCommand(t *testing.T) {
	info := acquire.Info{Address: "test:x", Name: "x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{volts}}
	src, next := brokenRead{newScript(info)}, brokenRead{newScript(info)}
	s := start(t, nil, src, next)
	var fault *guard.Fault
	if err := s.do(t.Context(), func() { panic("a command's fault") }); !errors.As(err, &fault) || fault.Value != "a command's fault" {
		t.Errorf("a command that panics is answered by %v", err)
	}
	src.blocks <- ramp(0, 0, 13, time.Now())
	s.waitState(t, "failed", func(st State) bool {
		return st.Status == StatusFailed && strings.Contains(st.StatusText, "a source's fault")
	})
	if err := s.Open(t.Context(), "test:x"); err != nil {
		t.Fatal(err)
	}
	next.blocks <- ramp(0, 0, 20, time.Now())
	s.waitState(t, "running again", func(st State) bool { return st.Status == StatusRunning && st.LastIndex == 20 })
}

// TestMessageWithoutNumber: what JSON cannot hold is left out, nothing else is.
func TestMessageWithoutNumber(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if m, err := textMessage(Playback{Speed: v}); !errors.Is(err, errUnspeakable) || m.Data != nil {
			t.Errorf("%g became %q, %v", v, m.Data, err)
		}
	}
	info := acquire.Info{Address: "test:x", Name: "x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{volts}}
	src := newScript(info)
	s := start(t, nil, src)
	if err := s.do(t.Context(), func() {
		s.message(Playback{Speed: math.NaN()})
		s.mu.Lock()
		s.state.Channels[0].HighVolts = math.Inf(1)
		s.mu.Unlock()
		s.sendState()
	}); err != nil {
		t.Fatal(err)
	}
	s.Watch().Close()
	src.blocks <- ramp(0, 0, 20, time.Now())
	s.waitState(t, "at sample 20", func(st State) bool { return st.LastIndex == 20 })
}
