package session

import (
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
	"pulsewright/dsp/beat"
)

// loopSource is a board without a claim; only its description is asked for.
type loopSource struct {
	acquire.Source
	exact bool
}

func (l loopSource) Describe() acquire.Info { return acquire.Info{ExactClock: l.exact} }

// TestUnevenClockShowsNoRate: a rate found while the board's loop has just slowed is
// withheld with the reason, and shown again once the clock is known anew.
func TestUnevenClockShowsNoRate(t *testing.T) {
	s := New(Config{})
	s.source, s.estimator = loopSource{}, clock.New(0)
	found := beat.Reading{State: beat.StateReading, RateBPM: 72, Quality: 0.9}
	at, n := time.Unix(1e9, 0), int64(0)
	run := func(period time.Duration, seconds float64) {
		for until := at.Add(time.Duration(seconds * 1e9)); at.Before(until); at = at.Add(period) {
			n++
			s.estimator.Observe(n, at)
		}
	}
	run(4*time.Millisecond, 30)
	if r := s.trusted(found); r != found {
		t.Errorf("steady board: %+v", r)
	}
	run(5*time.Millisecond, 5)
	if r := s.trusted(found); r.State != beat.StateSearching || r.RateBPM != 0 || !strings.Contains(r.Reason, "200 to 250 a second") {
		t.Errorf("5 s after the loop slowed: %+v", r)
	}
	still := beat.Reading{State: beat.StateNoSignal, Reason: "flat"}
	if r := s.trusted(still); r != still {
		t.Errorf("a reason was replaced: %+v", r)
	}
	s.source = loopSource{exact: true}
	if r := s.trusted(found); r != found {
		t.Errorf("an exact clock was doubted: %+v", r)
	}
	s.source = loopSource{}
	run(5*time.Millisecond, 10)
	if r := s.trusted(found); r != found {
		t.Errorf("15 s after the loop slowed: %+v", r)
	}
}
