package session

import (
	"context"
	"fmt"

	parts "pulsewright/dsp/board"
)

// SetBoard says which board lies before the converter of channel n; nil for none. Its span
// is what the meters judge by where no rails were told.
func (s *Session) SetBoard(ctx context.Context, n int, b *parts.Board) error {
	if b != nil {
		if err := b.Check(); err != nil {
			return err
		}
	}
	return s.onChannel(ctx, n, func(c *channel) error {
		s.flush(s.now())
		old := c.board
		c.board = b
		if err := c.rescale(); err != nil {
			c.board = old
			return err
		}
		return nil
	})
}

// rails takes what nobody told of rails and mid-rail from the board, in the scale's volts.
func (c *channel) rails() (low, high, middle *float64) {
	s := c.scale
	low, high, middle = s.SupplyLowVolts, s.SupplyHighVolts, s.MidRailVolts
	if c.board == nil || c.unit != "V" {
		return low, high, middle
	}
	span := c.board.Span()
	if low == nil && high == nil {
		low, high = &span.LowVolts, &span.HighVolts
	}
	if middle == nil {
		middle = &span.RestVolts
	}
	return low, high, middle
}

// Stretch is a piece of a channel at its first point, gap-free.
type Stretch struct {
	First  int64 // session index of Values[0]
	RateHz float64
	Unit   string
	Values []float64
	Gain   float64 // the scale's: values times it are volts at the converter
	Invert bool
	Middle float64 // about which they were turned over, at the converter
}

// RecentVolts is up to seconds of the newest gap-free values of a channel's first point.
func (s *Session) RecentVolts(channel int, seconds float64) (Stretch, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := channelExists(channel, len(s.beats)); err != nil {
		return Stretch{}, err
	}
	state := s.state.Channels[channel]
	r := Stretch{RateHz: s.state.RateHz, Unit: state.Unit, Gain: state.Scale.Gain, Invert: state.Scale.Invert}
	if state.Scale.MidRailVolts != nil {
		r.Middle = *state.Scale.MidRailVolts
	}
	if s.history == nil {
		return r, fmt.Errorf("there are no samples yet; wait")
	}
	n := int(min(seconds*r.RateHz, HistorySeconds*r.RateHz))
	r.Values = s.history.copySeries(make([]float64, n), channel*points)
	_, to := s.history.span()
	r.First = to - int64(len(r.Values))
	return r, nil
}

// AtOutput turns the values into volts at the board's output: gain and turning over, which
// are said to the program, taken back.
func (r *Stretch) AtOutput() {
	for i, v := range r.Values {
		v *= r.Gain
		if r.Invert {
			v = 2*r.Middle - v
		}
		r.Values[i] = v
	}
}
