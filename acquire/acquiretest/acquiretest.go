// Package acquiretest checks that an acquire.Source keeps its contract.
package acquiretest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
)

// Checked wraps a Source and reports to t every breach of the contract that
// passes through it. It is itself a Source, so a test may use it in place of the one inside.
type Checked struct {
	acquire.Source
	t     testing.TB
	info  acquire.Info
	next  int64
	begun bool
	ended error
}

// Check wraps s. It checks Describe at once.
func Check(t testing.TB, s acquire.Source) *Checked {
	t.Helper()
	c := &Checked{Source: s, t: t, info: s.Describe()}
	if err := describes(c.info); err != nil {
		t.Errorf("Describe: %v", err)
	}
	return c
}

func describes(i acquire.Info) error {
	if _, err := acquire.ParseAddress(i.Address); err != nil {
		return fmt.Errorf("address does not parse: %w", err)
	}
	if i.Name == "" {
		return errors.New("no name")
	}
	if len(i.Channels) == 0 {
		return errors.New("no channel")
	}
	if !(i.ClaimedRateHz >= 0) || i.LengthSamples < 0 {
		return fmt.Errorf("claimed rate %g Hz, length %d", i.ClaimedRateHz, i.LengthSamples)
	}
	if i.ExactClock && i.ClaimedRateHz == 0 {
		return errors.New("an exact clock without a rate")
	}
	for n, c := range i.Channels {
		if c.Label == "" {
			return fmt.Errorf("channel %d: no label", n)
		}
		switch c.Kind {
		case acquire.KindUnknown, acquire.KindPulse, acquire.KindECG, acquire.KindOther:
		default:
			return fmt.Errorf("channel %d: kind %q", n, c.Kind)
		}
		if c.MinCount > c.MaxCount || c.Digits < 0 {
			return fmt.Errorf("channel %d: counts %d to %d, %d digits", n, c.MinCount, c.MaxCount, c.Digits)
		}
	}
	return nil
}

// Read implements acquire.Source and checks what passes.
func (c *Checked) Read(ctx context.Context) (acquire.Block, error) {
	c.t.Helper()
	if c.ended != nil {
		c.t.Errorf("test: Read after a final error: %v", c.ended)
	}
	b, err := c.Source.Read(ctx)
	if err := c.legal(b, err); err != nil {
		c.t.Error(err)
	}
	if err != nil && ctx.Err() == nil {
		c.ended = err
	}
	return b, err
}

func (c *Checked) legal(b acquire.Block, err error) error {
	if err != nil {
		if b.Len() != 0 || b.Lost != 0 || b.Text != nil {
			return fmt.Errorf("Read: a block of %d samples together with the error %w", b.Len(), err)
		}
		return nil
	}
	n := b.Len()
	if n == 0 {
		if b.Lost != 0 {
			return fmt.Errorf("Read: an empty block with %d samples lost: the loss belongs to the next sample", b.Lost)
		}
		return nil
	}
	if len(b.Counts) != len(c.info.Channels) {
		return fmt.Errorf("Read: %d channels, %d described", len(b.Counts), len(c.info.Channels))
	}
	for i, counts := range b.Counts {
		if len(counts) != n {
			return fmt.Errorf("Read: channel %d has %d samples, channel 0 has %d", i, len(counts), n)
		}
		low, high := c.info.Channels[i].MinCount, c.info.Channels[i].MaxCount
		if low == 0 && high == 0 {
			continue
		}
		for j, x := range counts {
			if x != acquire.MissingCount && (x < low || x > high) {
				return fmt.Errorf("Read: channel %d sample %d: count %d outside %d to %d", i, b.First+int64(j), x, low, high)
			}
		}
	}
	if b.BoardSeconds != nil && len(b.BoardSeconds) != n {
		return fmt.Errorf("Read: %d board times for %d samples", len(b.BoardSeconds), n)
	}
	if b.Lost < 0 {
		return fmt.Errorf("Read: %d samples lost", b.Lost)
	}
	if b.First != c.next+b.Lost {
		return fmt.Errorf("Read: first sample %d with %d lost, want %d", b.First, b.Lost, c.next+b.Lost)
	}
	if b.Arrived.IsZero() {
		return fmt.Errorf("Read: sample %d: no time of arrival", b.First)
	}
	c.next, c.begun = b.First+int64(n), true
	return nil
}

// Samples reads until n samples or the end and returns a copy of the counts,
// [channel][sample]. err is nil or what ended the source.
func (c *Checked) Samples(ctx context.Context, n int) (counts [][]int32, err error) {
	c.t.Helper()
	counts = make([][]int32, len(c.info.Channels))
	for len(counts[0]) < n {
		b, err := c.Read(ctx)
		if err != nil {
			return counts, err
		}
		if b.Len() == 0 {
			continue
		}
		for i := range b.Counts {
			counts[i] = append(counts[i], b.Counts[i]...)
		}
	}
	return counts, nil
}

// Source runs the whole contract on sources made by open: legal results and
// index arithmetic over some samples, a Read ended by its context and followed
// by another, Close during a Read, Close twice, Describe from elsewhere. Each source
// must deliver a sample within ten seconds; it need not be endless.
func Source(t *testing.T, open func(t *testing.T) acquire.Source) {
	const patience = 10 * time.Second
	t.Run("reads", func(t *testing.T) {
		s := Check(t, open(t))
		defer s.Close()
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		for range 10 {
			if _, err := s.Samples(ctx, 1); err != nil {
				if !errors.Is(err, io.EOF) || !s.begun {
					t.Fatalf("Read: %v", err)
				}
				return
			}
		}
	})
	t.Run("context", func(t *testing.T) {
		s := Check(t, open(t))
		defer s.Close()
		ended, cancel := context.WithCancel(context.Background())
		cancel()
		if b, err := s.Read(ended); !errors.Is(err, context.Canceled) || b.Len() != 0 {
			t.Fatalf("Read with an ended context: %d samples, error %v", b.Len(), err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if _, err := s.Samples(ctx, 1); err != nil {
			t.Fatalf("Read after a Read with an ended context: %v", err)
		}
	})
	t.Run("close", func(t *testing.T) {
		s := open(t)
		info := s.Describe()
		ended := make(chan error, 1)
		go func() {
			for {
				if _, err := s.Read(context.Background()); err != nil {
					ended <- err
					return
				}
			}
		}()
		time.Sleep(30 * time.Millisecond)
		var group sync.WaitGroup
		for range 2 {
			group.Go(func() {
				if s.Describe().Address != info.Address {
					t.Error("Describe changed")
				}
				if err := s.Close(); err != nil {
					t.Errorf("Close: %v", err)
				}
			})
		}
		group.Wait()
		select {
		case <-ended:
		case <-time.After(patience):
			t.Fatal("Close did not end Read")
		}
		if err := s.Close(); err != nil {
			t.Errorf("third Close: %v", err)
		}
	})
}
