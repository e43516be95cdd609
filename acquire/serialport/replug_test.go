package serialport

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
)

// bench is a computer whose ports change names.
type bench struct {
	mu     sync.Mutex
	boards map[string]*fakeBoard
	usb    map[string]Port
}

func (b *bench) machine() machine {
	return machine{
		dial: func(name string, baud int) (link, error) {
			b.mu.Lock()
			board := b.boards[name]
			b.mu.Unlock()
			if board == nil {
				return nil, errors.New("nothing there")
			}
			return board.dial(name, baud)
		},
		ports: func() (list []Port, err error) {
			b.mu.Lock()
			defer b.mu.Unlock()
			for name := range b.boards {
				p := b.usb[name]
				p.Name = name
				list = append(list, p)
			}
			return list, nil
		},
	}
}

func lampClip(baud int) *fakeBoard {
	return &fakeBoard{trueBaud: baud, interval: 4 * time.Millisecond, onOpen: "pulse\n", line: func(i int) string { return fmt.Sprintf("%d\n", 500+i%7) }}
}

// TestReplugUnderAnotherName: the board is found by its USB identity, and is the same source.
func TestReplugUnderAnotherName(t *testing.T) {
	t.Parallel()
	first := Port{USB: true, VID: "2A1B", PID: "00FF", Serial: "7"}
	other := Port{USB: true, VID: "2A1B", PID: "00FF", Serial: "8"}
	b := &bench{boards: map[string]*fakeBoard{"/dev/ttyACM0": lampClip(9600)}, usb: map[string]Port{"/dev/ttyACM0": first}}
	open := func(address string) (acquire.Source, error) {
		a, err := acquire.ParseAddress(address)
		if err != nil {
			t.Fatal(err)
		}
		s, err := openOn(deadline(t), a, b.machine())
		if err == nil {
			t.Cleanup(func() { s.Close() })
		}
		return s, err
	}
	s, err := open("serial:/dev/ttyACM0?baud=9600")
	if err != nil {
		t.Fatal(err)
	}
	was := s.Describe()
	if was.Device != "2A1B:00FF:7" {
		t.Errorf("device %q", was.Device)
	}
	s.Close()
	// Another board alike sits on the old name now.
	b.boards = map[string]*fakeBoard{"/dev/ttyACM0": lampClip(9600), "/dev/ttyACM1": lampClip(9600)}
	b.usb = map[string]Port{"/dev/ttyACM0": other, "/dev/ttyACM1": first}
	if s, err = open(was.Address); err != nil {
		t.Fatal(err)
	}
	if is := s.Describe(); is.Address != was.Address || is.Device != was.Device || !strings.HasPrefix(is.Name, "/dev/ttyACM1,") {
		t.Errorf("described as %+v, was %+v", is, was)
	}
	delete(b.boards, "/dev/ttyACM1")
	if _, err := open(was.Address); !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "2A1B:00FF:7") {
		t.Errorf("not plugged in: %v", err)
	}
}

// TestReflashedAtAnotherBaud: an open port turns unreadable, is given up after 5 s, and
// opened again by its address finds the new rate.
func TestReflashedAtAnotherBaud(t *testing.T) {
	t.Parallel()
	board := lampClip(9600)
	s, err := openFake(t, board, "serial:fake?baud=9600")
	if err != nil {
		t.Fatal(err)
	}
	address := s.Describe().Address
	board.mu.Lock()
	board.trueBaud = 57600
	board.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for err == nil {
		_, err = s.Read(ctx)
	}
	if !errors.Is(err, acquire.ErrChanged) {
		t.Fatalf("after reflashing: %v", err)
	}
	s.Close()
	if s, err = openFake(t, board, address); err != nil {
		t.Fatal(err)
	}
	if got := s.Describe().Address; got != "serial:fake?baud=57600" {
		t.Errorf("found again as %s", got)
	}
}
