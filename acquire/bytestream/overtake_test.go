package bytestream

import (
	"fmt"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/serialport"
)

// Packets that overtake each other: no sample out of its place, and the contract kept.
func TestUDPOvertaking(t *testing.T) {
	port := freePort(t, "udp")
	done := openLater(within(t), OpenUDP, address(t, fmt.Sprintf("udp:%d", port)))
	board := udpBoard(t, port)
	var wg sync.WaitGroup
	defer wg.Wait()
	stop := make(chan struct{})
	defer close(stop)
	wg.Go(func() {
		send := func(n int) { fmt.Fprintf(board, "seq:%d,pulse:%d\n", n, value(n)) }
		for n := 0; ; n += 2 {
			if n%100 == 50 {
				send(n + 1)
				send(n)
			} else {
				send(n)
				send(n + 1)
			}
			select {
			case <-time.After(4 * time.Millisecond):
			case <-stop:
				return
			}
		}
	})
	o := <-done
	if o.err != nil {
		t.Fatal(o.err)
	}
	defer o.s.Close()
	s := acquiretest.Check(t, o.s)
	ctx, read, wrong := within(t), 0, 0
	shift := -1
	for read < 600 {
		b, err := s.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if b.Jump {
			shift = -1
		}
		for i := range b.Len() {
			c := int(b.Counts[0][i])
			if shift < 0 {
				for shift = 0; value(shift+int(b.First)+i) != c; shift++ {
				}
			}
			if value(shift+int(b.First)+i) != c {
				wrong++
			}
		}
		read += b.Len()
	}
	if wrong > 0 {
		t.Errorf("%d of %d samples out of their place", wrong, read)
	}
}

// Frames come by TCP and by UDP as by cable, found by themselves; by UDP one lost on the way is counted.
func TestFramesWithoutACable(t *testing.T) {
	frame := func(n int) []byte {
		var e serialport.FrameEncoder
		out := []byte(nil)
		if n%25 == 0 {
			out = e.Info(out, 1000, []acquire.Channel{{Label: "pulse"}})
		}
		row := make([]int32, 4)
		for i := range row {
			row[i] = int32(value(4*n + i))
		}
		return e.Samples(out, uint32(4*n), 2, [][]int32{row})
	}
	play := func(w io.Writer, lost bool, stop <-chan struct{}) {
		tick := time.NewTicker(4 * time.Millisecond)
		defer tick.Stop()
		for n := 0; ; n++ {
			if !lost || n%50 != 49 {
				if _, err := w.Write(frame(n)); err != nil && !lost {
					return
				}
			}
			select {
			case <-tick.C:
			case <-stop:
				return
			}
		}
	}
	t.Run("TCP", func(t *testing.T) {
		s, err := OpenTCP(within(t), address(t, server(t, func(c net.Conn) { play(c, false, nil) })))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		inOrder(t, read(t, s, 800))
	})
	t.Run("UDP", func(t *testing.T) {
		port := freePort(t, "udp")
		done := openLater(within(t), OpenUDP, address(t, fmt.Sprintf("udp:%d", port)))
		stop := make(chan struct{})
		defer close(stop)
		go play(udpBoard(t, port), true, stop)
		o := <-done
		if o.err != nil {
			t.Fatal(o.err)
		}
		defer o.s.Close()
		ctx, got, lost := within(t), 0, int64(0)
		for got < 2000 {
			b, err := o.s.Read(ctx)
			if err != nil {
				t.Fatal(err)
			}
			got, lost = got+b.Len(), lost+b.Lost
		}
		if lost < 4*8 || lost%4 != 0 {
			t.Errorf("%d samples told as lost of %d; four of each 200 were", lost, got)
		}
	})
}
