package session

import (
	"context"
	"errors"
	"io"
	"regexp"
	"slices"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/dsp/beat"
)

// absence is a source that went away.
type absence struct {
	lostAt     time.Time // when it went; zero while it is there
	lastTaken  time.Time // when its newest sample was taken at the latest
	reopened   chan opened
	reopening  bool
	attempts   sync.WaitGroup // to open it again
	nextReopen time.Time
}

type opened struct {
	source acquire.Source
	err    error
}

// readFailed answers an error of the source's Read.
func (s *Session) readFailed(err error) {
	now := s.now()
	s.cutShort()
	s.flush(now)
	if errors.Is(err, io.EOF) {
		s.finish()
	}
	s.tellHealth()
	info := s.source.Describe()
	switch {
	case errors.Is(err, io.EOF):
		s.mu.Lock()
		pb := s.state.Playback
		s.mu.Unlock()
		s.dropSource()
		for _, t := range s.taps {
			t.End()
		}
		text := "the recording has ended"
		if pb == nil {
			text = "the source has ended"
		}
		s.setStatus(StatusEnded, text+"; open it again to see it once more")
	case errors.Is(err, acquire.ErrUnplugged), errors.Is(err, acquire.ErrChanged):
		s.log.Warn("source lost", "address", info.Address, "err", err)
		if taken, ok := s.estimator.Taken(s.nextSource - s.sourceBase); ok {
			s.lastTaken = taken
		}
		s.dropSource()
		s.lostAt, s.nextReopen = now, now
		s.setStatus(StatusWaiting, err.Error()+"; waiting for it to come back")
		for i := range s.channels {
			s.mu.Lock()
			s.reading[i] = beat.Reading{State: "no signal", Reason: "the source is away"}
			r := ChannelReading{"reading", s.state.Epoch, i, s.state.LastIndex, s.reading[i]}
			s.mu.Unlock()
			s.message(r)
		}
	default:
		s.fail(err)
	}
}

func (s *Session) fail(err error) {
	s.log.Error("source failed", "err", err)
	s.closeSource()
	s.setStatus(StatusFailed, err.Error())
}

// dropSource closes the source and keeps the epoch.
func (s *Session) dropSource() {
	if s.source != nil {
		if err := s.source.Close(); err != nil {
			s.log.Debug("closing the source", "err", err)
		}
		s.source = nil
	}
	s.mu.Lock()
	s.state.Playback = nil
	s.mu.Unlock()
}

// closeSource ends the epoch.
func (s *Session) closeSource() {
	s.cutShort()
	s.flush(s.now())
	running := s.source != nil || !s.lostAt.IsZero()
	s.dropSource()
	s.lostAt = time.Time{}
	if running && s.channels != nil {
		for _, t := range s.taps {
			t.End()
		}
	}
	s.channels, s.held = nil, nil
}

// tryReopen starts an attempt to get a lost source back.
func (s *Session) tryReopen(ctx context.Context) {
	if s.lostAt.IsZero() || s.reopening || s.now().Before(s.nextReopen) {
		return
	}
	s.reopening = true
	address := s.state.Source.Address
	s.attempts.Go(func() {
		var source acquire.Source
		err := guard.Call("opening the source again", func() (err error) { source, err = s.openers.Open(ctx, address); return err })
		select {
		case s.reopened <- opened{source, err}:
		case <-s.done:
			if source != nil {
				source.Close()
			}
		}
	})
}

// takeReopened takes a source that came back.
func (s *Session) takeReopened(o opened) {
	s.reopening = false
	s.nextReopen = s.now().Add(reopenEvery)
	if o.err != nil {
		if !s.lostAt.IsZero() && !errors.Is(o.err, acquire.ErrUnplugged) {
			s.setStatus(StatusWaiting, o.err.Error())
		}
		return
	}
	if s.lostAt.IsZero() || s.source != nil {
		o.source.Close() // meanwhile another source was chosen
		return
	}
	info, old := o.source.Describe(), s.state.Source
	if info.Address != old.Address || s.channels == nil || !sameChannels(info.Channels, old.Channels) || info.ClaimedRateHz != old.ClaimedRateHz {
		if err := s.adopt(o.source); err != nil {
			s.log.Error("source came back changed", "err", err)
		}
		return
	}
	s.source = o.source
	s.reopens.Add(1)
	s.estimator.Reset()
	s.setStatus(StatusWaiting, "back; waiting for its first samples")
}

// sameChannels tells that a source that is back gives what it gave before: the same
// channels, or as many of the same counts of which it has not told the names yet, as
// a board that prints its header now and then.
func sameChannels(now, before []acquire.Channel) bool {
	return slices.EqualFunc(now, before, func(n, b acquire.Channel) bool {
		unnamed := n.Unit == "" && n.VoltsPerCount == 0 && unnamedLabel.MatchString(n.Label)
		return n == b || unnamed && n.Digits == b.Digits && n.MinCount == b.MinCount && n.MaxCount == b.MaxCount
	})
}

// unnamedLabel is what a line source calls a column without a name.
var unnamedLabel = regexp.MustCompile(`^ch[0-9]+$`)
