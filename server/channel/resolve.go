package channel

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/signalpath"
)

// Place is where a setting came from.
type Place string

const (
	PlaceSaid     Place = "said"     // the user, for this recording or source
	PlaceRecorded Place = "recorded" // the recording carries it
	PlaceSource   Place = "source"   // the source, or the file, describes it
	PlaceUsual    Place = "usual"    // nobody told: what is usual
)

// From tells where each setting came from.
type From struct {
	Label Place `json:"label"`
	Kind  Place `json:"kind"`
	Unit  Place `json:"unit"`
	Scale Place `json:"scale"`
	Path  Place `json:"path"`
	Board Place `json:"board"`
}

// Resolved are a channel's settings, and where each came from.
type Resolved struct {
	Settings
	From From `json:"from"`
}

// Places are where the settings of one channel are told; what they do not tell, or tell
// wrongly, the next one does.
type Places struct {
	Said      Said            // by the user, for this recording or source
	Recorded  Said            // what the recording carries
	Described acquire.Channel // by the source
	// RateHz is the rate of the points, for which the path must be possible.
	RateHz float64
}

// Resolve puts the settings of a channel together: what the user said, else what the
// recording carries, else what the source describes, else what is usual: a pulse, the
// source's own scale or counts, and the kind's path. A path made for another kind than
// the one that holds, as after somebody said that this recording is an ECG, gives way to
// the kind's own.
func Resolve(p Places) Resolved {
	c := p.Described
	r := Resolved{Settings: Settings{Label: c.Label, Kind: c.Kind, Scale: UsualScale(c)},
		From: From{PlaceSource, PlaceSource, PlaceSource, PlaceSource, PlaceUsual, PlaceUsual}}
	if CheckKind(r.Kind) != nil {
		r.Kind, r.From.Kind = acquire.KindPulse, PlaceUsual
	}
	if !c.Scaled() {
		r.From.Unit, r.From.Scale = PlaceUsual, PlaceUsual
	}
	var path *signalpath.Settings
	pathKind := "" // that the path was made for
	for _, told := range []struct {
		place Place
		said  Said
	}{{PlaceRecorded, p.Recorded}, {PlaceSaid, p.Said}} {
		r.take(told.said, told.place)
		if s := told.said.Path; s != nil {
			if _, err := signalpath.New(*s, p.RateHz); err == nil {
				path, pathKind, r.From.Path = s, r.Kind, told.place
			}
		}
	}
	if path == nil || pathKind != r.Kind {
		preset := signalpath.Preset(r.Kind, p.RateHz)
		path, r.From.Path = &preset, PlaceUsual
	}
	r.Path = *path
	if _, err := r.Scale.uncouple(p.RateHz); err != nil {
		r.Scale.CouplingHz = 0 // not possible at this rate
	}
	return r
}

// take takes over what is told and right, but for the path.
func (r *Resolved) take(s Said, place Place) {
	if s.Label != nil && (Said{Label: s.Label}).Check() == nil {
		r.Label, r.From.Label = *s.Label, place
	}
	if s.Kind != nil && CheckKind(*s.Kind) == nil {
		r.Kind, r.From.Kind = *s.Kind, place
	}
	if s.Unit != nil && (Said{Unit: s.Unit}).Check() == nil {
		r.Unit, r.From.Unit = *s.Unit, place
	}
	if s.Scale != nil {
		scale := *s.Scale
		if scale.Check() != nil { // of a mid-rail outside of the rails, which was once taken, the rest stays
			scale.MidRailVolts = nil
		}
		if scale.Check() == nil {
			r.Scale, r.From.Scale = scale, place
		}
	}
	if s.Board != nil && (Said{Board: s.Board}).Check() == nil {
		r.Board, r.From.Board = s.Board, place
	}
}

// Sidecar is what was said of a recording's channels afterwards, in their order. It is
// kept beside the recording, and inside of one that was downloaded.
type Sidecar struct {
	Channels []Said `json:"channels"`
	// Read is how the file is read, if it is a text file that does not say so itself.
	Read *recording.OpenOptions `json:"read,omitempty"`
}

// Of is what was said of channel n, counted from 0.
func (s Sidecar) Of(n int) Said {
	if n < 0 || n >= len(s.Channels) {
		return Said{}
	}
	return s.Channels[n]
}

// Set replaces what was said of channel n.
func (s *Sidecar) Set(n int, said Said) {
	for len(s.Channels) <= n {
		s.Channels = append(s.Channels, Said{})
	}
	s.Channels[n] = said
}

// SayKinds says the kinds of so many channels, one for all or one for each, which CheckKind has seen; none says
// nothing.
func (s *Sidecar) SayKinds(kinds []string, channels int) error {
	if len(kinds) == 0 {
		return nil
	}
	if len(kinds) > 1 && len(kinds) != channels {
		return fmt.Errorf("%d kinds for %d channels: give one for all, or one for each", len(kinds), channels)
	}
	for n := range channels {
		kind := kinds[min(n, len(kinds)-1)]
		one := s.Of(n)
		one.Kind = &kind
		s.Set(n, one)
	}
	return nil
}

// Empty reports whether nothing was said.
func (s Sidecar) Empty() bool {
	for _, c := range s.Channels {
		if !c.Empty() {
			return false
		}
	}
	return s.Read == nil
}

// Check tells what is wrong for a recording of so many channels.
func (s Sidecar) Check(channels int) error {
	if len(s.Channels) > channels {
		return errTooMany(len(s.Channels), channels)
	}
	for n, c := range s.Channels {
		if err := c.Check(); err != nil {
			return &ChannelError{Channel: n, Err: err}
		}
	}
	return nil
}

// Carried is what a recording carries of its channels: the JSON given to
// recording.Header as Settings.
type Carried struct {
	// Version tells how to read the rest: 0 is that of recordings made before there was
	// an Engine, which carry no unit of the source's numbers.
	Version  int    `json:"engine,omitempty"`
	Channels []Said `json:"channels"`
	// What the engines began with, see Start; 0 and nil in recordings made before.
	RateHz  float64   `json:"rateHz,omitempty"`
	ClockHz float64   `json:"clockHz,omitempty"`
	Ratio   int       `json:"ratio,omitempty"`
	HumHz   []float64 `json:"humHz,omitempty"`
	Doubt   string    `json:"doubt,omitempty"`
	// BridgeSeconds is the longest hole that was bridged; 0 in recordings made when that was 50 ms.
	BridgeSeconds float64 `json:"bridgeSeconds,omitempty"`
	// Said is what was said afterwards, before the recording was copied, Note the remark on it.
	Said *Sidecar `json:"said,omitempty"`
	Note string   `json:"note,omitempty"`
}

// CheckNote tells what is wrong with a remark on a recording.
func CheckNote(note string) error {
	if len(note) > 2000 {
		return fmt.Errorf("a note of %d bytes: write 2000 at most", len(note))
	}
	for line := range strings.Lines(note) {
		if err := acquire.CheckText("note", strings.TrimRight(line, "\r\n")); err != nil {
			return err
		}
	}
	return nil
}

// carriedVersion is the one written now.
const carriedVersion = 1

// NewCarried is what a recording carries that begins so.
func NewCarried(start Start) Carried {
	c := Carried{Version: carriedVersion, RateHz: start.RateHz, ClockHz: start.ClockHz, Ratio: start.Ratio, HumHz: start.HumHz, Doubt: start.Doubt, BridgeSeconds: cmp.Or(start.BridgeSeconds, BridgeSeconds)}
	for _, s := range start.Channels {
		c.Channels = append(c.Channels, s.All())
	}
	return c
}

// ParseCarried reads what a recording carries; of none, or what cannot be read, nothing.
func ParseCarried(data json.RawMessage) Carried {
	var c Carried
	if len(data) == 0 || json.Unmarshal(data, &c) != nil {
		return Carried{}
	}
	if CheckNote(c.Note) != nil {
		c.Note = ""
	}
	if c.Version == 0 {
		for i := range c.Channels {
			c.Channels[i].Unit = nil // there it was the unit shown
		}
	}
	return c
}

// AtEnd is as Of, after what happened within the recording: events as it carries them.
func (c Carried) AtEnd(n int, events []string) Said {
	for _, text := range events {
		if v, ok := ParseEvent(text, len(c.Channels)); ok && v.Channel == n && v.Settings != nil {
			c.Channels = slices.Clone(c.Channels)
			c.Channels[n] = v.Settings.All()
		}
	}
	return c.Of(n)
}

// Of is what is carried of channel n, with what was said before the copy over it.
func (c Carried) Of(n int) Said {
	var said Said
	if c.Said != nil {
		said = c.Said.Of(n)
	}
	if n < 0 || n >= len(c.Channels) {
		return said
	}
	return said.Over(c.Channels[n])
}
