package session

import (
	"math"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
	"pulsewright/server/channel"
)

// rates are what is known of the source's clock, and what the engines were told of it.
type rates struct {
	estimator   *clock.Estimator
	designedHz  float64 // of the points, that the filters were made for
	usedHz      float64 // of the source, as measured
	doubt       string  // of the clock, as told to the engines
	moves       int64   // of the estimator, when the filters were designed
	lastRebuild time.Time
}

// observe has the clock see a block.
func (s *Session) observe(b acquire.Block) {
	if s.source.Describe().ExactClock {
		return
	}
	total := b.First + int64(b.Len())
	if k := len(b.BoardSeconds); k > 0 {
		s.estimator.ObserveBoard(total, b.BoardSeconds[k-1])
	}
	s.estimator.Observe(total, b.Arrived)
	if doubt := s.doubtOf(); s.channels != nil && doubt != s.doubt {
		s.doubt = doubt
		s.event(channel.Event{Doubt: &doubt})
	}
}

// updateRate takes over the measured rate.
func (s *Session) updateRate(now time.Time) {
	info := s.source.Describe()
	state := ClockState{Type: "clock", Epoch: s.state.Epoch, ClaimedRateHz: info.ClaimedRateHz, UsedRateHz: s.usedHz, Exact: info.ExactClock}
	if !info.ExactClock {
		e := s.estimator.Estimate()
		if e.Ready {
			state.MeasuredRateHz, state.UncertaintyHz = e.MeasuredHz, e.UncertaintyHz
		}
		state.Warning, state.Steadiness = e.Warning, e.Steadiness
		if s.channels != nil && e.UsedHz > 0 && e.UsedHz != s.usedHz {
			s.usedHz, state.UsedRateHz = e.UsedHz, e.UsedHz
			pointHz := s.usedHz / float64(s.decimation)
			s.mu.Lock()
			s.state.RateHz, s.state.SourceRateHz = pointHz, s.usedHz
			s.mu.Unlock()
			moved := e.Moves != s.moves
			s.moves = e.Moves
			if s.redesigns(pointHz, e.UncertaintyHz, moved, now) {
				s.redesign(pointHz)
				s.lastRebuild = now
			} else {
				s.event(channel.Event{ClockHz: s.usedHz})
			}
			from := min(s.sourceBase+s.estimator.MovedAt(), s.nextSource)
			for _, t := range s.taps {
				if m, ok := t.(Mover); ok && moved {
					m.Moved(from, s.usedHz)
				}
				t.Rate(s.usedHz)
			}
		}
	}
	s.mu.Lock()
	s.state.Clock = state
	s.mu.Unlock()
	s.message(state)
}

// redesigns tells whether the filters are to be designed anew for a rate of the points: it is far from
// theirs, and the clock has moved, or is now known well and they have stood for a while.
func (s *Session) redesigns(pointHz, uncertaintyHz float64, moved bool, now time.Time) bool {
	far := math.Abs(pointHz/s.designedHz-1) > rebuildShare
	known := uncertaintyHz < rebuildShare/2*s.usedHz
	return far && (moved || known && now.Sub(s.lastRebuild) > rebuildPause)
}

// redesign makes the filters anew for the rate the clock turned out to have.
func (s *Session) redesign(pointHz float64) {
	s.flush(s.now())
	s.designedHz = pointHz
	s.event(channel.Event{RateHz: s.usedHz})
	s.log.Info("filters designed anew", "rateHz", pointHz)
	s.refreshChannels()
}
