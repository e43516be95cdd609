package session

import (
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
	"pulsewright/dsp/beat"
	parts "pulsewright/dsp/board"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
)

// Status of the session's source.
const (
	StatusIdle    = "idle"    // no source chosen
	StatusOpening = "opening" // being opened, or its rate is still being measured
	StatusRunning = "running"
	StatusPaused  = "paused"  // a recording that stands still
	StatusWaiting = "waiting" // unplugged; being reopened
	StatusEnded   = "ended"   // a recording's end
	StatusFailed  = "failed"
)

// ChannelState is what a page needs to know of a channel.
type ChannelState struct {
	Label string              `json:"label"`
	Kind  string              `json:"kind"`
	Unit  string              `json:"unit"` // of the points: "V", another, or "counts"
	Path  signalpath.Settings `json:"path"`
	Scale channel.Scale       `json:"scale"`
	// Board is what lies before the converter (dsp/board/FORMAT.md); null when nobody
	// drew it.
	Board *parts.Board `json:"board"`
	// From tells where each setting came from.
	From channel.From `json:"from"`
	// Coupling tells what undoing the coupling capacitor does and costs; null where
	// it is left.
	Coupling *channel.Coupling `json:"coupling"`
	// HumHz is where the hum stage works now.
	HumHz float64 `json:"humHz"`
	// LatencySeconds is how late a beat may be reported.
	LatencySeconds float64 `json:"latencySeconds"`
	// StepVolts is one count in the unit of the points, 0 when unknown.
	StepVolts float64 `json:"stepVolts"`
	// Printed says that it is only the last decimal that the source prints, and no step of a converter.
	Printed bool `json:"printed"`
	// LowVolts and HighVolts are the converter's ends in the unit of the points;
	// both 0 when unknown.
	LowVolts  float64 `json:"lowVolts"`
	HighVolts float64 `json:"highVolts"`
}

// Gap is a stretch of missing samples.
type Gap struct {
	Index   int64  `json:"index"`
	Samples int64  `json:"samples"`
	Reason  string `json:"reason"`
}

// Note is a remark at a place.
type Note struct {
	Index int64  `json:"index"`
	Text  string `json:"text"`
}

// Playback tells where a recording stands.
type Playback struct {
	Position int64   `json:"position"` // in samples of the recording
	Length   int64   `json:"length"`
	Speed    float64 `json:"speed"`
	Loop     bool    `json:"loop"`
	// SkipGaps says that gaps pass at once; Gaps is how many there are.
	SkipGaps bool `json:"skipGaps"`
	Gaps     int  `json:"gaps"`
}

// State is the whole of what a page needs on connecting.
type State struct {
	Version      string         `json:"version"`
	Epoch        uint32         `json:"epoch"`
	T0           time.Time      `json:"t0"`
	Status       string         `json:"status"`
	StatusText   string         `json:"statusText"`
	Source       acquire.Info   `json:"source"`
	RateHz       float64        `json:"rateHz"`       // of the points
	SourceRateHz float64        `json:"sourceRateHz"` // of the source
	Decimation   int            `json:"decimation"`
	LastIndex    int64          `json:"lastIndex"` // one past the newest sample
	Clock        ClockState     `json:"clock"`
	Channels     []ChannelState `json:"channels"`
	Playback     *Playback      `json:"playback"`
	TrimmerHz    *float64       `json:"trimmerHz"` // of a simulated board, 0 = none; null for other sources
	Recording    any            `json:"recording"`
	Watchers     int            `json:"watchers"`
	Gaps         []Gap          `json:"gaps"`
	Notes        []Note         `json:"notes"`
	Health       acquire.Health `json:"health"`
	Text         []string       `json:"text"` // the newest lines the board said
	Problem      string         `json:"problem"`
}

// ChannelBeats is a beats message, and one channel's part of GET /beats.
type ChannelBeats struct {
	Type    string      `json:"type,omitempty"`
	Epoch   uint32      `json:"epoch"`
	Channel int         `json:"channel"`
	Beats   []beat.Beat `json:"beats"` // Sample and Foot are session indices
}

// ChannelReading is a reading message.
type ChannelReading struct {
	Type    string `json:"type"`
	Epoch   uint32 `json:"epoch"`
	Channel int    `json:"channel"`
	Index   int64  `json:"index"`
	beat.Reading
}

// ClockState compares the rate a source claims with the one measured.
type ClockState struct {
	Type           string  `json:"type,omitempty"`
	Epoch          uint32  `json:"epoch"`
	ClaimedRateHz  float64 `json:"claimedRateHz"`
	MeasuredRateHz float64 `json:"measuredRateHz"`
	UncertaintyHz  float64 `json:"uncertaintyHz"`
	UsedRateHz     float64 `json:"usedRateHz"`
	Exact          bool    `json:"exact"` // a file or a simulation: the samples are the clock
	Warning        string  `json:"warning"`
	// Steadiness is how evenly the samples come now, and why no bpm is shown if not.
	clock.Steadiness
}
