package session

import (
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
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
	at, n := time.Unix(1e9, 0), int64(0)
	run := func(period time.Duration, seconds float64) {
		for until := at.Add(time.Duration(seconds * 1e9)); at.Before(until); at = at.Add(period) {
			n++
			s.estimator.Observe(n, at)
		}
	}
	run(4*time.Millisecond, 30)
	if doubt := s.doubtOf(); doubt != "" {
		t.Errorf("steady board: %s", doubt)
	}
	run(5*time.Millisecond, 5)
	doubt := s.doubtOf()
	if !strings.Contains(doubt, "200 to 250 a second") {
		t.Errorf("5 s after the loop slowed: %q", doubt)
	}
	s.source = loopSource{exact: true}
	if doubt := s.doubtOf(); doubt != "" {
		t.Errorf("an exact clock was doubted: %s", doubt)
	}
	s.source = loopSource{}
	run(5*time.Millisecond, 10)
	if doubt := s.doubtOf(); doubt != "" {
		t.Errorf("15 s after the loop slowed: %s", doubt)
	}
}
