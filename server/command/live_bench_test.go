//go:build linux

package command

import (
	"context"
	"encoding/binary"
	"fmt"
	"log/slog"
	"math"
	"net"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
	"github.com/creack/pty"
	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// BenchmarkLatency measures from the last byte of a line written to a
// pseudo-terminal to its sample's arrival in a frame on the websocket, beside
// the time the same bytes need through a bare loopback connection.
//
//	go test -run - -bench Latency -benchtime 1000x ./server/command
func BenchmarkLatency(b *testing.B) {
	var took, bare []time.Duration
	board, address, stop := benchProgram(b)
	defer stop()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute)
	defer cancel()
	c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(address, "http")+"/api/v1/stream", nil)
	if err != nil {
		b.Fatal(err)
	}
	defer c.CloseNow()
	c.SetReadLimit(64 << 20)
	near, far := tcpPair(b)
	var one [16]byte
	const base = 100_000 // markers stand clear of what was printed before
	written := make([]time.Time, b.N)
	b.ResetTimer()
	go func() { // the board prints 250 lines a second, whatever the page does
		begin := time.Now()
		for i := range written {
			time.Sleep(time.Until(begin.Add(time.Duration(i) * 4 * time.Millisecond)))
			start := time.Now()
			_, _ = near.Write(one[:])
			_, _ = far.Read(one[:])
			bare = append(bare, time.Since(start))
			written[i] = time.Now()
			fmt.Fprintf(board, "%d\n", base+i)
		}
	}()
	for len(took) < b.N {
		kind, data, err := c.Read(ctx)
		if err != nil {
			b.Fatal(err)
		}
		now := time.Now()
		if kind != websocket.MessageBinary || data[3]&1 != 0 {
			continue
		}
		for i := range int(binary.LittleEndian.Uint32(data[16:])) {
			v := math.Float32frombits(binary.LittleEndian.Uint32(data[40+4*i:]))
			if v >= base {
				took = append(took, now.Sub(written[int(v)-base]))
			}
		}
	}
	b.StopTimer()
	slices.Sort(took)
	slices.Sort(bare)
	middle, late := took[len(took)/2], took[len(took)*99/100]
	b.ReportMetric(float64(middle.Microseconds())/1000, "median-ms")
	b.ReportMetric(float64(late.Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(middle)/float64(bare[len(bare)/2]), "x-loopback")
}

// BenchmarkLive measures the processor time and memory of the whole program
// with two channels at 1 kHz and one page, per second of signal.
//
//	go test -run - -bench Live -benchtime 20x ./server/command
func BenchmarkLive(b *testing.B) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		done <- serveOn(ctx, l, serveFlags{listen: l.Addr().String(), source: "demo:both?rate=1000", data: b.TempDir(), stdout: &lockedBuffer{}, log: slog.New(slog.DiscardHandler)})
	}()
	defer func() { cancel(); <-done }()
	c, _, err := websocket.Dial(ctx, "ws://"+l.Addr().String()+"/api/v1/stream", nil)
	if err != nil {
		b.Fatal(err)
	}
	defer c.CloseNow()
	c.SetReadLimit(64 << 20)
	go func() {
		for {
			if _, _, err := c.Read(ctx); err != nil {
				return
			}
		}
	}()
	time.Sleep(3 * time.Second)
	before := cpuSeconds()
	start := time.Now()
	b.ResetTimer()
	for range b.N {
		time.Sleep(time.Second)
	}
	b.StopTimer()
	b.ReportMetric(100*(cpuSeconds()-before)/time.Since(start).Seconds(), "%core")
	var usage unix.Rusage
	_ = unix.Getrusage(unix.RUSAGE_SELF, &usage)
	b.ReportMetric(float64(usage.Maxrss)/1024, "MB-peak")
}

func cpuSeconds() float64 {
	var u unix.Rusage
	_ = unix.Getrusage(unix.RUSAGE_SELF, &u)
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// tcpPair is a bare loopback connection to compare with.
func tcpPair(b *testing.B) (near, far net.Conn) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	near, err = net.Dial("tcp", l.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	if far, err = l.Accept(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { near.Close(); far.Close() })
	return near, far
}

// benchProgram runs the program on a pseudo-terminal that has been printing for
// long enough to be read; it returns the board's end and the page's address.
func benchProgram(b *testing.B) (board *os.File, address string, stop func()) {
	board, device, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	if _, err := term.MakeRaw(int(device.Fd())); err != nil {
		b.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	source := "serial:" + device.Name() + "?baud=115200&rate=250"
	go func() {
		done <- serveOn(ctx, l, serveFlags{listen: l.Addr().String(), source: source, data: b.TempDir(), stdout: &lockedBuffer{}, log: slog.New(slog.DiscardHandler)})
	}()
	for i := range 1000 { // 4 s of samples, so that the format is known
		fmt.Fprintf(board, "%d\n", 1000+i%20)
		time.Sleep(4 * time.Millisecond)
	}
	return board, "http://" + l.Addr().String(), func() { cancel(); <-done; board.Close(); device.Close() }
}
