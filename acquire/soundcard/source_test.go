package soundcard

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// tape is a device that counts: left is 2i, right 2i+1.
type tape struct {
	mu     sync.Mutex
	next   int32
	width  int
	fail   error // returned once next reaches failAt
	failAt int32
	hang   chan struct{}
	closed bool
}

func (d *tape) read(dst []int32) error {
	time.Sleep(2 * time.Millisecond)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.hang != nil {
		hang := d.hang
		d.mu.Unlock()
		<-hang
		d.mu.Lock()
		return errors.New("")
	}
	for i := range dst {
		dst[i] = 2*d.next + int32(i%d.width)
		if i%d.width == d.width-1 {
			d.next++
		}
	}
	if d.fail != nil && d.next >= d.failAt {
		err := d.fail
		if errors.Is(err, errOverflow) {
			d.fail = nil
		}
		return err
	}
	return nil
}

func (d *tape) close() error { d.closed = true; return nil }

func mustParse(t *testing.T, address string) config {
	t.Helper()
	a, err := acquire.ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	c, err := parse(a)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestContract(t *testing.T) {
	acquiretest.Source(t, func(t *testing.T) acquire.Source {
		return newSource(mustParse(t, "sound:default?side=both&rate=8000"), "tape", &tape{width: 2})
	})
}

func TestSidesAreTakenApart(t *testing.T) {
	for side, want := range map[string][]int32{"left": {0, 1}, "right": {1, 3}, "both": {0, 2}} {
		c := mustParse(t, "sound:default?side="+side)
		s := acquiretest.Check(t, newSource(c, "tape", &tape{width: c.width()}))
		counts, err := s.Samples(context.Background(), 1000)
		s.Close()
		if err != nil {
			t.Fatal(err)
		}
		step := int32(2)
		for i := range int32(1000) {
			first := want[0]
			if side == "right" {
				first = 1
			}
			if counts[0][i] != first+step*i {
				t.Fatalf("%s: sample %d is %d, want %d", side, i, counts[0][i], first+step*i)
			}
		}
		if side == "both" && counts[1][7] != 15 {
			t.Errorf("right sample 7 is %d, want 15", counts[1][7])
		}
	}
}

func TestDeviceLossIsAnUnplug(t *testing.T) {
	d := &tape{width: 1, fail: errors.New(""), failAt: 2000}
	s := newSource(mustParse(t, "sound:default"), "tape", d)
	defer s.Close()
	for {
		_, err := s.Read(context.Background())
		if err == nil {
			continue
		}
		if !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "without saying why") {
			t.Errorf("error %v, want an unplug with a text of ours where the device gave none", err)
		}
		return
	}
}

func TestSilentDeviceIsAnUnplugAndCloseDoesNotHang(t *testing.T) {
	hang := make(chan struct{})
	defer close(hang)
	s := newSource(mustParse(t, "sound:default"), "tape", &tape{width: 1, hang: hang})
	for {
		if _, err := s.Read(context.Background()); err != nil {
			if !errors.Is(err, acquire.ErrUnplugged) {
				t.Errorf("error %v, want an unplug", err)
			}
			break
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

func TestOverflowIsMarked(t *testing.T) {
	s := newSource(mustParse(t, "sound:default"), "tape", &tape{width: 1, fail: errOverflow, failAt: 960})
	defer s.Close()
	for range 10 {
		b, err := s.Read(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if b.Jump {
			if s.Health().Detail == "" {
				t.Error("lost sound is not said")
			}
			return
		}
	}
	t.Error("an overflow passed unmarked")
}

func TestAddresses(t *testing.T) {
	for address, says := range map[string]string{
		"sound:default?rate=100":   "8000",
		"sound:default?bits=20":    "16 or 24",
		"sound:default?side=upper": "left, right or both",
		"sound:default?volume=3":   "volume",
		"sound:default?kind=toe":   "pulse, ecg or other",
	} {
		a, err := acquire.ParseAddress(address)
		if err != nil {
			t.Fatal(err)
		}
		if _, err = Open(context.Background(), a); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want a sentence with %q", address, err, says)
		}
	}
	c := mustParse(t, "sound:default?fullscale=2&bits=24")
	if ch := c.info("x").Channels[0]; ch.Value(1<<22) != 1 || ch.MaxCount != 1<<23-1 {
		t.Errorf("half of full scale is %g V, highest count %d; want 1 V and 8388607", ch.Value(1<<22), ch.MaxCount)
	}
}
