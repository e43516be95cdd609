package server

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"pulsewright/server/channel"
)

// chosen is what of the stream somebody wants; nil is all.
type chosen struct {
	channels, points []int
	noFrames         bool
}

// choose reads channels=0,2 and points=scale,smooth (or none) of a query.
func choose(q url.Values) (c chosen, err error) {
	if text := q.Get("channels"); text != "" {
		for part := range strings.SplitSeq(text, ",") {
			n, err := strconv.Atoi(strings.TrimSpace(part))
			if err != nil || n < 0 || n >= maxChosen || slices.Contains(c.channels, n) {
				return c, fmt.Errorf("channels=%s: give numbers from 0, each once, as 0,2", text)
			}
			c.channels = append(c.channels, n)
		}
	}
	switch text := q.Get("points"); text {
	case "":
	case "none":
		c.noFrames = true
	default:
		var ok bool
		if c.points, ok = channel.PointsOf(text); !ok {
			return c, fmt.Errorf("points=%s: give each once, of %s; or none for no samples", text, strings.Join(channel.PointNames[:], ", "))
		}
	}
	return c, nil
}

const maxChosen = 64

// frame is what of a binary frame is wanted, in the order asked for; nil for nothing. A channel
// that there is not is left out.
func (c chosen) frame(data []byte) []byte {
	if c.noFrames {
		return nil
	}
	if c.channels == nil && c.points == nil {
		return data
	}
	const head = 40 // see server/API.md
	samples, channels := int(binary.LittleEndian.Uint32(data[16:])), int(binary.LittleEndian.Uint16(data[20:]))
	wanted, points := []int{}, c.points
	for n := range channels {
		if c.channels == nil {
			wanted = append(wanted, n)
		}
	}
	for _, n := range c.channels {
		if n < channels {
			wanted = append(wanted, n)
		}
	}
	if points == nil {
		points = []int{0, 1, 2, 3, 4}
	}
	out := make([]byte, head, head+4*samples*len(wanted)*len(points))
	copy(out, data[:head])
	binary.LittleEndian.PutUint16(out[20:], uint16(len(wanted)))
	binary.LittleEndian.PutUint16(out[22:], uint16(len(points)))
	for _, n := range wanted {
		for _, p := range points {
			from := head + 4*samples*(n*channel.Points+p)
			out = append(out, data[from:from+4*samples]...)
		}
	}
	return out
}

// text reports whether a JSON message is wanted: one of a channel that was not chosen is not.
func (c chosen) text(data []byte) bool {
	if c.channels == nil {
		return true
	}
	var m struct {
		Channel *int `json:"channel"`
	}
	return json.Unmarshal(data, &m) != nil || m.Channel == nil || slices.Contains(c.channels, *m.Channel)
}
