package session

import (
	"strings"
	"time"
	"unicode/utf8"

	"pulsewright/acquire"
	"pulsewright/dsp/meter"
)

// The JSON messages of the stream, by Type; ClockState, ChannelBeats and ChannelReading are others.
type (
	// StateMessage is the whole state, "state".
	StateMessage struct {
		Type string `json:"type"`
		State
	}
	// PlaybackMessage tells where a recording stands, "playback".
	PlaybackMessage struct {
		Type string `json:"type"`
		Playback
	}
	// MetersMessage is a channel's report, "meters".
	MetersMessage struct {
		Type    string       `json:"type"`
		Epoch   uint32       `json:"epoch"`
		Channel int          `json:"channel"`
		Index   int64        `json:"index"`
		Report  meter.Report `json:"report"`
	}
	// GapMessage tells of missing samples, "gap".
	GapMessage struct {
		Type  string `json:"type"`
		Epoch uint32 `json:"epoch"`
		Gap
	}
	// NoteMessage is a note that somebody made, "note".
	NoteMessage struct {
		Type  string `json:"type"`
		Epoch uint32 `json:"epoch"`
		Note
	}
	// TextMessage is what the board says, "text".
	TextMessage struct {
		Type  string   `json:"type"`
		Epoch uint32   `json:"epoch"`
		Index int64    `json:"index"`
		Lines []string `json:"lines"`
	}
	// HealthMessage tells of the source's health, "health".
	HealthMessage struct {
		Type string `json:"type"`
		acquire.Health
	}
	// ProblemMessage is something that the owner should know, "problem".
	ProblemMessage struct {
		Type string `json:"type"`
		Text string `json:"text"`
	}
)

// everySecond does what is due about once a second.
func (s *Session) everySecond(now time.Time) {
	if now.Sub(s.lastSecond) < time.Second {
		return
	}
	s.lastSecond = now
	if s.source == nil {
		return
	}
	s.tellHealth()
	s.updateRate(now)
	if p, ok := s.source.(acquire.Player); ok {
		s.updatePlayback(p)
	}
	for i, w := range s.channels {
		if now.Sub(s.lastReading) >= time.Second {
			s.sendReading(i, w, now)
		}
		report, ok := w.engine.Report()
		if !ok {
			continue
		}
		s.mu.Lock()
		s.reports[i] = report
		s.hums[i] = noteHum(s.hums[i], s.newest(), s.state.RateHz, report)
		s.mu.Unlock()
		s.message(MetersMessage{"meters", s.state.Epoch, i, s.newest(), report})
	}
}

// tellHealth tells how well the source is being read, where that changed.
func (s *Session) tellHealth() {
	h, ok := s.source.(acquire.HealthReporter)
	if !ok {
		return
	}
	if health := h.Health(); health != s.lastHealth {
		s.lastHealth = health
		s.mu.Lock()
		s.state.Health = health
		s.mu.Unlock()
		s.message(HealthMessage{"health", health})
	}
}

func (s *Session) updatePlayback(p acquire.Player) {
	info := s.source.Describe()
	pb := &Playback{Position: p.Position(), Length: info.LengthSamples, Speed: p.Speed(), Loop: p.Loop(), SkipGaps: p.SkipGaps(), Gaps: p.Gaps()}
	s.mu.Lock()
	s.state.Playback = pb
	s.mu.Unlock()
	s.message(PlaybackMessage{"playback", *pb})
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
	s.message(TextMessage{"text", epoch, s.nextSource / d, clean})
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
	s.message(StateMessage{"state", s.State()})
}
