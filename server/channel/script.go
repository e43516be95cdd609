package channel

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"pulsewright/acquire"
)

// Start is what the engines of a source's channels begin with.
type Start struct {
	// RateHz of the source is what they are designed for, ClockHz that of its clock as
	// known then.
	RateHz, ClockHz float64
	// Ratio is samples of the source a point.
	Ratio    int
	Channels []Settings
	// HumHz is the mains frequency found before by each channel, 0 when none was.
	HumHz []float64
	// Doubt is why the source's clock is not to be trusted then, "" when it is.
	Doubt string
	// BridgeSeconds is the longest hole that is bridged; 0 stands for [BridgeSeconds].
	BridgeSeconds float64
}

// Event is what happened to the engines between two samples of the source, but for the
// samples themselves. A recording carries each as an annotation at the next sample, so
// that what is computed from it does the same at the same place.
type Event struct {
	// Channel that Settings, HumHz and Clipped are of, counted from 0.
	Channel int `json:"channel,omitempty"`
	// Settings that hold from here on.
	Settings *Settings `json:"settings,omitempty"`
	// HumHz is the mains frequency that the channel has found: for whoever begins after
	// this place. The engine finds it itself.
	HumHz float64 `json:"humHz,omitempty"`
	// Clipped tells that the channel's converter was at an end and counts do not show it.
	Clipped bool `json:"clipped,omitempty"`
	// RateHz of the source is what everything is designed anew for.
	RateHz float64 `json:"rateHz,omitempty"`
	// ClockHz is the rate of the source's clock as known from here on.
	ClockHz float64 `json:"clockHz,omitempty"`
	// Doubt is why the source's clock is not to be trusted from here on, so that no rate
	// is shown; "" when it is again.
	Doubt *string `json:"doubt,omitempty"`
	// Restart forgets the signal, as where a replay jumps.
	Restart bool `json:"restart,omitempty"`
}

// eventNote begins the annotation of an Event; see recording.IsEngine.
const eventNote = "engine "

// Text is the annotation that carries the event.
func (v Event) Text() string {
	data, err := json.Marshal(v)
	if err != nil {
		panic(fmt.Sprintf("channel: an event that JSON cannot hold: %v", err)) // a number that is none: a bug
	}
	return eventNote + string(data)
}

// ParseEvent reads the annotation of an event; false for another text, and for an event
// of a channel that is not among so many or with a rate that is none.
func ParseEvent(text string, channels int) (Event, bool) {
	var v Event
	rest, ok := strings.CutPrefix(text, eventNote)
	if !ok || json.Unmarshal([]byte(rest), &v) != nil || v.Channel < 0 || v.Channel >= channels {
		return Event{}, false
	}
	for _, hz := range []float64{v.RateHz, v.ClockHz} {
		if math.IsNaN(hz) || hz < 0 || hz > 1e7 {
			return Event{}, false
		}
	}
	if v.Settings != nil && v.Settings.All().Check() != nil {
		return Event{}, false
	}
	return v, true
}

// After is the start of an engine that begins just after an event.
func (s Start) After(v Event) Start {
	if v.RateHz > 0 {
		s.RateHz, s.ClockHz = v.RateHz, v.RateHz
	}
	if v.ClockHz > 0 {
		s.ClockHz = v.ClockHz
	}
	if v.Doubt != nil {
		s.Doubt = *v.Doubt
	}
	if v.Channel >= len(s.Channels) {
		return s
	}
	if v.Settings != nil {
		s.Channels = slices.Clone(s.Channels)
		s.Channels[v.Channel] = *v.Settings
	}
	if v.HumHz > 0 && v.Channel < len(s.HumHz) {
		s.HumHz = slices.Clone(s.HumHz)
		s.HumHz[v.Channel] = v.HumHz
	}
	return s
}

// Config is an engine's at this start.
func (s Start) Config(n int, described acquire.Channel, first int64, parts Parts) Config {
	c := Config{Described: described, Settings: s.Channels[n], RateHz: s.RateHz, ClockHz: s.ClockHz, Ratio: s.Ratio, First: first, Parts: parts, Doubt: s.Doubt, BridgeSeconds: s.BridgeSeconds}
	if n < len(s.HumHz) {
		c.HumHz = s.HumHz[n]
	}
	return c
}

// Apply does what an event says to the engine of channel n. An error tells what was not
// possible; the engine goes on as before then, live as from a recording.
func (e *Engine) Apply(n int, v Event) error {
	var err error
	switch {
	case v.RateHz > 0:
		err = e.Redesign(v.RateHz)
	case v.ClockHz > 0:
		e.Clock(v.ClockHz)
	case v.Doubt != nil:
		e.doubt = *v.Doubt
	case v.Restart:
		e.Restart()
	case v.Channel != n:
	case v.Settings != nil:
		err = e.Set(*v.Settings)
	case v.Clipped:
		e.Clip()
	}
	return err
}

// Placed is an Event before a sample of the source.
type Placed struct {
	Sample int64
	Event
}
