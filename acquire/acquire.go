// Package acquire defines where samples come from: a Source delivers Blocks of
// raw counts on one or more Channels, at a rate the source claims.
//
// Counts stay counts all the way to the recording, so what is stored is
// bit-exact; a Channel says how counts become volts, or that nobody knows.
// Sample positions are int64 and count from the opening of the source. Times of
// arrival are wall-clock times and are used only to measure the true rate and
// to size gaps, never to place a sample.
//
// Source implementations live in the packages below this one, one per kind of
// input. This package imports none of them.
package acquire

import (
	"context"
	"errors"
	"math"
	"time"
)

// ErrUnplugged is wrapped by a Read error that means the device went away and
// may come back: the reader closes the source, waits, and opens it again.
var ErrUnplugged = errors.New("the input is gone")

// ErrChanged is wrapped by a Read error that means the input now delivers
// another set of channels or another rate: close, open and Describe anew.
var ErrChanged = errors.New("the input changed its format")

// Source is a stream of sample blocks.
//
// Read has four legal results:
//   - a block with at least one sample (Lost may be above zero), and nil;
//   - a block without samples (Text may be set), and nil: nothing arrived for
//     about a tenth of a second, which is not an end;
//   - an empty block and io.EOF: the source has ended for good;
//   - an empty block and another error: wraps ErrUnplugged, ErrChanged or
//     ctx.Err(), or is final. No Read may follow but after ctx.Err().
//
// The counts of a block belong to the caller until the next Read. Read is
// called from one goroutine. Close may be called from any goroutine, ends a Read
// under way, and may be called twice. Describe never changes between an opening
// and its Close, and may be called from any goroutine.
type Source interface {
	Describe() Info
	Read(ctx context.Context) (Block, error)
	Close() error
}

// Kind of a signal on a channel, as far as the source knows.
const (
	KindUnknown = ""
	KindPulse   = "pulse" // light through a finger, or any pressure-like pulse wave
	KindECG     = "ecg"   // electrodes
	KindOther   = "other" // anything without beats
)

// Info describes an open source.
type Info struct {
	// Address opens this source again, e.g. "serial:/dev/ttyACM0?baud=115200".
	Address string `json:"address"`
	// Device is a name under which what is set for the source is remembered, where
	// the address may mean one device today and another tomorrow. May be empty.
	Device string `json:"device,omitempty"`
	// Name is for a person: "/dev/ttyACM0, 115200 baud", "demo finger".
	Name string `json:"name"`
	// ClaimedRateHz is the rate the source says it has; 0 when it says nothing,
	// and then the rate is measured.
	ClaimedRateHz float64 `json:"claimedRateHz"`
	// ExactClock is true when sample counts are the clock itself (a file, a
	// simulation), so that ClaimedRateHz is true and arrival times mean nothing.
	ExactClock bool `json:"exactClock"`
	// Channels has at least one entry; Block.Counts has the same length.
	Channels []Channel `json:"channels"`
	// Columns are what the board prints in a line, clocks and what is left out too, in
	// order; empty for other sources. The option names of the address says otherwise.
	Columns []Column `json:"columns,omitempty"`
	// LengthSamples is the length of a finite source, 0 when it has none.
	LengthSamples int64 `json:"lengthSamples"`
	// Started is the wall-clock time of the first sample of a recording, else zero.
	Started time.Time `json:"started,omitzero"`
	// Invented is true of a demo and of every recording of one: nobody measured
	// these samples. It stays with the signal, and whatever shows it says so.
	Invented bool `json:"invented,omitempty"`
}

// InventedTag is the word that stands beside invented samples, in names of files too.
const InventedTag = "INVENTED"

// Uses of a Column.
const (
	UseSignal  = "signal"
	UseClock   = "clock"   // the board's time
	UseCounter = "counter" // counts lines
	UseNothing = "nothing" // left out
)

// Column is one field of the lines a board prints.
type Column struct {
	// Name is the user's, else the board's, else empty.
	Name string `json:"name"`
	// Unit as the user or the board says; empty when nobody does.
	Unit string `json:"unit"`
	// Use is one of the uses above; Clock is the name by which names means this clock
	// or counter: t_us, t_ms, t_s or seq.
	Use   string `json:"use"`
	Clock string `json:"clock,omitempty"`
	// Looks is the unit that the numbers look like though nobody says so: "V" or empty.
	Looks string `json:"looks,omitempty"`
}

// Channel describes one column of samples. Volts = OffsetVolts + count ×
// VoltsPerCount, at the converter's input.
type Channel struct {
	// Label is a short name, "pulse" or "ecg"; never empty.
	Label string `json:"label"`
	// Kind is KindPulse, KindECG, KindOther or KindUnknown.
	Kind string `json:"kind"`
	// Unit of the scaled value: "V" when the scale is known. A file may state
	// another ("mmHg", "NU"): then VoltsPerCount scales to that unit. Empty when
	// nobody knows: the value is shown in counts.
	Unit string `json:"unit"`
	// VoltsPerCount is 0 when unknown.
	VoltsPerCount float64 `json:"voltsPerCount"`
	// OffsetVolts is the value at count 0.
	OffsetVolts float64 `json:"offsetVolts"`
	// MinCount and MaxCount are the lowest and highest count the converter can
	// give; both 0 when unknown.
	MinCount int32 `json:"minCount"`
	MaxCount int32 `json:"maxCount"`
	// Digits is how many decimals the board printed: the text of a count is the
	// count shifted by so many decimal places. 0 for plain integers.
	Digits int `json:"digits"`
}

// Scaled reports whether the channel's scale is known.
func (c Channel) Scaled() bool { return c.VoltsPerCount != 0 }

// Value converts a count to the channel's unit, or returns the count itself,
// shifted by Digits, when the scale is unknown.
func (c Channel) Value(count int32) float64 {
	if c.VoltsPerCount != 0 {
		return c.OffsetVolts + float64(count)*c.VoltsPerCount
	}
	return float64(count) / math.Pow10(c.Digits)
}

// Values converts counts to the channel's unit into dst, which has the length
// of counts.
func (c Channel) Values(dst []float64, counts []int32) {
	scale, offset := c.VoltsPerCount, c.OffsetVolts
	if scale == 0 {
		scale, offset = 1/math.Pow10(c.Digits), 0
	}
	for i, n := range counts[:len(dst)] {
		dst[i] = offset + float64(n)*scale
	}
}

// MissingCount marks a sample whose value is not known though its place in time
// is (a dropout inside a file, a number the board could not print). The session
// treats it as a gap of one sample.
const MissingCount int32 = -1 << 31

// Block is a run of consecutive samples.
type Block struct {
	// First is the index of the first sample since the source was opened. Lost
	// samples count: First = previous First + previous length + Lost. Of a block without
	// samples it may tell how far a gap reaches by now.
	First int64
	// Lost is how many samples are known to be missing just before First.
	Lost int64
	// LostWhy is why, where the source knows it.
	LostWhy string
	// Arrived is when the last sample of the block reached this computer.
	Arrived time.Time
	// Jump is set when the samples do not follow from those before though none is
	// missing (a seek, the turn of a loop): filters start anew here.
	Jump bool
	// Counts is [channel][sample]; every channel has the same length.
	Counts [][]int32
	// Clipped says of each channel that the converter was at one of its ends
	// within this block though the counts do not show it (they are decimated).
	// Nil where the counts tell.
	Clipped []bool
	// BoardSeconds is the board's own clock for each sample, unwrapped, or nil
	// when the board sends none.
	BoardSeconds []float64
	// Text holds lines the board said that are not samples.
	Text []string
	// Notes are what a recording carries at samples of this block.
	Notes []Note
}

// Gap is a stretch of a recording, from From to just before To, that was never recorded, with the reason where it is known.
type Gap struct {
	From, To int64
	Reason   string
}

// Note is a remark at a sample, counted as Block.First.
type Note struct {
	Sample int64
	Text   string
}

// Len returns the number of samples in the block.
func (b Block) Len() int {
	if len(b.Counts) == 0 {
		return 0
	}
	return len(b.Counts[0])
}

// Health is what a source can say about how well it is being read.
type Health struct {
	// Lines is how many lines or frames were read as samples.
	Lines int64 `json:"lines"`
	// Unreadable is how many were neither samples, header, comment nor text.
	Unreadable int64 `json:"unreadable"`
	// LastUnreadable is the newest of those, made printable, at most 120 bytes.
	LastUnreadable string `json:"lastUnreadable"`
	// OutOfOrder is how many lines were left out since the board's own clock or counter in them
	// stood a little before that of the line before.
	OutOfOrder int64 `json:"outOfOrder"`
	// LostSamples is how many samples the board's counter or checksums prove lost.
	LostSamples int64 `json:"lostSamples"`
	// LostUnknown tells that nobody can know of lost samples: the lines have neither time nor counter.
	LostUnknown bool `json:"lostUnknown"`
	// Detail is one line for a person: "115200 baud, found by trying".
	Detail string `json:"detail"`
}

// HealthReporter is implemented by sources that can report their Health. Safe
// to call from any goroutine.
type HealthReporter interface {
	Health() Health
}

// Player is implemented by sources that can be steered in time. All methods are
// safe from any goroutine.
type Player interface {
	// Position is the index in the file of the next sample to be delivered.
	Position() int64
	// SeekTo moves to a sample of the file, clamped to it. Blocks go on counting
	// First as before; the next block's Jump and Text mark the jump.
	SeekTo(sample int64)
	// SetSpeed sets the speed, 0.1 to 100 times; 0 pauses.
	SetSpeed(times float64)
	Speed() float64
	// SetLoop makes the end go on at the start.
	SetLoop(on bool)
	Loop() bool
	// SetSkipGaps makes gaps of the recording pass at once. Gaps is how many there are that do.
	SetSkipGaps(on bool)
	SkipGaps() bool
	Gaps() int
}

// Keeper is implemented by sources that carry the settings their channels had
// before (a recording of ours): JSON, nil when there are none. It never changes
// and may be called from any goroutine.
type Keeper interface {
	KeptSettings() []byte
	// KeptEvents are what happened to the channels within the recording, in order, as
	// the recording carries them.
	KeptEvents() []string
}
