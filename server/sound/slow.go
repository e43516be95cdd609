// Package sound fits sound inputs to a session: they run at 44.1 kHz and more,
// a heartbeat needs 1 kHz.
package sound

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"pulsewright/acquire"
	"pulsewright/dsp/filter"
)

// recentSeconds is how much of the full rate stays at hand for measuring levels.
const recentSeconds = 2

// fine is how many more steps the decimated counts of a 16-bit input have: the
// mean of some forty samples is known finer than one.
const fine = 256

// Source is a sound input whose samples are decimated to about 1 kHz, in steps
// of 24 bits, or handed on as they are. It keeps the newest two seconds of the
// full rate at hand. The contract is acquire.Source's; Recent and Health may be
// called from any goroutine.
type Source struct {
	source acquire.Source
	info   acquire.Info
	ratio  int
	gain   float64 // counts given per count read

	// Owned by Read's goroutine.
	decimators []*filter.Decimator
	due        int64 // index in the source of the next sample wanted, −1 before the first
	skip       int   // outputs that show the time before the start
	at         int64 // index of the next output
	given      int64 // index after the last output given
	jump       bool
	values     []float64
	counts     [][]int32
	clipped    []bool
	text       []string

	// Guarded by mu.
	mu   sync.Mutex
	ring [][]int32
	next int64 // samples put into the ring since it began
	raw  acquire.Info
}

// New wraps a source. With full set its samples pass as they are; otherwise they
// are decimated to about 1 kHz: channel counts then have 24 bits.
func New(source acquire.Source, full bool) (*Source, error) {
	info := source.Describe()
	s := &Source{source: source, info: info, raw: info, ratio: 1, gain: 1, due: -1}
	n := int(recentSeconds * info.ClaimedRateHz)
	s.ring = make([][]int32, len(info.Channels))
	for i := range s.ring {
		s.ring[i] = make([]int32, n)
	}
	if full {
		return s, nil
	}
	s.ratio = filter.RatioFor(info.ClaimedRateHz)
	if s.ratio == 1 {
		return s, nil
	}
	s.info.ClaimedRateHz = info.ClaimedRateHz / float64(s.ratio)
	s.info.Channels = slices.Clone(info.Channels)
	s.counts = make([][]int32, len(info.Channels))
	s.clipped = make([]bool, len(info.Channels))
	for i := range s.info.Channels {
		c := &s.info.Channels[i]
		if c.MaxCount <= math.MaxInt16 {
			s.gain = fine
		}
		c.MinCount, c.MaxCount, c.VoltsPerCount = c.MinCount*int32(s.gain), c.MaxCount*int32(s.gain), c.VoltsPerCount/s.gain
		d, err := filter.NewDecimator(info.ClaimedRateHz, s.ratio)
		if err != nil {
			return nil, err
		}
		s.decimators = append(s.decimators, d)
	}
	return s, nil
}

// Describe implements acquire.Source.
func (s *Source) Describe() acquire.Info { return s.info }

// Close implements acquire.Source.
func (s *Source) Close() error { return s.source.Close() }

// Health implements acquire.HealthReporter.
func (s *Source) Health() acquire.Health {
	h := acquire.Health{}
	if r, ok := s.source.(acquire.HealthReporter); ok {
		h = r.Health()
	}
	return h
}

// Read implements acquire.Source.
func (s *Source) Read(ctx context.Context) (acquire.Block, error) {
	for {
		b, err := s.source.Read(ctx)
		if err != nil {
			return b, err
		}
		s.remember(b)
		if s.ratio == 1 {
			return b, nil
		}
		if b.Len() == 0 {
			return b, nil
		}
		out := s.decimate(b)
		if out.Len() > 0 {
			return out, nil
		}
		s.text = out.Text // goes with the next samples
	}
}

// remember puts a block into the ring.
func (s *Source) remember(b acquire.Block) {
	if b.Len() == 0 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if b.Lost > 0 || b.Jump {
		s.next = 0
	}
	for c, counts := range b.Counts {
		ring := s.ring[c]
		at := int(s.next % int64(len(ring)))
		if len(counts) > len(ring) {
			counts = counts[len(counts)-len(ring):]
		}
		n := copy(ring[at:], counts)
		copy(ring, counts[n:])
	}
	s.next += int64(min(b.Len(), len(s.ring[0])))
}

// ErrShort says that not enough gap-free sound has come yet.
var ErrShort = errors.New("not enough sound yet: wait a second and try again")

// Recent copies the newest seconds of a channel at the full rate, as shares of
// full scale (−1 to 1), and gives that rate.
func (s *Source) Recent(channel int, seconds float64) (values []float64, rateHz float64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if channel < 0 || channel >= len(s.ring) {
		return nil, 0, fmt.Errorf("channel %d: there are %d, counted from 0", channel, len(s.ring))
	}
	n := int64(seconds * s.raw.ClaimedRateHz)
	ring := s.ring[channel]
	if n > int64(len(ring)) || n > s.next {
		return nil, 0, ErrShort
	}
	full := float64(s.raw.Channels[channel].MaxCount) + 1
	values = make([]float64, n)
	for i := range values {
		count := ring[(s.next-n+int64(i))%int64(len(ring))]
		if count == acquire.MissingCount {
			return nil, 0, ErrShort
		}
		values[i] = float64(count) / full
	}
	return values, s.raw.ClaimedRateHz, nil
}

// restart begins the decimators anew at source sample first, at the next multiple
// of the ratio, so that outputs keep their places through gaps.
func (s *Source) restart(first int64) {
	ratio := int64(s.ratio)
	s.due = (first + ratio - 1) / ratio * ratio
	s.at = s.due / ratio
	for _, d := range s.decimators {
		d.Reset()
		s.skip = d.DelaySamples()
	}
}

// decimate makes a block of the outputs that are due; without any, only Text is
// set. A block with a sample without value (one in a hundredth of a second of
// sound) is left out whole.
func (s *Source) decimate(b acquire.Block) acquire.Block {
	n := b.Len()
	if s.due < 0 || b.Lost > 0 || b.Jump {
		s.jump = s.jump || b.Jump
		s.restart(b.First)
	}
	text := append(s.text, b.Text...)
	if slices.ContainsFunc(b.Counts, func(c []int32) bool { return slices.Contains(c, acquire.MissingCount) }) {
		s.restart(b.First + int64(n))
		return acquire.Block{Text: text}
	}
	from := int(min(max(0, s.due-b.First), int64(n)))
	m, skipped := 0, 0
	for c, counts := range b.Counts {
		channel := s.raw.Channels[c]
		if cap(s.values) < n {
			s.values = make([]float64, n)
		}
		v := s.values[:n-from]
		for i, count := range counts[from:] {
			v[i] = float64(count) * s.gain
			if count >= channel.MaxCount || count <= channel.MinCount {
				s.clipped[c] = true
			}
		}
		m = s.decimators[c].Process(v, v)
		skipped = min(s.skip, m)
		low, high := float64(s.info.Channels[c].MinCount), float64(s.info.Channels[c].MaxCount)
		out := s.counts[c][:0]
		for _, x := range v[skipped:m] {
			out = append(out, int32(math.Round(min(max(x, low), high))))
		}
		s.counts[c] = out
	}
	s.skip -= skipped
	if m -= skipped; m == 0 {
		return acquire.Block{Text: text}
	}
	s.text = nil
	out := acquire.Block{First: s.at, Lost: s.at - s.given, Arrived: b.Arrived, Jump: s.jump, Counts: s.counts, Clipped: slices.Clone(s.clipped), Text: text}
	s.at += int64(m)
	s.given, s.jump = s.at, false
	clear(s.clipped)
	return out
}
