package session

import (
	"fmt"
	"math"
	"time"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
)

const (
	// pauseSeconds without a sample is a pause: the board stopped, or this computer
	// or the program slept. What came late but whole is none, see resume.
	pauseSeconds = 0.4
	// settleSeconds is how long after a pause is listened before its length is told:
	// what waited in buffers comes first. Where nothing else follows, longer.
	settleSeconds      = 0.2
	longestHoldSeconds = 2.0
	// burstSeconds after the first sample comes what waited in a buffer: one when it
	// holds leastBurstSeconds of signal.
	burstSeconds      = 0.02
	leastBurstSeconds = 0.1
	// leastMissingSeconds: less may be the unevenness of arrival.
	leastMissingSeconds = 0.25
	// silentSeconds without a sample, and no rate is shown any more.
	silentSeconds = 3.0
)

// pause is a time without samples that has ended; what came since is held until its
// length is known.
type pause struct {
	from   time.Time     // arrival of the sample before
	began  time.Time     // arrival of the first block after
	slept  time.Duration // this computer, between the two
	blocks []acquire.Block
}

// paused tells whether a block ends a pause and takes it if so, or if it comes
// shortly after one.
func (s *Session) paused(b acquire.Block) bool {
	if s.pause == nil {
		if s.source.Describe().ExactClock || s.lastArrived.IsZero() || !s.lostAt.IsZero() {
			return false
		}
		slept := s.asleep() - s.lastAsleep
		seconds := (b.Arrived.Sub(s.lastArrived) + slept).Seconds()
		if seconds < pauseSeconds || float64(s.indexAfter(b)-s.nextSource) > (seconds-leastMissingSeconds)*s.usedHz {
			return false
		}
		s.pause = &pause{from: s.lastArrived, began: b.Arrived, slept: slept}
	}
	s.pause.blocks = append(s.pause.blocks, cloneBlock(b))
	if b.Arrived.Sub(s.pause.began).Seconds() >= settleSeconds {
		s.resume()
	}
	return true
}

// pauseOver works in what is held when nothing more comes.
func (s *Session) pauseOver(now time.Time) {
	p := s.pause
	if p == nil {
		return
	}
	held := now.Sub(p.began).Seconds()
	if more := p.burst() < len(p.blocks); more && held >= settleSeconds || held >= longestHoldSeconds {
		s.resume()
	}
}

// burst is how many blocks came so soon that they may have waited in a buffer.
func (p *pause) burst() int {
	n := 0
	for n < len(p.blocks) && p.blocks[n].Arrived.Sub(p.began).Seconds() <= burstSeconds {
		n++
	}
	return n
}

// indexAfter is the session source index after a block.
func (s *Session) indexAfter(b acquire.Block) int64 { return s.sourceBase + b.First + int64(b.Len()) }

// resume tells how many samples a pause lacks and works in what came since. A
// buffer holds the oldest: when more came at once than the time since, the gap
// lies after that.
func (s *Session) resume() {
	p := s.pause
	if p == nil {
		return
	}
	s.pause = nil
	newest := p.blocks[len(p.blocks)-1]
	seconds := (newest.Arrived.Sub(p.from) + p.slept).Seconds()
	missing := int64(math.Round(seconds*s.usedHz)) - (s.indexAfter(newest) - s.nextSource)
	if float64(missing) < leastMissingSeconds*s.usedHz {
		missing = 0
	}
	reason := fmt.Sprintf("nothing came for %.1f s", (p.began.Sub(p.from) + p.slept).Seconds())
	if p.slept.Seconds() > pauseSeconds {
		reason = fmt.Sprintf("this computer slept for %.0f s", p.slept.Seconds())
	}
	burst, inBurst := p.burst(), 0
	for _, b := range p.blocks[:burst] {
		inBurst += b.Len()
	}
	if float64(inBurst) < leastBurstSeconds*s.usedHz {
		burst = 0
	}
	now := time.Now()
	for i, b := range p.blocks {
		if i == burst && missing > 0 {
			s.leaveOut(missing, reason)
		}
		s.work(b, now)
	}
	if burst == len(p.blocks) && missing > 0 {
		s.leaveOut(missing, reason)
	}
}

// leaveOut marks source samples as missing before what comes next.
func (s *Session) leaveOut(missing int64, reason string) {
	s.gap(s.nextSource, missing, reason)
	s.sourceBase += missing
	s.nextSource += missing
	s.restart(s.nextSource)
}

// cloneBlock copies what belongs to the source after the next Read.
func cloneBlock(b acquire.Block) acquire.Block {
	counts := make([][]int32, len(b.Counts))
	for i := range counts {
		counts[i] = append([]int32(nil), b.Counts[i]...)
	}
	b.Counts = counts
	b.Clipped = append([]bool(nil), b.Clipped...)
	b.BoardSeconds = nil
	return b
}

// readingOf is a channel's reading, or that nothing comes any more.
func (s *Session) readingOf(c *channel, now time.Time) beat.Reading {
	if silent := now.Sub(s.lastArrived).Seconds(); c.monitor != nil && s.source != nil && !s.lastArrived.IsZero() && silent >= silentSeconds && !s.source.Describe().ExactClock {
		return beat.Reading{State: beat.StateNoSignal, Reason: fmt.Sprintf("nothing has come from the source for %.0f s; is the board running?", silent)}
	}
	return c.reading()
}
