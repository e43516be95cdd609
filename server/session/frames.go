package session

import (
	"time"

	"pulsewright/server/channel"
	"pulsewright/server/hub"
)

// framing is about the frame under way; its points stand in the workers.
type framing struct {
	pendingGap bool      // a gap lies just before it
	arrived    time.Time // of its newest sample
	lastFrame  time.Time
	// lastReading is when readings were told at the end of a second of signal.
	lastReading time.Time
	sequence    uint32
}

// pending is the index of the first point of the frame under way, and how many it has.
func (s *Session) pending() (first int64, n int) {
	if len(s.channels) == 0 {
		return 0, 0
	}
	out := &s.channels[0].out
	if n = out.Len(); n == 0 {
		return s.channels[0].engine.Point(), 0
	}
	return out.First, n
}

// newest is the index after the newest point.
func (s *Session) newest() int64 {
	first, n := s.pending()
	return first + int64(n)
}

// gap closes the frame under way and marks missing source samples.
func (s *Session) gap(first, samples int64, reason string) {
	s.flush(s.now())
	s.gaps.Add(1)
	s.lost.Add(samples)
	d := int64(max(1, s.decimation))
	g := Gap{Index: first / d, Samples: samples / d, Reason: reason}
	s.mu.Lock()
	s.state.Gaps = keep(append(s.state.Gaps, g), keptGaps)
	epoch := s.state.Epoch
	s.mu.Unlock()
	s.message(GapMessage{"gap", epoch, g})
	for _, t := range s.taps {
		t.Gap(first, samples, reason)
	}
	for from, end := first, first+samples; from < end; {
		second := s.secondAfter(from)
		if tellFrom := end - int64(mostGapSeconds*s.usedHz); second < tellFrom {
			second = s.secondAfter(tellFrom)
		}
		to := min(end, second)
		for _, w := range s.channels {
			w.engine.Gap(&w.out, to-from, samples)
		}
		if from = to; to == second {
			s.tellSecond(s.now())
		}
	}
	s.flush(s.now()) // the points from here on may not follow
	s.pendingGap = true
}

// flush sends the frame under way.
func (s *Session) flush(now time.Time) {
	first, n := s.pending()
	if n > 0 {
		s.sendFrame(now, first, n)
	}
	for i, w := range s.channels {
		if s.tellBeats(i, w) {
			s.sendReading(i, w, now)
		}
		w.out.Clear()
	}
}

// sendFrame makes a frame of the points under way.
func (s *Session) sendFrame(now time.Time, first int64, n int) {
	s.lastFrame = now
	s.sequence++
	s.frames.Add(1)
	age := min(max(0, now.Sub(s.arrived).Milliseconds()), 1<<31)
	for _, w := range s.channels {
		w.round()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	head := frameHeader{sequence: s.sequence, first: first, samples: n, channels: len(s.channels),
		rateHz: s.state.RateHz, epoch: s.state.Epoch, ageMs: uint32(age)}
	if s.pendingGap {
		head.flags |= flagGap
	}
	value := func(i int) []float32 { return s.channels[i/points].floats[i%points] }
	s.history.add(first, n, s.pendingGap, value)
	s.pendingGap = false
	s.state.LastIndex = first + int64(n)
	for i, w := range s.channels {
		if len(w.out.Beats) > 0 {
			s.beats[i] = keep(append(s.beats[i], w.out.Beats...), keptBeats)
		}
		s.reading[i] = s.readingOf(w, now)
	}
	b := make([]byte, 0, frameHeaderBytes+4*points*len(s.channels)*n)
	b = head.append(b)
	for i := range len(s.channels) * points {
		b = appendFloats(b, value(i))
	}
	// Sent under the lock, so that a page that subscribes under it sees no
	// frame twice and misses none.
	s.hub.Send(hub.Message{Kind: hub.Frame, Data: b})
}

// tellBeats tells a channel's beats of the frame under way, and where its beat finder
// began anew; whether there were any.
func (s *Session) tellBeats(i int, w *worker) bool {
	told := 0
	tell := func(to int) {
		if to == told {
			return
		}
		for _, t := range s.taps {
			t.Beats(i, w.out.Beats[told:to], max(1, s.decimation))
		}
		told = to
	}
	for _, at := range w.out.Breaks {
		tell(at)
		for _, t := range s.taps {
			if r, ok := t.(Restarter); ok {
				r.Restarted(i)
			}
		}
	}
	tell(len(w.out.Beats))
	if told > 0 {
		s.found.Add(int64(told))
		s.message(ChannelBeats{"beats", s.state.Epoch, i, w.out.Beats})
	}
	return told > 0
}

// finish tells the beats that a source's end would have cut off, as those of a recording's end.
func (s *Session) finish() {
	for i, w := range s.channels {
		if w.out.Beats = w.engine.Finish(w.out.Beats); len(w.out.Beats) == 0 {
			continue
		}
		s.mu.Lock()
		s.beats[i] = keep(append(s.beats[i], w.out.Beats...), keptBeats)
		s.mu.Unlock()
		s.tellBeats(i, w)
		w.out.Clear()
	}
}

// mostGapSeconds of a gap's end are told second by second: their readings wait for each page at once.
const mostGapSeconds = 60.0

// secondAfter is where, after a sample of the source, a second of signal ends.
func (s *Session) secondAfter(sample int64) int64 {
	return channel.SecondAfter(sample, s.designedHz*float64(max(1, s.decimation)))
}

// tellSecond tells the readings as they are where a second of signal ends, behind its frame: those
// that the rate of a recording lists.
func (s *Session) tellSecond(now time.Time) {
	s.flush(now)
	for i, w := range s.channels {
		s.sendReading(i, w, now)
	}
	s.lastReading = now
}

func (s *Session) sendReading(i int, w *worker, now time.Time) {
	r := ChannelReading{"reading", s.state.Epoch, i, s.newest(), s.readingOf(w, now)}
	s.mu.Lock()
	s.reading[i] = r.Reading
	s.mu.Unlock()
	s.message(r)
}
