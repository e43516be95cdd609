package session

import (
	"encoding/binary"
	"math"

	"pulsewright/server/channel"
)

// points of a channel that every frame carries, see server/API.md.
const points = channel.Points

// Frame flags.
const (
	flagHistory = 1 << iota
	flagGap
)

const (
	frameVersion     = 1
	frameHeaderBytes = 40
)

// frameHeader is the head of a binary frame; the layout stands in server/API.md.
type frameHeader struct {
	flags    uint8
	sequence uint32
	first    int64
	samples  int
	channels int
	rateHz   float64
	epoch    uint32
	ageMs    uint32
}

// append appends the 40 bytes of a frame's head.
func (h frameHeader) append(b []byte) []byte {
	b = append(b, 'P', 'W', frameVersion, h.flags)
	b = binary.LittleEndian.AppendUint32(b, h.sequence)
	b = binary.LittleEndian.AppendUint64(b, uint64(h.first))
	b = binary.LittleEndian.AppendUint32(b, uint32(h.samples))
	b = binary.LittleEndian.AppendUint16(b, uint16(h.channels))
	b = binary.LittleEndian.AppendUint16(b, points)
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(h.rateHz))
	b = binary.LittleEndian.AppendUint32(b, h.epoch)
	return binary.LittleEndian.AppendUint32(b, h.ageMs)
}

func appendFloats(b []byte, values []float32) []byte {
	for _, v := range values {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
	}
	return b
}
