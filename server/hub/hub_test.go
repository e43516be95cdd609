package hub

import (
	"context"
	"encoding/binary"
	"errors"
	"sync"
	"testing"
)

func frame(n uint32) Message {
	return Message{Kind: Frame, Data: binary.LittleEndian.AppendUint32(nil, n)}
}

func TestSlowPageLosesOldestFramesAndKeepsTexts(t *testing.T) {
	h := New(3)
	c := h.Subscribe(Message{Kind: Text, Data: []byte("state")})
	for n := range uint32(5) {
		h.Send(frame(n))
		h.Send(Message{Kind: Text, Data: []byte{'t', '0' + byte(n)}})
	}
	var texts []string
	var frames []uint32
	var dropped int64
	for range 6 + 3 {
		m, d, err := c.Next(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		dropped += d
		if m.Kind == Text {
			texts = append(texts, string(m.Data))
		} else {
			frames = append(frames, binary.LittleEndian.Uint32(m.Data))
		}
	}
	if want := []string{"state", "t0", "t1", "t2", "t3", "t4"}; !equal(texts, want) {
		t.Errorf("texts %q, want %q", texts, want)
	}
	if want := []uint32{2, 3, 4}; !equal(frames, want) {
		t.Errorf("frames %v, want the newest three %v", frames, want)
	}
	if dropped != 2 || h.Dropped() != 2 {
		t.Errorf("told of %d dropped frames, hub counts %d, want 2", dropped, h.Dropped())
	}
}

func equal[T comparable](a, b []T) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func TestPageThatNeverReadsIsCutOff(t *testing.T) {
	h := New(2)
	c := h.Subscribe()
	for range MaxTexts + 1 {
		h.Send(Message{Kind: Text})
	}
	if _, _, err := c.Next(context.Background()); !errors.Is(err, ErrTooSlow) {
		t.Fatalf("got %v, want ErrTooSlow", err)
	}
}

func TestCloseDeliversWhatIsQueued(t *testing.T) {
	h := New(2)
	c := h.Subscribe()
	h.Send(frame(7))
	h.Close()
	if m, _, err := c.Next(context.Background()); err != nil || binary.LittleEndian.Uint32(m.Data) != 7 {
		t.Fatalf("got %v %v, want frame 7", m, err)
	}
	if _, _, err := c.Next(context.Background()); !errors.Is(err, ErrClosed) {
		t.Fatalf("got %v, want ErrClosed", err)
	}
	if _, _, err := h.Subscribe().Next(context.Background()); !errors.Is(err, ErrClosed) {
		t.Fatalf("a page after Close got %v, want ErrClosed", err)
	}
	c.Close()
	c.Close()
}

func TestManyPagesSeeEveryFrameInOrder(t *testing.T) {
	const pages, frames = 50, 2000
	h := New(frames)
	var wg sync.WaitGroup
	for range pages {
		c := h.Subscribe()
		wg.Go(func() {
			defer c.Close()
			for want := range uint32(frames) {
				m, dropped, err := c.Next(context.Background())
				if err != nil || dropped != 0 || binary.LittleEndian.Uint32(m.Data) != want {
					t.Errorf("got %v, dropped %d, %v; want frame %d", m, dropped, err, want)
					return
				}
			}
		})
	}
	for n := range uint32(frames) {
		h.Send(frame(n))
	}
	wg.Wait()
	if h.Watchers() != 0 {
		t.Errorf("%d watchers left", h.Watchers())
	}
}

func TestWaitingIsTheSlowestPages(t *testing.T) {
	h := New(4)
	quick, slow := h.Subscribe(), h.Subscribe()
	for range 3 {
		h.Send(Message{Kind: Frame})
		h.Send(Message{Kind: Text})
	}
	for range 6 {
		if _, _, err := quick.Next(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
	if n := h.Waiting(); n != 3 {
		t.Errorf("%d frames wait, want the slow page's 3", n)
	}
	for range 9 {
		h.Send(Message{Kind: Frame})
	}
	if n := h.Waiting(); n != 4 {
		t.Errorf("%d frames wait, want the 4 there is room for", n)
	}
	slow.Close()
	quick.Close()
	if n := h.Waiting(); n != 0 {
		t.Errorf("%d frames wait for nobody", n)
	}
}

// TestNewestTakesThePlaceOfTheOlder: of texts of one name a page that is slow gets the newest
// alone, and they never pile up.
func TestNewestTakesThePlaceOfTheOlder(t *testing.T) {
	h := New(3)
	c := h.Subscribe()
	h.Send(Message{Kind: Text, Data: []byte("a")})
	for n := range 2 * MaxTexts {
		h.Send(Message{Kind: Text, Data: []byte{'p', byte(n)}, Newest: "p"})
		h.Send(Message{Kind: Text, Data: []byte{'q', byte(n)}, Newest: "q"})
	}
	last := byte((2*MaxTexts - 1) % 256)
	for _, want := range []string{"a", string([]byte{'p', last}), string([]byte{'q', last})} {
		m, _, err := c.Next(context.Background())
		if err != nil || string(m.Data) != want {
			t.Fatalf("%q, %v, want %q", m.Data, err, want)
		}
	}
	h.Send(Message{Kind: Text, Data: []byte("p0"), Newest: "p"})
	if m, _, err := c.Next(context.Background()); err != nil || string(m.Data) != "p0" {
		t.Fatalf("%q, %v, want one that nobody took the place of", m.Data, err)
	}
}
