package bytestream

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
)

// pretendPage opens and sends as a page would: rubbish at any baud rate but right.
func pretendPage(t *testing.T, port *PagePort, right int) {
	t.Helper()
	ended := make(chan struct{})
	t.Cleanup(func() { port.End("the test is over"); <-ended })
	go func() {
		defer close(ended)
		tick := time.NewTicker(2 * time.Millisecond)
		defer tick.Stop()
		now, n := Order{}, 0
		for {
			select {
			case <-port.Ended():
				return
			case o := <-port.Orders():
				now = o
				port.Answer(o.ID, "")
			case <-tick.C:
				if now.ID == 0 {
					continue
				}
				text := fmt.Sprintf("%d\n", value(n))
				if now.Baud != right {
					text = strings.Repeat("\xff\x81", 3)
				}
				n++
				if err := port.Push(append(binary.LittleEndian.AppendUint32(nil, now.ID), text...)); err != nil {
					t.Error(err)
				}
			}
		}
	}()
}

func TestPagePort(t *testing.T) {
	pages := NewPages()
	if _, err := pages.Attach(" \x00? "); !errors.Is(err, ErrPage) {
		t.Errorf("a port without a name: %v", err)
	}
	port, err := pages.Attach("1209:0001")
	if err != nil {
		t.Fatal(err)
	}
	pretendPage(t, port, 57600)
	if _, err := pages.Open(within(t), address(t, "serial:browser/other?baud=9600")); !errors.Is(err, acquire.ErrUnplugged) {
		t.Errorf("another port: %v", err)
	}
	s, err := pages.Open(within(t), address(t, "serial:browser/1209:0001")) // the baud rate is found by trying
	if err != nil {
		t.Fatal(err)
	}
	if a := s.Describe().Address; a != "serial:browser/1209:0001?baud=57600" {
		t.Errorf("address %s", a)
	}
	inOrder(t, read(t, s, 200))
	if port.Idle() != 0 {
		t.Error("idle while it is read")
	}
	port.End("the board was unplugged")
	if err := untilError(t, s); !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "the board was unplugged") {
		t.Errorf("after the end: %v", err)
	}
	s.Close()
}

// A page that opens its port never, or badly, is told of; one that comes later takes over.
func TestPagePortRefused(t *testing.T) {
	pages := NewPages()
	first, err := pages.Attach("a")
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		o := <-first.Orders()
		first.Answer(o.ID+7, "") // to nothing that was asked
		first.Answer(o.ID, "it is taken")
	}()
	if _, err := pages.Open(within(t), address(t, "serial:browser?baud=9600")); err == nil || !strings.Contains(err.Error(), "it is taken") {
		t.Errorf("a refusal: %v", err)
	}
	if _, err := pages.Attach("b"); err != nil {
		t.Fatal(err)
	}
	select {
	case <-first.Ended():
		if !strings.Contains(first.Reason(), "another page") {
			t.Errorf("ended because %q", first.Reason())
		}
	case <-time.After(deadline):
		t.Error("the first page goes on")
	}
}

// Whatever a page sends, memory is bounded and nothing hangs.
func FuzzPagePush(f *testing.F) {
	f.Add("a", []byte{1, 0, 0, 0, '5', '\n'})
	f.Add("\u202e?", []byte{})
	f.Fuzz(func(t *testing.T, device string, data []byte) {
		port, err := NewPages().Attach(device)
		if err != nil {
			if !errors.Is(err, ErrPage) {
				t.Error(err)
			}
			return
		}
		if _, err := acquire.ParseAddress("serial:browser/" + port.device); err != nil {
			t.Errorf("%q is no address: %v", port.device, err)
		}
		for range 2 * pageQueue {
			if err := port.Push(data); err != nil && !errors.Is(err, ErrPage) {
				t.Error(err)
			}
		}
		port.Answer(1, "x")
	})
}
