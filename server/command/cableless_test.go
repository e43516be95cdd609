//go:build !windows

package command

import (
	"context"
	"net"
	"testing"
	"time"
)

// A board in the network that comes after the program was started, is lost, and comes
// back: waited for, read, waited for, read.
func TestBoardByTCPComesLateAndComesBack(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	l.Close()
	s := openStream(t, program(t, "tcp:"+at))
	s.until("the program to miss the board", 10*time.Second, func() bool { return s.last["state"] != nil && s.last["state"]["status"] == "failed" })
	board := func() (stop func()) {
		l, err := net.Listen("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			c, err := l.Accept()
			if err != nil {
				return
			}
			defer c.Close()
			printSignal(ctx, t, steady(66), func(line []byte) {
				if _, err := c.Write(line); err != nil {
					cancel()
				}
			})
		}()
		return func() { cancel(); l.Close(); <-ended }
	}
	stop := board()
	s.until("a rate of 66 bpm", 40*time.Second, s.reads(66))
	stop()
	s.until("the program to notice", 10*time.Second, func() bool { return s.last["state"]["status"] == "waiting" })
	stop = board()
	defer stop()
	s.until("the board to come back", 20*time.Second, func() bool { return s.last["gap"] != nil && s.last["state"]["status"] == "running" })
}
