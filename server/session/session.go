// Package session runs one source: a single goroutine reads its blocks, takes
// every channel through its path, finds beats, keeps the last ten minutes, and
// hands frames and messages to the hub and everything, in order, to its taps.
//
// Sample positions are session indices: they count points from the opening of
// the source (an epoch) and run on through gaps. server/API.md describes the
// frames and messages. All exported methods are safe for concurrent use.
package session

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
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
	// rebuildPause is how long filters stand at least unless the clock has moved: what is
	// learnt slowly must not make the trace begin anew again and again.
	rebuildPause = 10 * time.Second
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

// Mover is a Tap that wants to know when the source's clock was found to have changed its
// rate: from sample from on it is hz, which Rate tells next. What is stored under one rate ends there.
type Mover interface {
	Moved(from int64, hz float64)
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
	// Say, when set, is given what was said of channel n of a source, by its address, to keep it with
	// what the source is. It may take its time.
	Say func(address string, n int, said channel.Said) error
	// Kind, when set, is what every channel is taken for, whatever else is told of it.
	Kind string
}

// Memory keeps channel settings by source address.
type Memory interface {
	// Load gives what was said of channel n of a source.
	Load(address string, source acquire.Info, n int) (said channel.Said, ok bool)
	Save(address string, source acquire.Info, channels []channel.Resolved)
}

// Session is the one live source and all that hangs on it.
type Session struct {
	// Immutable after New.
	openers  acquire.Openers
	hub      *hub.Hub
	log      *slog.Logger
	taps     []Tap
	memory   Memory
	say      func(address string, n int, said channel.Said) error
	kind     string
	recorded func() any
	commands chan func()
	done     chan struct{}
	now      func() time.Time

	openMu   sync.Mutex // one Open at a time
	changeMu sync.Mutex // one change of settings at a time

	// Owned by Run's goroutine.
	source     acquire.Source
	channels   []*worker
	decimation int
	counting
	rates
	framing
	silence
	absence
	faults     faults
	lastSecond time.Time
	lastHealth acquire.Health

	// Counted for Counters.
	samples, lost, gaps, frames, found, reopens atomic.Int64

	// Guarded by mu.
	mu    sync.Mutex
	state State
	shown
}

// counting is where the source's samples stand in the session.
type counting struct {
	sourceBase int64           // session source index of the source's sample 0
	nextSource int64           // session source index after the newest sample
	ahead      int64           // samples of a gap under way, as the source tells it, that are over
	held       []acquire.Block // until the rate is known
}

// New returns a session without a source; Run makes it live.
func New(c Config) *Session {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return &Session{openers: c.Openers, hub: c.Hub, log: c.Log, taps: c.Taps, memory: c.Remember, say: c.Say, kind: c.Kind, recorded: c.Recording,
		commands: make(chan func()), done: make(chan struct{}), now: c.Now, silence: silence{asleep: asleepTotal, sleptSince: sleptSince}, absence: absence{reopened: make(chan opened)},
		state: State{Version: c.Version, Status: StatusIdle, StatusText: "no source chosen", Decimation: 1,
			Channels: []ChannelState{}, Gaps: []Gap{}, Notes: []Note{}, Text: []string{}}}
}

// errStopped answers a command given after the end.
var errStopped = errors.New("the session has stopped")

// do runs f on the session's goroutine and waits for it.
func (s *Session) do(ctx context.Context, f func()) error {
	finished := make(chan struct{})
	var fault error
	select {
	case s.commands <- func() { fault = s.guarded("a command", f); close(finished) }:
	case <-s.done:
		return errStopped
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case <-finished:
		return fault
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
	defer s.attempts.Wait()
	defer close(s.done)
	defer func() { _ = s.guarded("closing the source", s.closeSource) }()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	read := func() (acquire.Block, error) { return s.source.Read(ctx) }
	reopen := func() { s.tryReopen(ctx) }
	for ctx.Err() == nil {
		_ = s.guarded("the session", func() { s.step(ctx.Done(), read, tick.C, reopen) })
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
	s.sourceBase, s.nextSource, s.ahead = 0, 0, 0
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
		w := &worker{engine: e, from: settings.From}
		w.began(0)
		s.channels = append(s.channels, w)
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
	if s.kind != "" {
		s.remember()
	}
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
		info := s.source.Describe()
		p.Said, _ = s.memory.Load(memoryAddress(info), info, n)
	}
	if s.kind != "" {
		if p.Said.Kind != nil && *p.Said.Kind != s.kind {
			p.Said.Path = nil // made for another kind
		}
		p.Said.Kind = &s.kind
	}
	if keeper, ok := s.source.(acquire.Keeper); ok {
		p.Recorded = channel.ParseCarried(keeper.KeptSettings()).AtEnd(n, keeper.KeptEvents())
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
		s.ahead = max(0, s.sourceBase+b.First-s.nextSource)
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

// hold keeps a block until the rate is known.
func (s *Session) hold(b acquire.Block) { s.held = append(s.held, cloneBlock(b)) }

// work takes a block through the channels.
func (s *Session) work(b acquire.Block, now time.Time) {
	n := b.Len()
	first := s.sourceBase + b.First
	s.ahead = 0
	if lost := first - s.nextSource; lost > 0 {
		s.gap(s.nextSource, lost, cmp.Or(b.LostWhy, fmt.Sprintf("%d samples lost on the way", lost)))
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
	for _, note := range b.Notes {
		at := s.sourceBase + note.Sample
		s.note(Note{Index: at / int64(max(1, s.decimation)), Text: strings.ToValidUTF8(note.Text, string(utf8.RuneError))}, at)
	}
	s.nextSource = first + int64(n)
	s.samples.Add(int64(n))
	s.arrived, s.lastArrived, s.lastAsleep = b.Arrived, b.Arrived, s.asleepAt(b.Arrived)
	for from := 0; from < n; {
		second := s.secondAfter(first + int64(from))
		to := int(min(int64(n), second-first))
		for i, w := range s.channels {
			w.engine.Process(&w.out, b.Counts[i][from:to])
		}
		if from = to; first+int64(to) == second {
			s.tellSecond(now)
		}
	}
	for i, w := range s.channels {
		if hz := w.engine.HumHz(); hz != w.humHz {
			w.humHz = hz
			s.tell(channel.Event{Channel: i, HumHz: hz})
		}
	}
}

func keep[T any](list []T, most int) []T {
	if len(list) > most {
		return slices.Delete(list, 0, len(list)-most)
	}
	return list
}
