package session

import (
	"fmt"
	"io"
	"testing"
	"time"

	"pulsewright/acquire"
)

// TestWhatIsKeptIsBounded: the board's lines, gaps, notes and the history of a source that
// says much, loses much and runs long.
func TestWhatIsKeptIsBounded(t *testing.T) {
	info := acquire.Info{Address: "test:x", Name: "x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{volts}}
	src := newScript(info)
	s := start(t, nil, src)
	src.blocks <- ramp(0, 0, 20, time.Now())
	s.waitState(t, "at sample 20", func(st State) bool { return st.LastIndex == 20 })
	for n := range 3 * keptTexts {
		src.blocks <- acquire.Block{First: 20, Arrived: time.Now(), Text: []string{fmt.Sprint("line ", n)}}
	}
	last := fmt.Sprint("line ", 3*keptTexts-1)
	state := s.waitState(t, "told the last line", func(st State) bool { return len(st.Text) > 0 && st.Text[len(st.Text)-1] == last })
	if len(state.Text) != 50 {
		t.Errorf("%d lines of the board are kept, want 50", len(state.Text))
	}
	src.blocks <- io.EOF // nothing is waited for any more
	s.waitState(t, "ended", func(st State) bool { return st.Status == StatusEnded })
	at := int64(5)
	for range keptNotes + 10 {
		if _, err := s.AddNote(t.Context(), &at, "a note"); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.do(t.Context(), func() {
		for n := range int64(keptGaps + 10) {
			s.gap(20+n, 1, "lost")
			s.nextSource = 21 + n
		}
	}); err != nil {
		t.Fatal(err)
	}
	if state = s.State(); len(state.Notes) != 1000 || len(state.Gaps) != 1000 {
		t.Errorf("%d notes and %d gaps are kept, want 1000 of each", len(state.Notes), len(state.Gaps))
	}
	// 64 channels at 4 kHz for ten minutes would be 3 GB.
	h := newHistory(64*points, HistorySeconds*4000)
	if most := h.maxChunks * h.series * chunkSamples * 4; most > 100<<20 {
		t.Errorf("a history may take %d MB, want at most 100", most>>20)
	}
}

// TestFiltersFollowAClockThatIsFarOff: filters are designed anew where the measured rate is
// more than 0.3 % from the one they were made for; nearer it is only the clock's.
func TestFiltersFollowAClockThatIsFarOff(t *testing.T) {
	for _, c := range []struct {
		hz        float64
		redesigns bool
	}{{251.5, true}, {250.5, false}} { // 0.6 % and 0.2 % above
		src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, Channels: []acquire.Channel{volts}})
		tap := &counter{}
		s := start(t, []Tap{tap}, src)
		at := time.Now().Add(-2 * time.Minute)
		for n := range int64(900) { // 90 s
			b := ramp(25*n, 0, 25, at.Add(time.Duration(float64(25*(n+1))/c.hz*1e9)))
			src.blocks <- b
		}
		s.waitState(t, "at the measured rate", func(st State) bool {
			return st.LastIndex > 22_000 && st.SourceRateHz > c.hz-0.1 && st.SourceRateHz < c.hz+0.1
		})
		if err := s.do(t.Context(), func() {
			if (tap.redesigns > 0) != c.redesigns {
				t.Errorf("a clock of %g Hz: designed anew %d times, the clock told as %g Hz", c.hz, tap.redesigns, tap.clockHz)
			}
		}); err != nil {
			t.Fatal(err)
		}
	}
}

// TestFiltersStandAWhile: what is learnt slowly of a clock has the filters designed anew once in ten
// seconds at most, a clock that has moved at once, and one that is not well known not at all.
func TestFiltersStandAWhile(t *testing.T) {
	now := time.Now()
	for _, c := range []struct {
		hz, uncertain float64
		moved         bool
		stood         time.Duration
		want          bool
	}{
		{251, 0.1, false, 11 * time.Second, true},
		{251, 0.1, false, 9 * time.Second, false},
		{251, 1, false, 11 * time.Second, false},
		{251, 1, true, 0, true},
		{250.5, 0.1, true, 11 * time.Second, false},
	} {
		s := &Session{}
		s.designedHz, s.usedHz, s.lastRebuild = 250, c.hz, now.Add(-c.stood)
		if got := s.redesigns(c.hz, c.uncertain, c.moved, now); got != c.want {
			t.Errorf("%+v: designed anew %v", c, got)
		}
	}
}
