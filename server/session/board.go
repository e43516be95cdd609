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
		old := c.board
		c.board = b
		if err := c.meter.SetRails(c.rails()); err != nil {
			c.board = old
			return err
		}
		return nil
	})
}

// rails are what the signal may use and where it rests, in the unit of the points: as
// told, else as the board allows; NaN when neither says it.
func (c *channel) rails() (low, high, middle float64) {
	s := c.scale
	lowest, highest, rest := s.SupplyLowVolts, s.SupplyHighVolts, s.MidRailVolts
	if c.board != nil && c.unit == "V" {
		span := c.board.Span()
		if lowest == nil && highest == nil && span.LowVolts < span.HighVolts {
			lowest, highest = &span.LowVolts, &span.HighVolts
		}
		if rest == nil {
			rest = &span.RestVolts
		}
	}
	return orNaN(lowest, s.Gain), orNaN(highest, s.Gain), orNaN(rest, s.Gain)
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
