package session

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
)

// State returns the present state.
func (s *Session) State() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.stateLocked()
}

func (s *Session) stateLocked() State {
	state := s.state
	state.Gaps = slices.Clone(state.Gaps)
	state.Notes = slices.Clone(state.Notes)
	state.Text = slices.Clone(state.Text)
	state.Watchers = s.hub.Watchers()
	if s.recorded != nil {
		state.Recording = s.recorded()
	}
	return state
}

// Watch subscribes a page: it gets the state, the last minute, the readings, and
// then everything live, without a hole or an overlap.
func (s *Session) Watch() *hub.Client {
	s.mu.Lock()
	defer s.mu.Unlock()
	state := s.stateLocked()
	var first []hub.Message
	put := func(v any) {
		m, err := textMessage(v)
		if err != nil {
			s.log.Error("a page is told less", "err", err)
			return
		}
		first = append(first, m)
	}
	put(struct {
		Type string `json:"type"`
		State
	}{"state", state})
	if s.history != nil {
		_, to := s.history.span()
		from := to - int64(backfillSeconds*s.state.RateHz)
		for _, f := range s.history.frames(nil, from, to, s.historyHead()) {
			first = append(first, hub.Message{Kind: hub.Frame, Data: f})
		}
		for i, list := range s.beats {
			at := len(list)
			for at > 0 && list[at-1].Sample >= from {
				at--
			}
			put(ChannelBeats{"beats", state.Epoch, i, list[at:]})
			put(ChannelReading{"reading", state.Epoch, i, to, s.reading[i]})
		}
	}
	return s.hub.Subscribe(first...)
}

// Send queues a message that is not of the signal for every page.
func (s *Session) Send(m hub.Message) { s.hub.Send(m) }

// historyHead is called with mu held.
func (s *Session) historyHead() frameHeader {
	return frameHeader{channels: len(s.beats), rateHz: s.state.RateHz, epoch: s.state.Epoch}
}

// History hands frames that hold what is kept of [from, to) to take, one at a time, each
// valid during the call, until take gives an error, which it returns, or another source
// begins. One frame is in memory at a time, and nothing is locked while take has it.
func (s *Session) History(from, to int64, take func(frame []byte) error) error {
	s.mu.Lock()
	epoch, kept := s.state.Epoch, s.history
	to = min(to, s.state.LastIndex) // and not what comes meanwhile
	s.mu.Unlock()
	if kept == nil {
		return nil
	}
	var frame []byte
	for {
		s.mu.Lock()
		ok := s.state.Epoch == epoch && s.history == kept
		if ok {
			frame, from, ok = kept.frame(frame[:0], from, to, s.historyHead())
		}
		s.mu.Unlock()
		if !ok {
			return nil
		}
		if err := take(frame); err != nil {
			return err
		}
	}
}

// Beats returns each channel's beats with Sample in [from, to).
func (s *Session) Beats(from, to int64) (epoch uint32, channels [][]beat.Beat) {
	s.mu.Lock()
	defer s.mu.Unlock()
	channels = make([][]beat.Beat, len(s.beats))
	for i, list := range s.beats {
		channels[i] = []beat.Beat{}
		for _, b := range list {
			if b.Sample >= from && b.Sample < to {
				channels[i] = append(channels[i], b)
			}
		}
	}
	return s.state.Epoch, channels
}

// ErrNoChannel is answered for a channel that does not exist.
var ErrNoChannel = errors.New("no such channel")

func channelExists(n, channels int) error {
	if n < 0 || n >= channels {
		return fmt.Errorf("channel %d: %w; there are %d, counted from 0", n, ErrNoChannel, channels)
	}
	return nil
}

// Recent returns up to seconds of the newest gap-free values of one point of a
// channel, with the rate of the points and the channel's unit.
func (s *Session) Recent(channel, point int, seconds float64) (values []float64, rateHz float64, unit string, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := channelExists(channel, len(s.beats)); err != nil {
		return nil, 0, "", err
	}
	if point < 0 || point >= points {
		return nil, 0, "", fmt.Errorf("point %d: choose 0 (scale) to %d (beats)", point, points-1)
	}
	rateHz = s.state.RateHz
	n := int(min(seconds*rateHz, HistorySeconds*rateHz))
	return s.history.copySeries(make([]float64, n), channel*points+point), rateHz, s.state.Channels[channel].Unit, nil
}

// Reading returns a channel's newest rate, or the reason for none.
func (s *Session) Reading(channel int) (beat.Reading, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := channelExists(channel, len(s.reading)); err != nil {
		return beat.Reading{}, err
	}
	return s.reading[channel], nil
}

// Report returns a channel's newest meters.
func (s *Session) Report(channel int) (meter.Report, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := channelExists(channel, len(s.reports)); err != nil {
		return meter.Report{}, err
	}
	return s.reports[channel], nil
}

// HumSeconds is how far back HumStrip reaches.
const HumSeconds = 120

// humPoint is a report's hum at a sample.
type humPoint struct {
	index int64
	hum   HumPoint
}

// HumPoint is the hum and the pulse of a report, AgoSeconds before the newest one.
type HumPoint struct {
	AgoSeconds float64     `json:"agoSeconds"`
	Hum        HumFigure   `json:"hum"`
	Pulse      PulseFigure `json:"pulse"`
}

// HumFigure and PulseFigure are parts of [meter.Hum] and [meter.Pulse].
type HumFigure struct {
	Known         bool    `json:"known"`
	Found         bool    `json:"found"`
	VoltsRMS      float64 `json:"voltsRms"`
	LimitVoltsRMS float64 `json:"limitVoltsRms"`
}

// PulseFigure is the pulse's height.
type PulseFigure struct {
	Known       bool    `json:"known"`
	HeightVolts float64 `json:"heightVolts"`
}

// noteHum adds a report's hum and drops what is older than HumSeconds.
func noteHum(strip []humPoint, index int64, rateHz float64, r meter.Report) []humPoint {
	for len(strip) > 0 && (float64(index-strip[0].index) > HumSeconds*rateHz || strip[0].index > index) {
		strip = strip[1:]
	}
	return append(strip, humPoint{index, HumPoint{Hum: HumFigure{r.Hum.Known, r.Hum.Found, r.Hum.VoltsRMS, r.Hum.LimitVoltsRMS}, Pulse: PulseFigure{r.Pulse.Known, r.Pulse.HeightVolts}}})
}

// HumStrip returns a channel's hum of the last HumSeconds, oldest first, about one a
// second.
func (s *Session) HumStrip(channel int) ([]HumPoint, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := channelExists(channel, len(s.hums)); err != nil {
		return nil, err
	}
	strip := s.hums[channel]
	list := make([]HumPoint, len(strip))
	for i, p := range strip {
		p.hum.AgoSeconds = float64(strip[len(strip)-1].index-p.index) / s.state.RateHz
		list[i] = p.hum
	}
	return list, nil
}

// Trimmer advises on a low-pass from a channel's present signal.
func (s *Session) Trimmer(ctx context.Context, n int, t meter.TrimmerConfig) (advice meter.Advice, err error) {
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		advice, err = s.channels[n].engine.Trimmer(t)
	})
	return advice, errors.Join(doErr, err)
}

// change changes a channel's settings on the session's goroutine, then tells everyone.
func (s *Session) change(ctx context.Context, n int, f func(*channel.Settings, float64)) (now channel.Settings, err error) {
	s.changeMu.Lock()
	defer s.changeMu.Unlock()
	address, old := "", channel.Settings{}
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		w := s.channels[n]
		address, old = s.state.Source.Address, w.settings()
		changed := old
		f(&changed, w.engine.RateHz())
		s.flush(s.now()) // what is in the old unit
		if err = w.engine.Set(changed); err != nil {
			return
		}
		now = w.settings()
		w.said(old, now)
		s.tell(channel.Event{Channel: n, Settings: &now})
		s.rescaleHistory(n, old, now)
		s.refreshChannels()
		s.remember()
		for _, t := range s.taps {
			t.Settings(s.channelStates())
		}
	})
	if err = errors.Join(doErr, err); err != nil || s.say == nil {
		return now, err
	}
	if err = s.say(address, n, now.Since(old)); err != nil {
		err = fmt.Errorf("channel %d (%s) is set, until another source is opened, but that could not be kept: %w", n+1, now.Label, err)
	}
	return now, err
}

// remember keeps what was said of the source's channels.
func (s *Session) remember() {
	if s.memory == nil {
		return
	}
	list := make([]channel.Resolved, len(s.channels))
	for i, w := range s.channels {
		list[i] = channel.Resolved{Settings: w.settings(), From: w.from}
	}
	s.memory.Save(memoryAddress(s.state.Source), s.state.Source, list)
}

// SetPath changes a channel's path and returns it as applied.
func (s *Session) SetPath(ctx context.Context, n int, settings signalpath.Settings) (applied signalpath.Settings, err error) {
	now, err := s.change(ctx, n, func(c *channel.Settings, _ float64) { c.Path = settings })
	return now.Path, err
}

// SetKind changes what a channel is taken for, with that kind's path.
func (s *Session) SetKind(ctx context.Context, n int, kind string) error {
	return s.setKind(ctx, n, kind, false)
}

// SetPreset is SetKind that brings back the kind's path also when the kind stays.
func (s *Session) SetPreset(ctx context.Context, n int, kind string) error {
	return s.setKind(ctx, n, kind, true)
}

func (s *Session) setKind(ctx context.Context, n int, kind string, preset bool) error {
	if err := channel.CheckKind(kind); err != nil {
		return err
	}
	_, err := s.change(ctx, n, func(c *channel.Settings, rateHz float64) {
		if preset || kind != c.Kind {
			c.Kind, c.Path = kind, signalpath.Preset(kind, rateHz)
		}
	})
	return err
}

// SetScale changes how a channel's counts become volts.
func (s *Session) SetScale(ctx context.Context, n int, scale channel.Scale) error {
	if err := scale.Check(); err != nil {
		return err
	}
	_, err := s.change(ctx, n, func(c *channel.Settings, _ float64) { c.Scale = scale })
	return err
}

// rescaleHistory brings what is remembered of a channel to its new scale, so that no
// counts stand beside volts.
func (s *Session) rescaleHistory(n int, old, now channel.Settings) {
	s.mu.Lock()
	defer s.mu.Unlock()
	w, oldest := s.channels[n], int64(0)
	if c := now.ChangeOf(w.engine.Described(), old); s.history != nil {
		if c != (channel.Change{Factor: 1}) {
			s.history.rescale(n, c, w.eras, w.engine.RateHz())
		}
		oldest, _ = s.history.span()
	}
	w.began(oldest)
}

// Response is a path's gain and delay at some frequencies.
type Response struct {
	FreqHz []float64           `json:"freqHz"`
	Drift  StageResponse       `json:"drift"`
	Hum    StageResponse       `json:"hum"`
	Smooth StageResponse       `json:"smooth"`
	Whole  StageResponse       `json:"whole"`
	Path   signalpath.Settings `json:"path"`
}

// StageResponse is one stage's part, each of FreqHz's length.
type StageResponse struct {
	GainDB       []float64 `json:"gainDb"`
	DelaySeconds []float64 `json:"delaySeconds"`
}

// PathResponse returns the response of the path of channel n at so many frequencies.
func (s *Session) PathResponse(ctx context.Context, n, frequencies int) (r Response, err error) {
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		e := s.channels[n].engine
		r = respond(e.Path(), e.RateHz(), frequencies)
	})
	return r, errors.Join(doErr, err)
}

// PathSections returns the sections of the path of channel n as it is now, the rate
// they were designed for and the settings, with the mains frequency that was found.
func (s *Session) PathSections(ctx context.Context, n int) (sections filter.Sections, rateHz float64, settings signalpath.Settings, err error) {
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		e := s.channels[n].engine
		rateHz, settings = e.RateHz(), e.Settings().Path
		settings.Hum.FreqHz = e.Path().HumHz()
		sections, err = e.Path().Sections()
	})
	return sections, rateHz, settings, errors.Join(doErr, err)
}

// ErrNotPlaying answers a playback request to a source that is no recording.
var ErrNotPlaying = errors.New("the source is not a recording, so it cannot be steered")

// PlaybackChange steers a recording; what is nil stays as it is.
type PlaybackChange struct {
	Position *int64   `json:"position"`
	Speed    *float64 `json:"speed"`
	Loop     *bool    `json:"loop"`
	SkipGaps *bool    `json:"skipGaps"`
}

// SetPlayback steers a recording.
func (s *Session) SetPlayback(ctx context.Context, c PlaybackChange) error {
	position, speed := c.Position, c.Speed
	var err error
	doErr := s.do(ctx, func() {
		p, ok := s.source.(acquire.Player)
		if !ok {
			err = ErrNotPlaying
			return
		}
		if speed != nil {
			if *speed != 0 && !(*speed >= 0.1 && *speed <= 100) { // as acquire.Player takes it
				err = fmt.Errorf("speed of %g: give 0 to pause, or 0.1 to 100 times", *speed)
				return
			}
			p.SetSpeed(*speed)
			if *speed == 0 {
				s.setStatus(StatusPaused, "paused")
			} else {
				s.setStatus(StatusRunning, s.source.Describe().Name)
			}
		}
		if position != nil {
			p.SeekTo(*position)
		}
		if c.Loop != nil {
			p.SetLoop(*c.Loop)
		}
		if c.SkipGaps != nil {
			p.SetSkipGaps(*c.SkipGaps)
		}
		s.updatePlayback(p)
	})
	return errors.Join(doErr, err)
}

// ErrNotePlace is told of a note for a place that the session has not been at.
var ErrNotePlace = errors.New("no place for a note")

// AddNote puts a note at a session index of the epoch under way, or at the newest sample when
// index is nil.
func (s *Session) AddNote(ctx context.Context, index *int64, text string) (Note, error) {
	var note Note
	var err error
	doErr := s.do(ctx, func() {
		if len(s.channels) == 0 {
			err = errors.New("no samples yet: a note needs a place")
			return
		}
		s.mu.Lock()
		note = Note{Index: s.state.LastIndex, Text: text}
		if index != nil {
			note.Index = *index
		}
		if note.Index < 0 || note.Index > s.state.LastIndex {
			err = fmt.Errorf("index %d: %w; the newest sample has index %d, leave the index out to take it", note.Index, ErrNotePlace, s.state.LastIndex)
			s.mu.Unlock()
			return
		}
		s.mu.Unlock()
		s.note(note, note.Index*int64(max(1, s.decimation)))
	})
	return note, errors.Join(doErr, err)
}

// note puts a note, at a sample of the source, among those of the session.
func (s *Session) note(n Note, sample int64) {
	s.mu.Lock()
	s.state.Notes = keep(append(s.state.Notes, n), keptNotes)
	epoch := s.state.Epoch
	s.mu.Unlock()
	s.message(NoteMessage{"note", epoch, n})
	for _, t := range s.taps {
		t.Note(sample, n.Text)
	}
}

// Problem tells everyone of something the owner should know; "" clears it.
func (s *Session) Problem(text string) {
	s.mu.Lock()
	s.state.Problem = text
	s.mu.Unlock()
	s.message(ProblemMessage{"problem", text})
}

// Solved clears a problem unless another one was told since.
func (s *Session) Solved(text string) {
	s.mu.Lock()
	same := s.state.Problem == text
	s.mu.Unlock()
	if same {
		s.Problem("")
	}
}

// ErrNoTrimmer answers a trimmer request to a source without one.
var ErrNoTrimmer = errors.New("the source has no simulated trimmer: open a demo, or turn the real one")

// SetTrimmer turns the trimmer of a simulated board: the corner in hertz of its
// low-pass, 0 for none.
func (s *Session) SetTrimmer(ctx context.Context, hz float64) error {
	var err error
	doErr := s.do(ctx, func() {
		t, ok := s.source.(interface{ SetTrimmerHz(hz float64) error })
		if !ok {
			err = ErrNoTrimmer
			return
		}
		if err = t.SetTrimmerHz(hz); err != nil {
			return
		}
		s.mu.Lock()
		s.state.TrimmerHz = trimmerOf(s.source)
		s.mu.Unlock()
		s.sendState()
	})
	return errors.Join(doErr, err)
}

// trimmerOf is where a simulated board's trimmer stands, nil for other sources.
func trimmerOf(source acquire.Source) *float64 {
	t, ok := source.(interface{ TrimmerHz() float64 })
	if !ok {
		return nil
	}
	hz := t.TrimmerHz()
	return &hz
}

// Refresh sends every page the state, after something outside the session that
// it shows has changed.
func (s *Session) Refresh() { s.sendState() }

// Counters count since the start of the program.
type Counters struct {
	Samples, Lost, Gaps, Frames, Beats, Reopens int64
	Watchers                                    int
	DroppedFrames                               int64
	WaitingFrames                               int     // for the slowest page
	RateHz                                      float64 // of the source, 0 without one
}

// Counters returns the present counts.
func (s *Session) Counters() Counters {
	s.mu.Lock()
	rate := s.state.SourceRateHz
	s.mu.Unlock()
	return Counters{Samples: s.samples.Load(), Lost: s.lost.Load(), Gaps: s.gaps.Load(), Frames: s.frames.Load(), Beats: s.found.Load(), Reopens: s.reopens.Load(),
		Watchers: s.hub.Watchers(), DroppedFrames: s.hub.Dropped(), WaitingFrames: s.hub.Waiting(), RateHz: rate}
}
