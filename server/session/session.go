// Package session runs one source: a single goroutine reads its blocks, takes
// every channel through its path, finds beats, keeps the last ten minutes, and
// hands frames and messages to the hub and everything, in order, to its taps.
//
// Sample positions are session indices: they count points from the opening of
// the source (an epoch) and run on through gaps. server/API.md describes the
// frames and messages. All exported methods are safe for concurrent use.
package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode/utf8"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
)

const (
	// HistorySeconds is how far back a page can scroll.
	HistorySeconds = 600
	// backfillSeconds is what a page gets on connecting.
	backfillSeconds = 60
	// frameInterval spaces frames; a block that comes later is sent at once.
	frameInterval = 12 * time.Millisecond
	// reopenEvery spaces the attempts to reopen a source that went away.
	reopenEvery = 500 * time.Millisecond
	// rebuildShare is how far the measured rate may move from the one the filters
	// were designed for before they are designed anew: a 50 Hz notch is then at
	// most 0.15 Hz off.
	rebuildShare = 0.003
	keptTexts    = 50
	keptGaps     = 1000
	keptNotes    = 1000
	keptBeats    = 200_000 // per channel: a day at 139 bpm
)

// Tap sees what the session sees, in order, on the session's goroutine: it must
// not block and not call the session. Indices are in samples of the source,
// counted through gaps from the epoch's start.
type Tap interface {
	// Begin starts an epoch.
	Begin(epoch uint32, info acquire.Info, rateHz float64, t0 time.Time)
	// Samples gives counts [channel][sample], valid during the call.
	Samples(first int64, counts [][]int32)
	Gap(first, samples int64, reason string)
	// Rate tells a better measured rate of the source.
	Rate(hz float64)
	Beats(channel int, beats []beat.Beat, samplesPerPoint int)
	Note(first int64, text string)
	Text(first int64, lines []string)
	// Settings is called with the channels' settings when they change.
	Settings(channels []ChannelState)
	// End closes the epoch.
	End()
}

// Restarter is a Tap that wants to know when a channel's beat finder began anew, as
// after a jump of a recording or a change of the scale: the beats told from then on
// do not follow those before.
type Restarter interface {
	Restarted(channel int)
}

// EngineTap is a Tap that wants to know what happens to the channels' engines, so that
// what is computed from a recording later does the same.
type EngineTap interface {
	// Engines tells, after Begin, what they begin with.
	Engines(start channel.Start)
	// Engine tells what happens to them before sample first.
	Engine(first int64, v channel.Event)
}

// Config of a Session.
type Config struct {
	Openers acquire.Openers
	Hub     *hub.Hub
	Log     *slog.Logger
	Version string
	Taps    []Tap
	// Now is the clock, time.Now when nil.
	Now func() time.Time
	// Recording, when set, tells what is being recorded, for the state.
	Recording func() any
	// Remember, when set, is asked for and given the settings of a source's
	// channels by address.
	Remember Memory
}

// Memory keeps channel settings by source address.
type Memory interface {
	// Load gives what was said of a channel that the source calls label.
	Load(address string, n int, label string) (said channel.Said, ok bool)
	Save(address string, channels []channel.Settings)
}

// Session is the one live source and all that hangs on it.
type Session struct {
	// Immutable after New.
	openers  acquire.Openers
	hub      *hub.Hub
	log      *slog.Logger
	taps     []Tap
	memory   Memory
	recorded func() any
	commands chan func()
	done     chan struct{}
	asleep   func() time.Duration // how long this computer has slept so far
	now      func() time.Time
	// sleptSince is how long this computer has slept since an arrival.
	sleptSince func(time.Time) time.Duration

	openMu sync.Mutex // one Open at a time

	// Owned by Run's goroutine.
	source      acquire.Source
	channels    []*worker
	decimation  int
	estimator   *clock.Estimator
	designedHz  float64 // rate of the points the filters were made for
	usedHz      float64 // measured rate of the source
	doubt       string  // of the clock, as told to the engines
	moves       int64   // of the estimator, when the filters were designed
	sourceBase  int64   // session source index of the source's sample 0
	nextSource  int64   // session source index after the newest sample
	held        []acquire.Block
	pendingGap  bool
	arrived     time.Time
	lastArrived time.Time
	lastAsleep  time.Duration // asleep() at lastArrived
	lastEmpty   time.Time     // when the source had nothing for us
	lastTaken   time.Time     // when the newest sample was taken at the latest, while the source is away
	pause       *pause        // one that has just ended
	lastFrame   time.Time
	lastSecond  time.Time
	lastRebuild time.Time
	lostAt      time.Time // when the source went away; zero while it is there
	sequence    uint32
	lastHealth  acquire.Health
	reopened    chan opened
	reopening   bool
	nextReopen  time.Time

	// Counted for Counters.
	samples, lost, gaps, frames, found, reopens atomic.Int64

	// Guarded by mu.
	mu      sync.Mutex
	state   State
	history *history
	beats   [][]beat.Beat
	reports []meter.Report
	hums    [][]humPoint // of the last HumSeconds, oldest first
	reading []beat.Reading
}

type opened struct {
	source acquire.Source
	err    error
}

// New returns a session without a source; Run makes it live.
func New(c Config) *Session {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return &Session{openers: c.Openers, hub: c.Hub, log: c.Log, taps: c.Taps, memory: c.Remember, recorded: c.Recording,
		commands: make(chan func()), done: make(chan struct{}), asleep: asleepTotal, now: c.Now, sleptSince: sleptSince, reopened: make(chan opened),
		state: State{Version: c.Version, Status: StatusIdle, StatusText: "no source chosen", Decimation: 1,
			Channels: []ChannelState{}, Gaps: []Gap{}, Notes: []Note{}, Text: []string{}}}
}

// errStopped answers a command given after the end.
var errStopped = errors.New("the session has stopped")

// do runs f on the session's goroutine and waits for it.
func (s *Session) do(ctx context.Context, f func()) error {
	finished := make(chan struct{})
	select {
	case s.commands <- func() { f(); close(finished) }:
	case <-s.done:
		return errStopped
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case <-finished:
		return nil
	case <-s.done:
		return errStopped
	}
}

// Open opens a source and makes it the session's. When that fails the source
// before stays, unless both are the same device, which cannot be opened twice.
func (s *Session) Open(ctx context.Context, address string) error {
	s.openMu.Lock()
	defer s.openMu.Unlock()
	a, err := acquire.ParseAddress(address)
	if err != nil {
		return err
	}
	err = s.do(ctx, func() {
		if s.source != nil || !s.lostAt.IsZero() {
			old, err := acquire.ParseAddress(s.state.Source.Address)
			if err == nil && old.Scheme == a.Scheme && old.Path == a.Path {
				s.closeSource()
				s.setStatus(StatusOpening, "opening "+address)
			}
		} else {
			s.setStatus(StatusOpening, "opening "+address)
		}
	})
	if err != nil {
		return err
	}
	source, err := s.openers.Open(ctx, address)
	if err != nil {
		_ = s.do(context.WithoutCancel(ctx), func() {
			if s.source == nil && s.lostAt.IsZero() {
				s.setStatus(StatusFailed, err.Error())
			}
		})
		return err
	}
	if doErr := s.do(ctx, func() { err = s.adopt(source) }); doErr != nil {
		source.Close()
		return doErr
	}
	return err
}

// Run reads until ctx ends. It returns nil then.
func (s *Session) Run(ctx context.Context) error {
	defer close(s.done)
	defer s.closeSource()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for ctx.Err() == nil {
		if s.source == nil {
			select {
			case f := <-s.commands:
				f()
			case o := <-s.reopened:
				s.takeReopened(o)
			case <-tick.C:
				s.tryReopen(ctx)
				s.everySecond(s.now())
			case <-ctx.Done():
			}
			continue
		}
		select {
		case f := <-s.commands:
			f()
			continue
		case o := <-s.reopened:
			s.takeReopened(o) // too late: lets go of it
			continue
		default:
		}
		block, err := s.source.Read(ctx)
		if err != nil {
			s.readFailed(ctx, err)
			continue
		}
		s.take(block)
	}
	return nil
}

// adopt makes an open source the session's and begins an epoch.
func (s *Session) adopt(source acquire.Source) error {
	info := source.Describe()
	if len(info.Channels) == 0 {
		source.Close()
		return fmt.Errorf("source %s: it has no channel; a source needs at least one column of samples", info.Address)
	}
	s.closeSource()
	s.source = source
	s.estimator = clock.New(info.ClaimedRateHz)
	s.sourceBase, s.nextSource = 0, 0
	s.held, s.channels = nil, nil
	s.designedHz, s.usedHz, s.moves = 0, info.ClaimedRateHz, 0
	s.lastArrived, s.lastTaken, s.lastRebuild = time.Time{}, time.Time{}, time.Time{}
	s.sequence = 0
	s.mu.Lock()
	s.state.Epoch++
	s.state.Source = info
	s.state.TrimmerHz = trimmerOf(source)
	s.state.T0 = s.now()
	if !info.Started.IsZero() {
		s.state.T0 = info.Started
	}
	s.state.LastIndex, s.state.RateHz, s.state.SourceRateHz, s.state.Decimation = 0, 0, info.ClaimedRateHz, 1
	s.state.Clock = ClockState{Epoch: s.state.Epoch, ClaimedRateHz: info.ClaimedRateHz, UsedRateHz: info.ClaimedRateHz, Exact: info.ExactClock}
	s.state.Channels = []ChannelState{}
	s.state.Gaps, s.state.Notes, s.state.Text = []Gap{}, []Note{}, []string{}
	s.state.Health, s.state.Problem = acquire.Health{}, ""
	s.history, s.beats, s.reports, s.hums = nil, nil, nil, nil
	s.reading = nil
	s.mu.Unlock()
	s.log.Info("source opened", "address", info.Address, "channels", len(info.Channels), "claimedRateHz", info.ClaimedRateHz)
	if info.ClaimedRateHz > 0 {
		if err := s.build(info.ClaimedRateHz); err != nil {
			s.closeSource()
			s.setStatus(StatusFailed, err.Error())
			return err
		}
		s.setStatus(StatusRunning, info.Name)
	} else {
		s.setStatus(StatusOpening, "measuring the sampling rate")
	}
	return nil
}

// build makes the channels for a source rate.
func (s *Session) build(rateHz float64) error {
	info := s.source.Describe()
	s.decimation = channel.Decimation(rateHz)
	pointHz := rateHz / float64(s.decimation)
	s.usedHz, s.designedHz, s.doubt = rateHz, pointHz, ""
	s.channels = nil
	start := channel.Start{RateHz: rateHz, Ratio: s.decimation, HumHz: make([]float64, len(info.Channels))}
	for i, description := range info.Channels {
		settings := channel.Resolve(s.places(i, description, pointHz))
		start.Channels = append(start.Channels, settings.Settings)
		e, err := channel.New(start.Config(i, description, 0, channel.All))
		if err != nil {
			return fmt.Errorf("channel %d (%s) at %.6g Hz: %w", i+1, description.Label, pointHz, err)
		}
		start.Channels[i] = e.Settings()
		s.channels = append(s.channels, &worker{engine: e, from: settings.From})
	}
	s.mu.Lock()
	s.history = newHistory(len(s.channels)*points, int64(HistorySeconds*pointHz))
	s.beats = make([][]beat.Beat, len(s.channels))
	s.reports = make([]meter.Report, len(s.channels))
	s.hums = make([][]humPoint, len(s.channels))
	s.reading = make([]beat.Reading, len(s.channels))
	for i := range s.reading {
		s.reading[i] = beat.Reading{State: "searching", Reason: "waiting for samples"}
	}
	s.state.RateHz, s.state.SourceRateHz, s.state.Decimation = pointHz, rateHz, s.decimation
	epoch, t0 := s.state.Epoch, s.state.T0
	s.mu.Unlock()
	s.refreshChannels()
	for _, t := range s.taps {
		t.Begin(epoch, info, rateHz, t0)
		if e, ok := t.(EngineTap); ok {
			e.Engines(start)
		}
		t.Settings(s.channelStates())
	}
	return nil
}

// places are where the settings of channel n are told: what is remembered of the source,
// what a recording that is replayed carries, and the source itself.
func (s *Session) places(n int, description acquire.Channel, rateHz float64) channel.Places {
	p := channel.Places{Described: description, RateHz: rateHz}
	if s.memory != nil {
		p.Said, _ = s.memory.Load(memoryAddress(s.source.Describe()), n, description.Label)
		p.Said.Label = nil // it is only how the channel was found
	}
	if keeper, ok := s.source.(acquire.Keeper); ok {
		p.Recorded = channel.ParseCarried(keeper.KeptSettings()).Of(n)
	}
	return p
}

// tell tells the taps what happened to the engines.
func (s *Session) tell(v channel.Event) {
	for _, t := range s.taps {
		if e, ok := t.(EngineTap); ok {
			e.Engine(s.nextSource, v)
		}
	}
}

// event does what an event says to all engines, and tells the taps.
func (s *Session) event(v channel.Event) {
	for n, w := range s.channels {
		if err := w.engine.Apply(n, v); err != nil {
			s.log.Warn("a channel goes on as before", "channel", w.settings().Label, "err", err)
		}
	}
	s.tell(v)
}

// memoryAddress is the address under which a source's settings are remembered: a
// sound input's is that of the device, whichever way it is reached.
func memoryAddress(info acquire.Info) string {
	a, err := acquire.ParseAddress(info.Address)
	if err != nil || info.Device == "" {
		return info.Address
	}
	return a.Scheme + ":" + info.Device
}

// take works one block in.
func (s *Session) take(b acquire.Block) {
	now := s.now()
	if len(b.Text) > 0 {
		s.boardText(b.Text)
	}
	n := b.Len()
	if n == 0 {
		s.lastEmpty = now
		s.pauseOver(now)
		s.flush(now)
		s.everySecond(now)
		return
	}
	if s.channels == nil {
		info := s.source.Describe()
		s.observe(b)
		s.hold(b)
		e := s.estimator.Estimate()
		if !e.Ready {
			s.everySecond(now)
			return
		}
		if err := s.build(e.MeasuredHz); err != nil {
			s.fail(err)
			return
		}
		s.setStatus(StatusRunning, info.Name)
		held := s.held
		s.held = nil
		for _, h := range held {
			s.work(h, now)
		}
	} else if !s.paused(b) {
		s.observe(b)
		s.work(b, now)
	}
	if _, n := s.pending(); now.Sub(s.lastFrame) >= frameInterval || float64(n) >= s.designedHz {
		s.flush(now) // what comes in a burst goes out a second of signal at a time
	}
	s.everySecond(now)
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

// hold keeps a block until the rate is known.
func (s *Session) hold(b acquire.Block) { s.held = append(s.held, cloneBlock(b)) }

// work takes a block through the channels.
func (s *Session) work(b acquire.Block, now time.Time) {
	n := b.Len()
	first := s.sourceBase + b.First
	if lost := first - s.nextSource; lost > 0 {
		s.gap(s.nextSource, lost, fmt.Sprintf("%d samples lost on the way", lost))
		s.nextSource = first
	} else if b.Jump {
		s.flush(now)
		s.pendingGap = true
		s.event(channel.Event{Restart: true})
	}
	for i, clipped := range b.Clipped {
		if clipped && s.channels[i].engine.Clip() {
			s.tell(channel.Event{Channel: i, Clipped: true})
		}
	}
	for _, t := range s.taps {
		t.Samples(first, b.Counts)
	}
	s.samples.Add(int64(n))
	for i, w := range s.channels {
		w.engine.Process(&w.out, b.Counts[i])
	}
	s.nextSource = first + int64(n)
	s.arrived, s.lastArrived, s.lastAsleep = b.Arrived, b.Arrived, s.asleepAt(b.Arrived)
	for i, w := range s.channels {
		if hz := w.engine.HumHz(); hz != w.humHz {
			w.humHz = hz
			s.tell(channel.Event{Channel: i, HumHz: hz})
		}
	}
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
	s.message(struct {
		Type  string `json:"type"`
		Epoch uint32 `json:"epoch"`
		Gap
	}{"gap", epoch, g})
	for _, t := range s.taps {
		t.Gap(first, samples, reason)
	}
	for _, w := range s.channels {
		w.engine.Gap(&w.out, samples)
	}
	s.flush(s.now()) // the points from here on may not follow
	s.pendingGap = true
}

func keep[T any](list []T, most int) []T {
	if len(list) > most {
		return slices.Delete(list, 0, len(list)-most)
	}
	return list
}

// flush sends the frame under way.
func (s *Session) flush(now time.Time) {
	first, n := s.pending()
	if n > 0 {
		s.sendFrame(now, first, n)
	}
	for i, w := range s.channels {
		s.tellBeats(i, w, now)
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
// began anew.
func (s *Session) tellBeats(i int, w *worker, now time.Time) {
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
		s.sendReading(i, w, now)
	}
}

func (s *Session) sendReading(i int, w *worker, now time.Time) {
	r := ChannelReading{"reading", s.state.Epoch, i, s.newest(), s.readingOf(w, now)}
	s.mu.Lock()
	s.reading[i] = r.Reading
	s.mu.Unlock()
	s.message(r)
}

// everySecond does what is due about once a second.
func (s *Session) everySecond(now time.Time) {
	if now.Sub(s.lastSecond) < time.Second {
		return
	}
	s.lastSecond = now
	if s.source == nil {
		return
	}
	if h, ok := s.source.(acquire.HealthReporter); ok {
		if health := h.Health(); health != s.lastHealth {
			s.lastHealth = health
			s.mu.Lock()
			s.state.Health = health
			s.mu.Unlock()
			s.message(struct {
				Type string `json:"type"`
				acquire.Health
			}{"health", health})
		}
	}
	s.updateRate(now)
	if p, ok := s.source.(acquire.Player); ok {
		s.updatePlayback(p)
	}
	for i, w := range s.channels {
		s.sendReading(i, w, now)
		report, ok := w.engine.Report()
		if !ok {
			continue
		}
		s.mu.Lock()
		s.reports[i] = report
		s.hums[i] = noteHum(s.hums[i], s.newest(), s.state.RateHz, report)
		s.mu.Unlock()
		s.message(struct {
			Type    string       `json:"type"`
			Epoch   uint32       `json:"epoch"`
			Channel int          `json:"channel"`
			Index   int64        `json:"index"`
			Report  meter.Report `json:"report"`
		}{"meters", s.state.Epoch, i, s.newest(), report})
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
			far := math.Abs(pointHz/s.designedHz-1) > rebuildShare
			moved := e.Moves != s.moves
			s.moves = e.Moves
			if far && (moved || e.UncertaintyHz < rebuildShare/2*s.usedHz && now.Sub(s.lastRebuild) > 10*time.Second) {
				s.redesign(pointHz)
				s.lastRebuild = now
			} else {
				s.event(channel.Event{ClockHz: s.usedHz})
			}
			for _, t := range s.taps {
				t.Rate(s.usedHz)
			}
		}
	}
	s.mu.Lock()
	s.state.Clock = state
	s.mu.Unlock()
	s.message(state)
}

// redesign makes the filters anew for the rate the clock turned out to have.
func (s *Session) redesign(pointHz float64) {
	s.flush(s.now())
	s.designedHz = pointHz
	s.event(channel.Event{RateHz: s.usedHz})
	s.log.Info("filters designed anew", "rateHz", pointHz)
	s.refreshChannels()
}

func (s *Session) updatePlayback(p acquire.Player) {
	info := s.source.Describe()
	pb := &Playback{Position: p.Position(), Length: info.LengthSamples, Speed: p.Speed(), Loop: p.Loop()}
	s.mu.Lock()
	s.state.Playback = pb
	s.mu.Unlock()
	s.message(struct {
		Type string `json:"type"`
		*Playback
	}{"playback", pb})
}

// readFailed answers an error of the source's Read.
func (s *Session) readFailed(ctx context.Context, err error) {
	if ctx.Err() != nil {
		return
	}
	now := s.now()
	s.cutShort()
	s.flush(now)
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
	go func() {
		source, err := s.openers.Open(ctx, address)
		select {
		case s.reopened <- opened{source, err}:
		case <-s.done:
			if source != nil {
				source.Close()
			}
		}
	}()
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
	if info.Address != old.Address || s.channels == nil || !slices.Equal(info.Channels, old.Channels) || info.ClaimedRateHz != old.ClaimedRateHz {
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

// boardText passes on what the board says.
func (s *Session) boardText(lines []string) {
	clean := make([]string, len(lines))
	for i, l := range lines {
		clean[i] = strings.ToValidUTF8(l, string(utf8.RuneError))
	}
	d := int64(max(1, s.decimation))
	s.mu.Lock()
	s.state.Text = keep(append(s.state.Text, clean...), keptTexts)
	epoch := s.state.Epoch
	s.mu.Unlock()
	s.message(struct {
		Type  string   `json:"type"`
		Epoch uint32   `json:"epoch"`
		Index int64    `json:"index"`
		Lines []string `json:"lines"`
	}{"text", epoch, s.nextSource / d, clean})
	if s.channels != nil {
		for _, t := range s.taps {
			t.Text(s.nextSource, clean)
		}
	}
}

func (s *Session) setStatus(status, text string) {
	s.mu.Lock()
	same := s.state.Status == status && s.state.StatusText == text
	s.state.Status, s.state.StatusText = status, text
	s.mu.Unlock()
	if !same {
		s.sendState()
	}
}

func (s *Session) channelStates() []ChannelState {
	list := make([]ChannelState, len(s.channels))
	for i, w := range s.channels {
		list[i] = w.state()
	}
	return list
}

// refreshChannels brings the channels' settings into the state.
func (s *Session) refreshChannels() {
	list := s.channelStates()
	s.mu.Lock()
	s.state.Channels = list
	s.mu.Unlock()
	s.sendState()
}

func (s *Session) sendState() {
	s.message(struct {
		Type string `json:"type"`
		State
	}{"state", s.State()})
}

func (s *Session) message(v any) { s.hub.Send(textMessage(v)) }

func textMessage(v any) hub.Message {
	data, err := json.Marshal(v)
	if err != nil {
		panic(fmt.Sprintf("session: a message that JSON cannot hold: %v", err)) // NaN in a report: a bug
	}
	return hub.Message{Kind: hub.Text, Data: data}
}
