package simulate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"pulsewright/acquire"
)

// blockSeconds is how often a Source delivers.
const blockSeconds = 1.0 / 60

// Source is a Generator paced in real time.
type Source struct {
	*Generator
	info  acquire.Info
	speed float64

	closeOnce sync.Once
	closed    chan struct{}

	// Owned by the goroutine of Read.
	start  time.Time
	sent   int64 // samples since start
	first  int64
	buffer [][]int32
	view   [][]int32
}

var errClosed = errors.New("simulate: the demo is closed")

// NewSource paces a Generator made from c at speed times real time, 0.01 to 100.
// The sampling clock is exact: the rate claimed is the rate of the samples,
// whatever the speed.
func NewSource(c Config, info acquire.Info, speed float64) (*Source, error) {
	if !(speed >= 0.01 && speed <= 100) {
		return nil, fmt.Errorf("simulate: speed %g: give 0.01 to 100 times", speed)
	}
	if c.KeepTruthSeconds == 0 {
		c.KeepTruthSeconds = 600
	}
	g, err := New(c)
	if err != nil {
		return nil, err
	}
	info.ClaimedRateHz, info.ExactClock, info.Invented, info.Channels = c.RateHz, true, true, g.Channels()
	s := &Source{Generator: g, info: info, speed: speed, closed: make(chan struct{})}
	// At most a second at a time.
	n := int(math.Ceil(c.RateHz))
	for range c.Channels {
		s.buffer = append(s.buffer, make([]int32, n))
	}
	s.view = make([][]int32, len(s.buffer))
	return s, nil
}

// Describe implements acquire.Source.
func (s *Source) Describe() acquire.Info { return s.info }

// Read implements acquire.Source: it waits for a sixtieth of a second or one
// sample, whichever is longer, and never leaves a gap. A reader who comes late
// by more than a second finds the demo waiting, not rushing.
func (s *Source) Read(ctx context.Context) (acquire.Block, error) {
	rate := s.info.ClaimedRateHz * s.speed
	now := time.Now()
	if s.start.IsZero() {
		s.start = now
	}
	at := func(n int64) time.Time { return s.start.Add(time.Duration(float64(n) / rate * 1e9)) }
	want := max(1, int64(rate*blockSeconds))
	due := at(s.sent + want)
	if wait := due.Sub(now); wait > 0 {
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-ctx.Done():
			return acquire.Block{}, ctx.Err()
		case <-s.closed:
			return acquire.Block{}, errClosed
		}
	} else if wait < -time.Second {
		s.start, s.sent = now.Add(-time.Duration(float64(want)/rate*1e9)), 0
	}
	select {
	case <-ctx.Done():
		return acquire.Block{}, ctx.Err()
	case <-s.closed:
		return acquire.Block{}, errClosed
	default:
	}
	n := int64(time.Since(s.start).Seconds()*rate) - s.sent
	n = max(want, min(n, 4*want, int64(len(s.buffer[0]))))
	n = min(n, int64(len(s.buffer[0])))
	for i := range s.view {
		s.view[i] = s.buffer[i][:n]
	}
	s.Next(s.view)
	b := acquire.Block{First: s.first, Arrived: time.Now(), Counts: s.view}
	s.first += n
	s.sent += n
	return b, nil
}

// Close implements acquire.Source.
func (s *Source) Close() error {
	s.closeOnce.Do(func() { close(s.closed) })
	return nil
}
