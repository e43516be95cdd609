package session

import (
	"fmt"
	"math"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
)

const (
	// pauseSeconds without a sample is a pause: the board stopped, or this computer
	// or the program slept. What came late but whole is none, see resume.
	pauseSeconds = 0.4
	// settleSeconds after a pause, at least, is listened before its length is told, and
	// until settleArrivals, settleApart from each other: a busy computer is late, but
	// then reads all there is, so that one of them tells the time. At most
	// longestHoldSeconds.
	settleSeconds      = 0.2
	settleArrivals     = 6
	settleApart        = 0.01
	longestHoldSeconds = 2.0
	// burstSeconds after the first sample comes what waited in a buffer: one when it
	// holds leastBurstSeconds of signal.
	burstSeconds      = 0.02
	leastBurstSeconds = 0.1
	// leastMissingSeconds: less may be the unevenness of arrival.
	leastMissingSeconds = 0.25
	// unsureSeconds: less, when a lump came last and then the source went away, may be
	// its lateness.
	unsureSeconds = 1.0
	// silentSeconds without a sample, and no rate is shown any more.
	silentSeconds = 3.0
)

// pause is a time without samples that has ended; what came since is held until its
// length is known. The clock has not seen it yet.
type pause struct {
	away   bool          // the source was away and opened anew: its count begins anew
	from   time.Time     // arrival of the sample before
	began  time.Time     // arrival of the first block after
	slept  time.Duration // this computer, between the two
	asleep time.Duration // asleepAt of the newest block
	blocks []acquire.Block
}

// silence is what is known of the times when nothing comes.
type silence struct {
	lastArrived time.Time
	lastAsleep  time.Duration // asleep() at lastArrived
	lastEmpty   time.Time     // when the source had nothing for us
	pause       *pause        // one that has just ended
	// asleep is how long this computer has slept so far, sleptSince since an arrival.
	asleep     func() time.Duration
	sleptSince func(time.Time) time.Duration
}

// settled tells whether enough came by a time to say how long the pause was.
func (p *pause) settled(at time.Time) bool {
	held := at.Sub(p.began).Seconds()
	if held < settleSeconds || held >= longestHoldSeconds {
		return held >= longestHoldSeconds
	}
	n, last := 0, time.Time{}
	for _, b := range p.blocks {
		if b.Arrived.Sub(last).Seconds() >= settleApart {
			n, last = n+1, b.Arrived
		}
	}
	return n >= settleArrivals
}

// paused tells whether a block ends a pause and takes it if so, or if it comes
// shortly after one.
func (s *Session) paused(b acquire.Block) bool {
	asleep := s.asleepAt(b.Arrived)
	if s.pause != nil && (asleep-s.pause.asleep).Seconds() > pauseSeconds {
		s.cutShort() // slept again meanwhile
	}
	if s.pause == nil {
		away := !s.lostAt.IsZero()
		if s.lastArrived.IsZero() {
			if away { // before its first sample
				s.isBack()
			}
			return false
		}
		slept := asleep - s.lastAsleep
		if !away {
			seconds := (b.Arrived.Sub(s.lastArrived) + slept).Seconds()
			if s.source.Describe().ExactClock || seconds < pauseSeconds || float64(s.indexAfter(b)-s.nextSource) > (seconds-leastMissingSeconds)*s.usedHz {
				return false
			}
		}
		s.pause = &pause{away: away, from: s.lastArrived, began: b.Arrived, slept: slept}
	}
	s.pause.asleep = asleep
	s.pause.blocks = append(s.pause.blocks, cloneBlock(b))
	if s.pause.settled(b.Arrived) || !s.pause.away && s.missing(0, leastMissingSeconds) == 0 {
		s.resume(leastMissingSeconds)
	}
	return true
}

// pauseOver works in what is held when nothing more comes.
func (s *Session) pauseOver(now time.Time) {
	if s.pause != nil && s.pause.settled(now) {
		s.resume(leastMissingSeconds)
	}
}

// isBack ends the wait for a source that was away.
func (s *Session) isBack() {
	s.lostAt, s.lastTaken = time.Time{}, time.Time{}
	s.setStatus(StatusRunning, s.source.Describe().Name)
}

// burst is how many blocks came so soon that they may have waited in a buffer.
func (p *pause) burst() int {
	n := 0
	for n < len(p.blocks) && p.blocks[n].Arrived.Sub(p.began).Seconds() <= burstSeconds {
		n++
	}
	return n
}

// lump is how many samples came so.
func (p *pause) lump() float64 {
	n := 0
	for _, b := range p.blocks[:p.burst()] {
		n += b.Len()
	}
	return float64(n)
}

// indexAfter is the session source index after a block.
func (s *Session) indexAfter(b acquire.Block) int64 { return s.sourceBase + b.First + int64(b.Len()) }

// missing is how many samples the pause lacks, by what is held from a block on. Both ends
// are taken from the clock's earliest arrivals: this computer may have been late with the
// last samples before and the first ones after. What comes later makes it less, never
// more. Less than leastSeconds is none.
func (s *Session) missing(from int, leastSeconds float64) int64 {
	p := s.pause
	before, ok := s.lastTaken, !s.lastTaken.IsZero()
	if !p.away {
		before, ok = s.estimator.Taken(s.nextSource - s.sourceBase)
	}
	if !ok {
		before = p.from
	}
	arrivals := make([]clock.Arrival, 0, len(p.blocks))
	for _, b := range p.blocks[from:] {
		arrivals = append(arrivals, clock.Arrival{Samples: b.First + int64(b.Len()), At: b.Arrived})
	}
	end := arrivals[len(arrivals)-1].Samples
	counted := s.sourceBase + end - s.nextSource
	if p.away {
		counted, leastSeconds = end-p.blocks[0].First, 0
	}
	seconds := (s.estimator.TakenBy(end, arrivals).Sub(before) + p.slept).Seconds()
	missing := int64(math.Round(seconds*s.usedHz)) - counted
	if missing < 0 || float64(missing) < leastSeconds*s.usedHz {
		return 0
	}
	return missing
}

// kept is how many blocks waited in a buffer, which holds the oldest, while the program
// did not look: when that was time enough for what is missing too, the gap lies after
// them.
func (s *Session) kept(missing int64) int {
	p := s.pause
	if p.away {
		return 0
	}
	n := p.lump()
	looked := p.from
	if s.lastEmpty.After(looked) && s.lastEmpty.Before(p.began) {
		looked = s.lastEmpty
	}
	unseen := (p.began.Sub(looked) + p.slept).Seconds()
	if n < leastBurstSeconds*s.usedHz || float64(missing)+n > (unseen+leastMissingSeconds)*s.usedHz {
		return 0
	}
	return p.burst()
}

// cutShort ends a pause after which no more comes.
func (s *Session) cutShort() {
	if s.pause == nil {
		return
	}
	if s.pause.lump() >= leastBurstSeconds*s.usedHz {
		s.resume(unsureSeconds)
		return
	}
	s.resume(leastMissingSeconds)
}

// resume tells how many samples a pause lacks and works in what came since.
func (s *Session) resume(leastSeconds float64) {
	p := s.pause
	missing := s.missing(0, leastSeconds)
	burst := s.kept(missing)
	if missing > 0 && burst > 0 && burst < len(p.blocks) {
		missing = s.missing(burst, leastSeconds) // more may have been lost since
	}
	s.pause = nil
	reason := "nothing came" // how long is the gap's own length
	switch {
	case p.away:
		reason = "the source was away"
	case p.slept.Seconds() > pauseSeconds:
		reason = fmt.Sprintf("this computer slept for %.0f s", p.slept.Seconds())
	}
	if p.away {
		s.sourceBase = s.nextSource - p.blocks[0].First
		s.leaveOut(missing, reason)
		s.isBack()
	}
	now := s.now()
	for i, b := range p.blocks {
		if i == burst && missing > 0 && !p.away {
			s.leaveOut(missing, reason)
		}
		s.observe(b)
		s.work(b, now)
	}
	if burst == len(p.blocks) && missing > 0 {
		s.leaveOut(missing, reason)
	}
	s.lastAsleep = p.asleep
}

// asleepAt is how long this computer had slept when something arrived, which may have
// been just before a sleep from which it has woken since.
func (s *Session) asleepAt(arrived time.Time) time.Duration {
	total := s.asleep()
	if slept := total - s.lastAsleep; slept.Seconds() > pauseSeconds && s.sleptSince(arrived) > slept/2 {
		return s.lastAsleep
	}
	return total
}

// sleptSince is how much longer ago an arrival is by the wall clock, which goes on
// while the computer sleeps, than by the monotonic one.
func sleptSince(arrived time.Time) time.Duration {
	now := time.Now()
	return now.Round(0).Sub(arrived.Round(0)) - now.Sub(arrived)
}

// leaveOut marks source samples as missing before what comes next. The clock knows of
// no sample that is not counted: it begins anew.
func (s *Session) leaveOut(missing int64, reason string) {
	s.estimator.Reset()
	s.gap(s.nextSource, missing, reason)
	s.sourceBase += missing
	s.nextSource += missing
	if missing == 0 {
		s.event(channel.Event{Restart: true}) // no sample is missing, but they do not follow
	}
}

// cloneBlock copies what belongs to the source after the next Read.
func cloneBlock(b acquire.Block) acquire.Block {
	counts := make([][]int32, len(b.Counts))
	for i := range counts {
		counts[i] = append([]int32(nil), b.Counts[i]...)
	}
	b.Counts = counts
	b.Clipped = append([]bool(nil), b.Clipped...)
	b.BoardSeconds = append([]float64(nil), b.BoardSeconds...)
	return b
}

// readingOf is a channel's reading, or that nothing comes any more.
func (s *Session) readingOf(w *worker, now time.Time) beat.Reading {
	if silent := now.Sub(s.lastArrived).Seconds(); w.engine.Watched() && s.source != nil && !s.lastArrived.IsZero() && s.pause == nil && silent >= silentSeconds && !s.source.Describe().ExactClock {
		return beat.Reading{State: beat.StateNoSignal, Reason: fmt.Sprintf("nothing has come from the source for %.0f s; is the board running?", silent)}
	}
	return w.engine.ReadingAfter(float64(s.ahead) / s.usedHz)
}

// doubtOf is why the source's clock is not to be trusted now, "" when it is.
func (s *Session) doubtOf() string {
	if s.source == nil || s.source.Describe().ExactClock {
		return ""
	}
	return s.estimator.Estimate().Doubt
}
