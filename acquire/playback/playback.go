// Package playback plays a recording as a live source: at 0.1 to 100 times its
// own speed, with pause, seek and loop.
//
// It does not know file formats: a Recording is handed to it.
package playback

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
)

// Recording is a stored signal that can be read from any sample.
type Recording interface {
	// Describe tells the channels and the claimed rate; it never changes.
	Describe() acquire.Info
	// Len is the number of samples per channel; a Source plays those there at New.
	Len() int64
	// ReadAt fills counts, [channel][sample] of one length, from sample from on
	// and returns how many samples per channel it filled. Less than asked comes
	// with an error, io.EOF at the end. It is called from one goroutine at a time.
	ReadAt(counts [][]int32, from int64) (n int, err error)
	// Close is called once, never during a ReadAt.
	Close() error
}

// Noter is implemented by recordings that carry notes.
type Noter interface {
	// NotesBetween returns the notes at samples from ≤ sample < to, in order. It
	// is called like ReadAt.
	NotesBetween(from, to int64) []acquire.Note
}

// Gapper is implemented by recordings with stretches that were never recorded.
type Gapper interface {
	// GapRuns are these stretches in order.
	GapRuns() []acquire.Gap
}

// boardLine begins a note that is a line the board said.
const boardLine = "board: "

// leastGapSeconds is the shortest gap that is skipped when gaps are.
const leastGapSeconds = 1

// Config says how to play.
type Config struct {
	// Address and Name replace the recording's own unless empty.
	Address, Name string
	// RateHz is used when the recording tells no rate.
	RateHz float64
	// Speed is 0.1 to 100; 0 means 1.
	Speed float64
	// Paused starts at a standstill: SetSpeed begins.
	Paused bool
	// From is the first sample to play, clamped to the recording.
	From int64
	// Loop goes on at the start when the end is reached.
	Loop bool
	// Hold waits at the end for a seek instead of ending.
	Hold bool
}

// MinSpeed is the lowest speed, MaxSpeed the highest.
const (
	MinSpeed = 0.1
	MaxSpeed = 100
)

// blockSeconds is how often a block comes while playing.
const blockSeconds = 1.0 / 60

// idleSeconds is how often an empty block comes at a standstill.
const idleSeconds = 0.1

// ConfigFromAddress reads the options speed, loop, hold, rate and from (in
// samples) of an address like file:walk.edf?speed=10&loop=1. more names options
// that are read elsewhere; others are refused. Errors are *acquire.AddressError.
func ConfigFromAddress(a acquire.Address, more ...string) (Config, error) {
	c := Config{Address: a.String()}
	if err := a.Only(append([]string{"speed", "loop", "hold", "rate", "from"}, more...)...); err != nil {
		return c, err
	}
	var err error
	if c.Speed, err = a.Number("speed", 1, 0, MaxSpeed); err != nil {
		return c, err
	}
	if c.Speed == 0 {
		c.Paused = true
	} else if c.Speed < MinSpeed {
		return c, &acquire.AddressError{Address: a.String(), Part: "option speed=" + a.Options.Get("speed"), Rule: "give 0.1 to 100, or 0 to begin at a standstill"}
	}
	if c.RateHz, err = a.Number("rate", 0, 0.1, 1e6); err != nil {
		return c, err
	}
	from, err := a.Number("from", 0, 0, 1<<53)
	if err != nil {
		return c, err
	}
	c.From = int64(from)
	if c.Loop, err = a.Flag("loop", false); err != nil {
		return c, err
	}
	c.Hold, err = a.Flag("hold", false)
	return c, err
}

// Source plays a Recording. It implements acquire.Source and acquire.Player.
type Source struct {
	// Immutable after New.
	rec  Recording
	info acquire.Info
	rate float64
	hold bool
	gaps []acquire.Gap // in order

	closeOnce sync.Once
	closeErr  error
	closed    chan struct{}
	wake      chan struct{} // capacity 1; a setting changed

	// Held while rec is read or closed; taken before mu.
	recMu sync.Mutex

	mu       sync.Mutex
	position int64     // guarded by mu
	speed    float64   // guarded by mu; 0 at a standstill
	loop     bool      // guarded by mu
	skipGaps bool      // guarded by mu
	jump     string    // guarded by mu; why the next block does not follow, or empty
	seeks    int       // guarded by mu
	anchor   time.Time // guarded by mu; position was at anchorAt then; zero: not yet
	anchorAt int64     // guarded by mu
	lost     int64     // guarded by mu; samples of the gap under way that are over

	// Owned by the goroutine of Read.
	first    int64
	buffer   [][]int32
	view     [][]int32
	pending  error // after the samples that came with it
	saidDone bool
}

var errClosed = errors.New("playback: the recording is closed")

// New makes a Source that owns rec from then on, also when it fails. It fails
// when the recording has no channel, no samples, or no rate and cfg gives none.
func New(rec Recording, cfg Config) (*Source, error) {
	s, err := newSource(rec, cfg)
	if err != nil {
		return nil, errors.Join(err, rec.Close())
	}
	return s, nil
}

func newSource(rec Recording, cfg Config) (*Source, error) {
	info := rec.Describe()
	if cfg.Address != "" {
		info.Address = cfg.Address
	}
	if cfg.Name != "" {
		info.Name = cfg.Name
	}
	if info.ClaimedRateHz == 0 {
		info.ClaimedRateHz = cfg.RateHz
	}
	length := rec.Len()
	switch {
	case len(info.Channels) == 0:
		return nil, fmt.Errorf("playback: %s: no channel of samples", info.Name)
	case length <= 0:
		return nil, fmt.Errorf("playback: %s: no samples", info.Name)
	case info.ClaimedRateHz == 0:
		return nil, fmt.Errorf("playback: %s: the file has no sample rate; give one in Hz, as in ?rate=250", info.Name)
	case !(info.ClaimedRateHz > 0) || math.IsInf(info.ClaimedRateHz, 0):
		return nil, fmt.Errorf("playback: %s: sample rate %g Hz: must be above 0", info.Name, info.ClaimedRateHz)
	}
	speed := cfg.Speed
	if speed == 0 {
		speed = 1
	}
	if !(speed >= MinSpeed && speed <= MaxSpeed) {
		return nil, fmt.Errorf("playback: speed %g: give %g to %d times", speed, MinSpeed, MaxSpeed)
	}
	if cfg.Paused {
		speed = 0
	}
	info.ExactClock, info.LengthSamples = true, length
	var gaps []acquire.Gap
	if g, ok := rec.(Gapper); ok {
		gaps = g.GapRuns()
	}
	return &Source{
		gaps: gaps,
		rec:  rec, info: info, rate: info.ClaimedRateHz, hold: cfg.Hold,
		closed: make(chan struct{}), wake: make(chan struct{}, 1),
		position: max(0, min(cfg.From, length)), speed: speed, loop: cfg.Loop,
		buffer: make([][]int32, len(info.Channels)), view: make([][]int32, len(info.Channels)),
	}, nil
}

// Describe implements acquire.Source.
func (s *Source) Describe() acquire.Info { return s.info }

// KeptSettings implements acquire.Keeper for recordings that keep settings.
func (s *Source) KeptSettings() []byte {
	if k, ok := s.rec.(interface{ Settings() json.RawMessage }); ok {
		return k.Settings()
	}
	return nil
}

// KeptEvents implements acquire.Keeper for recordings that keep them.
func (s *Source) KeptEvents() []string {
	if k, ok := s.rec.(interface{ EngineTexts() []string }); ok {
		s.recMu.Lock()
		defer s.recMu.Unlock()
		return k.EngineTexts()
	}
	return nil
}

// Position implements acquire.Player.
func (s *Source) Position() int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.position
}

// Speed implements acquire.Player.
func (s *Source) Speed() float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.speed
}

// Loop implements acquire.Player.
func (s *Source) Loop() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.loop
}

// SetSpeed implements acquire.Player. What is neither a number nor above 0
// pauses; the rest is clamped to 0.1 to 100.
func (s *Source) SetSpeed(times float64) {
	if !(times > 0) {
		times = 0
	} else {
		times = max(MinSpeed, min(times, MaxSpeed))
	}
	s.change(func() { s.speed = times })
}

// SetLoop implements acquire.Player.
func (s *Source) SetLoop(on bool) { s.change(func() { s.loop = on }) }

// SetSkipGaps implements acquire.Player.
func (s *Source) SetSkipGaps(on bool) { s.change(func() { s.skipGaps = on }) }

// SkipGaps implements acquire.Player.
func (s *Source) SkipGaps() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.skipGaps
}

// Gaps implements acquire.Player.
func (s *Source) Gaps() int {
	n := 0
	for _, g := range s.gaps {
		if s.long(g) {
			n++
		}
	}
	return n
}

// long tells whether a gap is skipped when gaps are.
func (s *Source) long(g acquire.Gap) bool { return float64(g.To-g.From) >= leastGapSeconds*s.rate }

// SeekTo implements acquire.Player.
func (s *Source) SeekTo(sample int64) {
	s.change(func() {
		sample = max(0, min(sample, s.info.LengthSamples))
		s.jumpTo(sample, fmt.Sprintf("moved to %s", clockTime(float64(sample)/s.rate)))
	})
}

// change does f with mu held and lets a waiting Read look again.
func (s *Source) change(f func()) {
	s.mu.Lock()
	f()
	s.anchor = time.Time{}
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// jumpTo needs mu.
func (s *Source) jumpTo(sample int64, why string) {
	s.position, s.jump, s.anchor, s.lost = sample, why, time.Time{}, 0
	s.seeks++
}

// clockTime writes seconds as h:mm:ss.s, hours only when there are any.
func clockTime(seconds float64) string {
	tenths := int64(math.Round(seconds * 10))
	h, m, sec := tenths/36000, tenths/600%60, float64(tenths%600)/10
	if h > 0 {
		return fmt.Sprintf("%d:%02d:%04.1f", h, m, sec)
	}
	return fmt.Sprintf("%d:%04.1f", m, sec)
}

// Read implements acquire.Source. Samples come unaltered, each exactly once but
// for jumps. A gap takes its time, and is told with the first sample after it. A reader who comes late by more than a second finds the recording
// waiting, not rushing. Errors of the recording come after the samples before them.
func (s *Source) Read(ctx context.Context) (acquire.Block, error) {
	for {
		select {
		case <-ctx.Done():
			return acquire.Block{}, ctx.Err()
		case <-s.closed:
			return acquire.Block{}, errClosed
		default:
		}
		if s.pending != nil {
			return acquire.Block{}, s.pending
		}
		d := s.plan(time.Now())
		if n, wait := d.n, d.wait; n == 0 {
			// The next sample of a slow recording may be far away: nothing has arrived until then.
			const rest = time.Duration(idleSeconds * 1e9)
			idle := wait == 0 || wait > rest
			if idle {
				wait = rest
			}
			timer := time.NewTimer(wait)
			select {
			case <-timer.C:
				if idle {
					return s.empty(d.lost), nil
				}
			case <-s.wake:
			case <-ctx.Done():
			case <-s.closed:
			}
			timer.Stop()
			continue
		}
		if d.n < 0 { // the end
			if !s.hold {
				return acquire.Block{}, io.EOF
			}
			if !s.saidDone {
				s.saidDone = true
				b := s.empty(0)
				b.Text = []string{"the recording has ended"}
				return b, nil
			}
			if err := s.rest(ctx); err != nil {
				return acquire.Block{}, err
			}
			return s.empty(0), nil
		}
		b, ok := s.deliver(d)
		if ok {
			s.saidDone = false
			return b, nil
		}
	}
}

// empty is a block without samples, with so many lost so far before the next one.
func (s *Source) empty(lost int64) acquire.Block {
	return acquire.Block{First: s.first + lost, Arrived: time.Now()}
}

// rest waits a tenth of a second or until a setting changes.
func (s *Source) rest(ctx context.Context) error {
	timer := time.NewTimer(time.Duration(idleSeconds * 1e9))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-s.wake:
	case <-ctx.Done():
		return ctx.Err()
	case <-s.closed:
		return errClosed
	}
	return nil
}

// due says which samples are: n from from on; or how long to wait for
// some (n 0), without limit at a standstill (wait 0 too); or that the end is
// reached (n −1).
type due struct {
	from  int64
	n     int
	wait  time.Duration
	seeks int   // before it
	lost  int64 // of the gap under way, before from
	gap   acquire.Gap
}

// plan says which samples are due at a time. They lie within a gap or outside of any.
func (s *Source) plan(now time.Time) due {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := due{seeks: s.seeks, lost: s.lost}
	if s.speed == 0 {
		return d
	}
	length := s.info.LengthSamples
	if s.position >= length {
		if !s.loop {
			d.n = -1
			return d
		}
		s.jumpTo(0, "the recording begins again")
		d.seeks, d.lost = s.seeks, 0
	}
	if gap, ok := s.gapFrom(s.position); ok {
		switch {
		case s.position < gap.From:
			length = min(length, gap.From)
		case s.skipGaps && s.long(gap):
			s.jumpTo(gap.To, fmt.Sprintf("a gap of %s skipped", clockTime(float64(gap.To-s.position)/s.rate)))
			d.wait = time.Nanosecond
			return d
		default:
			d.gap = gap
			length = min(length, gap.To)
		}
	}
	rate := s.rate * s.speed
	want := max(1, int64(rate*blockSeconds))
	// The last block may be shorter and comes when its samples are over.
	want = min(want, length-s.position)
	at := s.dueAt(want, rate)
	if s.anchor.IsZero() || now.Sub(at) > time.Second {
		s.anchor, s.anchorAt = now, s.position
		at = s.dueAt(want, rate)
	}
	if d.wait = at.Sub(now); d.wait > 0 {
		return d
	}
	over := s.anchorAt + int64(now.Sub(s.anchor).Seconds()*rate) - s.position
	d.from, d.n, d.wait = s.position, int(min(max(over, want), 4*want, length-s.position)), 0
	return d
}

// gapFrom is the first gap that does not end before a sample.
func (s *Source) gapFrom(sample int64) (gap acquire.Gap, ok bool) {
	i := sort.Search(len(s.gaps), func(i int) bool { return s.gaps[i].To > sample })
	if i < len(s.gaps) {
		return s.gaps[i], true
	}
	return gap, false
}

// dueAt is when want more samples are over; it needs mu.
func (s *Source) dueAt(want int64, rate float64) time.Time {
	return s.anchor.Add(time.Duration(float64(s.position+want-s.anchorAt) / rate * 1e9))
}

// deliver reads the samples that are due. It is not ok when there was a seek
// meanwhile, or nothing to deliver.
func (s *Source) deliver(d due) (acquire.Block, bool) {
	from, n := d.from, d.n
	for i := range s.buffer {
		if cap(s.buffer[i]) < n {
			s.buffer[i] = make([]int32, n)
		}
		s.view[i] = s.buffer[i][:n]
	}
	s.recMu.Lock()
	select {
	case <-s.closed:
		s.recMu.Unlock()
		return acquire.Block{}, false
	default:
	}
	got, err := s.rec.ReadAt(s.view, from)
	var said []string
	var notes []acquire.Note
	if noter, ok := s.rec.(Noter); ok && got > 0 {
		for _, n := range noter.NotesBetween(from-d.lost, from+int64(got)) {
			if line, board := strings.CutPrefix(n.Text, boardLine); board {
				said = append(said, line)
			} else {
				notes = append(notes, acquire.Note{Sample: n.Sample - from + d.lost + s.first, Text: n.Text})
			}
		}
	}
	s.recMu.Unlock()

	s.mu.Lock()
	defer s.mu.Unlock()
	if s.seeks != d.seeks {
		return acquire.Block{}, false
	}
	if got == n && s.missing(d.gap) {
		s.position += int64(got)
		s.lost += int64(got)
		return s.empty(s.lost), true
	}
	if got < n {
		switch {
		case err == nil:
			err = io.ErrNoProgress
		case errors.Is(err, io.EOF):
			err = io.ErrUnexpectedEOF // shorter than it said
		}
		s.pending = fmt.Errorf("playback: %s: sample %d of %d: %w", s.info.Name, from+int64(got), s.info.LengthSamples, err)
		if got == 0 {
			return acquire.Block{}, false
		}
		for i := range s.view {
			s.view[i] = s.view[i][:got]
		}
	}
	s.first += s.lost
	b := acquire.Block{First: s.first, Lost: s.lost, Arrived: time.Now(), Counts: s.view, Text: said, Notes: notes}
	if s.lost > 0 {
		before, _ := s.gapFrom(from - 1)
		b.LostWhy = cmp.Or(before.Reason, "a gap of the recording")
		s.lost = 0
	}
	if s.jump != "" {
		b.Jump, b.Text = true, append([]string{s.jump}, said...)
		s.jump = ""
	}
	s.position += int64(got)
	s.first += int64(got)
	return b, true
}

// missing tells whether what was read lies in a gap after which more comes, and is all missing. At the end nothing could tell of it.
func (s *Source) missing(gap acquire.Gap) bool {
	if gap.To <= gap.From || gap.To >= s.info.LengthSamples {
		return false
	}
	for _, row := range s.view {
		for _, count := range row {
			if count != acquire.MissingCount {
				return false
			}
		}
	}
	return true
}

// Close implements acquire.Source and closes the recording.
func (s *Source) Close() error {
	s.closeOnce.Do(func() {
		close(s.closed)
		s.recMu.Lock()
		defer s.recMu.Unlock()
		s.closeErr = s.rec.Close()
	})
	return s.closeErr
}
