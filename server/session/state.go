package session

import (
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/clock"
	"pulsewright/dsp/beat"
	parts "pulsewright/dsp/board"
	"pulsewright/dsp/signalpath"
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

// ScaleSettings say how a channel's counts become volts.
type ScaleSettings struct {
	// Source is "board" (as the source says), "converter" (from ReferenceVolts
	// and Bits), "fullscale" (FullScaleVolts at the highest count) or "unknown"
	// (show counts).
	Source         string  `json:"source"`
	ReferenceVolts float64 `json:"referenceVolts"`
	Bits           int     `json:"bits"`
	// FullScaleVolts is what one more than the highest count stands for, as
	// measured at a sound input.
	FullScaleVolts float64 `json:"fullScaleVolts"`
	// CouplingHz is the corner of the input's coupling capacitor, which is undone;
	// 0 leaves the signal as it comes. CouplingFloorHz is the corner that is left
	// then; 0 stands for 0.05 Hz.
	CouplingHz      float64 `json:"couplingHz"`
	CouplingFloorHz float64 `json:"couplingFloorHz"`
	// Signed converters give counts from −2^(Bits−1).
	Signed bool `json:"signed"`
	// Supply rails and mid-rail of the board in volts; nil when not told.
	SupplyLowVolts  *float64 `json:"supplyLowVolts"`
	SupplyHighVolts *float64 `json:"supplyHighVolts"`
	MidRailVolts    *float64 `json:"midRailVolts"`
	// Gain divides all values, so that they are volts before an amplifier of
	// that gain; 1 shows volts at the converter.
	Gain float64 `json:"gain"`
	// Invert turns the signal about the mid-rail (about 0 when it is unknown).
	Invert bool `json:"invert"`
}

// ChannelState is what a page needs to know of a channel.
type ChannelState struct {
	Label string              `json:"label"`
	Kind  string              `json:"kind"`
	Unit  string              `json:"unit"` // of the points: "V", another, or "counts"
	Path  signalpath.Settings `json:"path"`
	Scale ScaleSettings       `json:"scale"`
	// Board is what lies before the converter (dsp/board/FORMAT.md); null when nobody
	// drew it.
	Board *parts.Board `json:"board"`
	// Coupling tells what undoing the coupling capacitor does and costs; null where
	// it is left.
	Coupling *CouplingState `json:"coupling"`
	// HumHz is where the hum stage works now.
	HumHz float64 `json:"humHz"`
	// LatencySeconds is how late a beat may be reported.
	LatencySeconds float64 `json:"latencySeconds"`
	// StepVolts is one count in the unit of the points, 0 when unknown.
	StepVolts float64 `json:"stepVolts"`
	// LowVolts and HighVolts are the converter's ends in the unit of the points;
	// both 0 when unknown.
	LowVolts  float64 `json:"lowVolts"`
	HighVolts float64 `json:"highVolts"`
}

// CouplingState describes a coupling capacitor that is undone.
type CouplingState struct {
	CornerHz float64 `json:"cornerHz"`
	FloorHz  float64 `json:"floorHz"`
	// GainDB is the gain at 0 Hz.
	GainDB float64 `json:"gainDb"`
	// NoiseTimes is by how much white noise from NoiseLowHz to NoiseHighHz, where
	// heartbeats are, becomes larger.
	NoiseTimes  float64 `json:"noiseTimes"`
	NoiseLowHz  float64 `json:"noiseLowHz"`
	NoiseHighHz float64 `json:"noiseHighHz"`
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
