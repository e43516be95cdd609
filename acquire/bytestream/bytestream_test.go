package bytestream

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// deadline is how long a test may wait for anything.
const deadline = 20 * time.Second

func within(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), deadline)
	t.Cleanup(cancel)
	return ctx
}

func address(t *testing.T, text string) acquire.Address {
	t.Helper()
	a, err := acquire.ParseAddress(text)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// freePort is a port of this computer that nobody listens on just now. It lies below those that
// systems give to outgoing connections (from 32768 on Linux), which could take it before it is used.
func freePort(t *testing.T, network string) int {
	t.Helper()
	for range 100 {
		port := 20000 + rand.IntN(10000)
		if network == "udp" {
			if c, err := net.ListenPacket("udp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
				c.Close()
				return port
			}
		} else if l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
			l.Close()
			return port
		}
	}
	t.Fatal("no port is free")
	return 0
}

// printLines writes lines 0, 1, 2 … "seq,value" every 2 ms until w fails or stop closes.
func printLines(w io.Writer, from int, stop <-chan struct{}) {
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	for n := from; ; n++ {
		if _, err := fmt.Fprintf(w, "seq:%d,pulse:%d\n", n, value(n)); err != nil {
			return
		}
		select {
		case <-tick.C:
		case <-stop:
			return
		}
	}
}

// value is what the board's n-th line carries.
func value(n int) int { return 500 + n*37%401 }

// inOrder fails unless counts are the values of consecutive lines.
func inOrder(t *testing.T, counts []int32) {
	t.Helper()
	for first := range 401 {
		if value(first) != int(counts[0]) {
			continue
		}
		for i, c := range counts {
			if int(c) != value(first+i) {
				t.Fatalf("sample %d is %d, want %d", i, c, value(first+i))
			}
		}
		return
	}
	t.Fatalf("the first sample, %d, is no line of the board", counts[0])
}

// read reads n samples of a source's only channel.
func read(t *testing.T, s acquire.Source, n int) []int32 {
	t.Helper()
	checked, ok := s.(*acquiretest.Checked)
	if !ok {
		checked = acquiretest.Check(t, s)
	}
	counts, err := checked.Samples(within(t), n)
	if err != nil {
		t.Fatal(err)
	}
	return counts[0]
}

// untilError reads to the source's end.
func untilError(t *testing.T, s acquire.Source) error {
	t.Helper()
	ctx := within(t)
	for {
		if _, err := s.Read(ctx); err != nil {
			if ctx.Err() != nil {
				t.Fatal("the source did not end")
			}
			return err
		}
	}
}

// server is a board that listens; each connection gets run.
func server(t *testing.T, run func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			wg.Go(func() { run(c); c.Close() })
		}
	})
	t.Cleanup(wg.Wait)
	t.Cleanup(func() { l.Close() })
	return "tcp:" + l.Addr().String()
}

func TestTCPReadsAndComesBack(t *testing.T) {
	var mu sync.Mutex
	var newest net.Conn
	at := server(t, func(c net.Conn) {
		mu.Lock()
		newest = c
		mu.Unlock()
		printLines(c, 0, nil)
	})
	s, err := OpenTCP(within(t), address(t, at))
	if err != nil {
		t.Fatal(err)
	}
	info := s.Describe()
	if info.Address != at || len(info.Channels) != 1 || info.Channels[0].Label != "pulse" {
		t.Errorf("described as %+v", info)
	}
	inOrder(t, read(t, s, 300))
	mu.Lock()
	newest.Close()
	mu.Unlock()
	if err := untilError(t, s); !errors.Is(err, acquire.ErrUnplugged) || !strings.HasPrefix(err.Error(), "bytestream: "+at+": ") {
		t.Errorf("after the cut: %v", err)
	}
	s.Close()
	if s, err = OpenTCP(within(t), address(t, info.Address)); err != nil {
		t.Fatal(err)
	}
	inOrder(t, read(t, s, 100))
	s.Close()
}

func TestTCPNobodyThere(t *testing.T) {
	_, err := OpenTCP(within(t), address(t, fmt.Sprintf("tcp:127.0.0.1:%d", freePort(t, "tcp"))))
	if !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "is the board on") {
		t.Errorf("nobody there: %v", err)
	}
}

// A peer that never stops, of lines or of rubbish without an end, is held to bounded memory.
func TestFloods(t *testing.T) {
	for name, piece := range map[string]string{"lines": strings.Repeat("512,498\n", 1000), "no end of line": strings.Repeat("7", 8000)} {
		t.Run(name, func(t *testing.T) {
			at := server(t, func(c net.Conn) {
				for {
					if _, err := io.WriteString(c, piece); err != nil {
						return
					}
				}
			})
			s, err := OpenTCP(within(t), address(t, at))
			if name == "no end of line" {
				if err == nil || !strings.Contains(err.Error(), "no readable line") {
					t.Errorf("rubbish opened: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			ctx := within(t)
			for total := 0; total < 2_000_000; {
				b, err := s.Read(ctx)
				if err != nil {
					t.Fatal(err)
				}
				if b.Len() > 1<<17 {
					t.Fatalf("a block of %d samples", b.Len())
				}
				total += b.Len()
			}
			// Nobody reads: the peer has to wait, and nothing piles up.
			runtime.GC()
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			time.Sleep(300 * time.Millisecond)
			runtime.GC()
			runtime.ReadMemStats(&after)
			if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 2<<20 {
				t.Errorf("%d bytes piled up", grown)
			}
		})
	}
}

// slowly writes a byte at a time, as over a bad connection.
func TestTCPSlowPeer(t *testing.T) {
	at := server(t, func(c net.Conn) {
		for n := 0; ; n++ {
			for _, b := range []byte(fmt.Sprintf("%d\n", value(n))) {
				if _, err := c.Write([]byte{b}); err != nil {
					return
				}
				time.Sleep(time.Millisecond)
			}
		}
	})
	s, err := OpenTCP(within(t), address(t, at))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	inOrder(t, read(t, s, 200))
}

// connect connects to a listening source, again and again until it listens.
func connect(t *testing.T, port int) net.Conn {
	t.Helper()
	for until := time.Now().Add(deadline); time.Now().Before(until); time.Sleep(10 * time.Millisecond) {
		if c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
			t.Cleanup(func() { c.Close() })
			return c
		}
	}
	t.Fatal("nobody listens")
	return nil
}

// closedByPeer waits until the other side has closed a connection.
func closedByPeer(t *testing.T, c net.Conn) {
	t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(deadline))
	var timeout net.Error
	if _, err := c.Read(make([]byte, 1)); err == nil || errors.As(err, &timeout) && timeout.Timeout() {
		t.Fatalf("the connection is still open (%v)", err)
	}
}

type opening struct {
	s   acquire.Source
	err error
}

func openLater(ctx context.Context, open acquire.Opener, a acquire.Address) <-chan opening {
	done := make(chan opening, 1)
	go func() {
		s, err := open(ctx, a)
		done <- opening{s, err}
	}()
	return done
}

// A silent stranger does not keep the board out; a second board is turned away while
// the first one sends.
func TestTCPListen(t *testing.T) {
	port := freePort(t, "tcp")
	done := openLater(within(t), OpenTCPListen, address(t, fmt.Sprintf("tcp-listen:%d", port)))
	stranger := connect(t, port)
	closedByPeer(t, connect(t, port)) // the stranger has the seat
	closedByPeer(t, stranger)         // for three seconds
	board := connect(t, port)
	stop := make(chan struct{})
	defer close(stop)
	go printLines(board, 0, stop)
	o := <-done
	if o.err != nil {
		t.Fatal(o.err)
	}
	checked := acquiretest.Check(t, o.s)
	inOrder(t, read(t, checked, 200))
	closedByPeer(t, connect(t, port))
	inOrder(t, read(t, checked, 100))
	if d := o.s.(acquire.HealthReporter).Health().Detail; !strings.Contains(d, "2 connections of others turned away") {
		t.Errorf("health says %q", d)
	}
	board.Close()
	if err := untilError(t, o.s); !errors.Is(err, acquire.ErrUnplugged) {
		t.Errorf("after the board left: %v", err)
	}
	o.s.Close()
	o.s.Close()
	if _, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
		t.Error("still listening after Close")
	}
}

// A board that fell silent without closing gives its place up to the one that knocks.
func TestTCPListenDeadBoard(t *testing.T) {
	port := freePort(t, "tcp")
	done := openLater(within(t), OpenTCPListen, address(t, fmt.Sprintf("tcp-listen:%d", port)))
	board, stop := connect(t, port), make(chan struct{})
	go printLines(board, 0, stop)
	o := <-done
	if o.err != nil {
		t.Fatal(o.err)
	}
	defer o.s.Close()
	close(stop)
	knocking := make(chan struct{})
	defer close(knocking)
	go func() {
		for {
			select {
			case <-knocking:
				return
			case <-time.After(200 * time.Millisecond):
				if c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
					c.Close()
				}
			}
		}
	}()
	if err := untilError(t, o.s); !errors.Is(err, acquire.ErrUnplugged) {
		t.Errorf("the dead board: %v", err)
	}
}

func TestListenOnlyFrom(t *testing.T) {
	port := freePort(t, "tcp")
	ctx, cancel := context.WithCancel(within(t))
	done := openLater(ctx, OpenTCPListen, address(t, fmt.Sprintf("tcp-listen:%d?from=192.0.2.0/24", port)))
	closedByPeer(t, connect(t, port))
	cancel()
	if o := <-done; !errors.Is(o.err, context.Canceled) {
		t.Errorf("opening went on: %v", o.err)
	}
}

// udpBoard sends what it is told from a socket of its own.
func udpBoard(t *testing.T, port int) net.Conn {
	t.Helper()
	c, err := net.Dial("udp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// Losses are told exactly where seq tells them, datagrams need no end of line, and
// nobody else gets a word in.
func TestUDP(t *testing.T) {
	port := freePort(t, "udp")
	done := openLater(within(t), OpenUDP, address(t, fmt.Sprintf("udp:%d", port)))
	board, stranger := udpBoard(t, port), udpBoard(t, port)
	var wg sync.WaitGroup
	defer wg.Wait()
	stop := make(chan struct{})
	defer close(stop)
	wg.Go(func() {
		for n := 0; ; n++ {
			if n%50 != 49 { // the 50th is lost on the way
				fmt.Fprintf(board, "seq:%d,pulse:%d\nseq:%d,pulse:%d", 2*n, value(2*n), 2*n+1, value(2*n+1))
			}
			if n > 50 {
				fmt.Fprintf(stranger, "seq:%d,pulse:1\n", 2*n)
			}
			if n == 300 {
				fmt.Fprint(board, strings.Repeat("9", maxDatagram+1))
			}
			select {
			case <-time.After(2 * time.Millisecond):
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
	ctx := within(t)
	next, lost, read := int64(0), int64(0), int64(0)
	shift := int64(math.MinInt64) // the board's number of the first sample
	for read < 1500 {
		b, err := o.s.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if b.Len() == 0 {
			continue
		}
		if b.First != next+b.Lost {
			t.Fatalf("block at %d with %d lost after %d", b.First, b.Lost, next)
		}
		for i, c := range b.Counts[0] {
			if shift == math.MinInt64 {
				for shift = 0; value(int(shift)) != int(c); shift++ {
				}
			}
			if want := value(int(b.First + int64(i) + shift)); int(c) != want {
				t.Fatalf("sample %d is %d, the board's was %d", b.First+int64(i), c, want)
			}
		}
		next, lost, read = b.First+int64(b.Len()), lost+b.Lost, read+int64(b.Len())
	}
	if lost < 2*(read/100-2) || lost%2 != 0 {
		t.Errorf("%d of %d told as lost; two of each hundred were", lost, read)
	}
	h := o.s.(acquire.HealthReporter).Health()
	if h.LostSamples != lost || !strings.Contains(h.Detail, "datagrams of others turned away") || !strings.Contains(h.Detail, "1 datagrams of more than") {
		t.Errorf("health %+v, lost %d", h, lost)
	}
}

func TestPlaces(t *testing.T) {
	for text, want := range map[string]string{
		"udp:3333": "127.0.0.1:3333", "udp:localhost:3333": "127.0.0.1:3333", "udp:0.0.0.0:3333": "0.0.0.0:3333", "tcp-listen:[::1]:80": "[::1]:80",
		"udp:3333?from=192.168.1.7": "127.0.0.1:3333",
	} {
		p, err := listenPlace(address(t, text))
		if err != nil || p.String() != want {
			t.Errorf("%s is %s, %v; want %s", text, p, err, want)
		}
	}
	for text, part := range map[string]string{
		"udp:0": "port", "udp:70000": "port", "udp:x": "place", "udp::3333": "host", "udp:example.org:80": "host", "udp:1?from=nobody": "from", "udp:1?from=192.168.1.0/40": "from", "tcp-listen:1.2.3.4": "place",
	} {
		_, err := listenPlace(address(t, text))
		var bad *acquire.AddressError
		if !errors.As(err, &bad) || !strings.Contains(bad.Part, part) {
			t.Errorf("%s: %v, want an error about the %s", text, err, part)
		}
	}
	for _, text := range []string{"tcp:3333", "tcp::3333", "tcp:host", "tcp:host:0", "tcp:host:99999"} {
		var bad *acquire.AddressError
		if _, err := OpenTCP(within(t), address(t, text)); !errors.As(err, &bad) {
			t.Errorf("%s: %v", text, err)
		}
	}
	only, err := listenPlace(address(t, "udp:1?from=192.168.1.0/24"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		ip   net.IP
		want bool
	}{{net.IPv4(192, 168, 1, 9), true}, {net.IPv4(192, 168, 2, 9), false}} {
		a := (&net.UDPAddr{IP: c.ip}).AddrPort().Addr()
		if only.admits(a) != c.want {
			t.Errorf("%s admitted: %v", a, !c.want)
		}
	}
}

func FuzzListenPlace(f *testing.F) {
	for _, s := range []string{"udp:3333", "tcp-listen:0.0.0.0:80?from=10.0.0.0/8", "udp:[::1%eth0]:5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := acquire.ParseAddress(text)
		if err != nil {
			return
		}
		p, err := listenPlace(a)
		if err != nil {
			return
		}
		if _, _, err := net.SplitHostPort(p.String()); err != nil || p.port < 1 || p.port > 65535 {
			t.Errorf("%q: listens on %s", text, p)
		}
	})
}
