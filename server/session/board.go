package session

import (
	"context"
	"fmt"

	parts "pulsewright/dsp/board"
	"pulsewright/server/channel"
)

// SetBoard says which board lies before the converter of channel n; nil for none. Its span
// is what the meters judge by where no rails were told.
func (s *Session) SetBoard(ctx context.Context, n int, b *parts.Board) error {
	if b != nil {
		if err := b.Check(); err != nil {
			return err
		}
	}
	_, err := s.change(ctx, n, func(c *channel.Settings, _ float64) { c.Board = b })
	return err
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
func (s *Session) RecentVolts(n int, seconds float64) (Stretch, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := channelExists(n, len(s.beats)); err != nil {
		return Stretch{}, err
	}
	state := s.state.Channels[n]
	r := Stretch{RateHz: s.state.RateHz, Unit: state.Unit, Gain: state.Scale.Gain, Invert: state.Scale.Invert}
	if state.Scale.MidRailVolts != nil {
		r.Middle = *state.Scale.MidRailVolts
	}
	if s.history == nil {
		return r, fmt.Errorf("there are no samples yet; wait")
	}
	count := int(min(seconds*r.RateHz, HistorySeconds*r.RateHz))
	r.Values = s.history.copySeries(make([]float64, count), n*points)
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
