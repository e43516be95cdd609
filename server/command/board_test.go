//go:build !windows

package command

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"
	"github.com/creack/pty"
	"golang.org/x/term"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/simulate"
)

// bench is a pretended board at the far end of a pseudo-terminal, behind a link
// that stays when it is unplugged and plugged in again.
type bench struct {
	t    *testing.T
	link string

	mu      sync.Mutex
	control *os.File
	device  *os.File
	muted   bool // what is printed is lost
}

func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{t: t, link: filepath.Join(t.TempDir(), "board")}
	b.plug()
	t.Cleanup(b.unplug)
	return b
}

func (b *bench) plug() {
	b.t.Helper()
	m, s, err := pty.Open()
	if err != nil {
		acquiretest.Missing(b.t, "a pseudo-terminal ("+err.Error()+")")
	}
	if _, err := term.MakeRaw(int(s.Fd())); err != nil {
		b.t.Fatal(err)
	}
	_ = os.Remove(b.link)
	if err := os.Symlink(s.Name(), b.link); err != nil {
		b.t.Fatal(err)
	}
	b.mu.Lock()
	b.control, b.device = m, s
	b.mu.Unlock()
}

func (b *bench) unplug() {
	b.mu.Lock()
	defer b.mu.Unlock()
	_ = os.Remove(b.link)
	if b.control != nil {
		b.device.Close()
		b.control.Close()
		b.control = nil
	}
}

func (b *bench) write(line []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.control != nil {
		_, _ = b.control.Write(line)
	}
}

// play prints a simulated signal in millivolts at its rate until ctx ends.
func (b *bench) play(ctx context.Context, c simulate.Config) { printSignal(ctx, b.t, c, b.write) }

// printSignal writes a simulated signal in millivolts, a line at a time, at its rate
// until ctx ends.
func printSignal(ctx context.Context, t *testing.T, c simulate.Config, write func([]byte)) {
	g, err := simulate.New(c)
	if err != nil {
		t.Error(err)
		return
	}
	channels := g.Channels()
	counts := make([][]int32, len(channels))
	for i := range counts {
		counts[i] = make([]int32, 1)
	}
	var line bytes.Buffer
	start := time.Now()
	for n := 0; ctx.Err() == nil; n++ {
		if due := start.Add(time.Duration(float64(n) / c.RateHz * 1e9)); time.Until(due) > time.Millisecond {
			time.Sleep(time.Until(due))
		}
		g.Next(counts)
		line.Reset()
		if n%int(c.RateHz) == 0 {
			line.WriteString(header(channels))
		}
		for i, channel := range channels {
			if i > 0 {
				line.WriteByte(',')
			}
			fmt.Fprintf(&line, "%.2f", 1000*channel.Value(counts[i][0]))
		}
		line.WriteString("\r\n")
		write(line.Bytes())
	}
}

func header(channels []acquire.Channel) string {
	names := make([]string, len(channels))
	for i, c := range channels {
		names[i] = c.Label + " [mV]"
	}
	return strings.Join(names, ",") + "\r\n"
}

// boardOverTCP is a board that listens on this computer and prints 250 lines a second, the nth as line says. It gives
// where.
func boardOverTCP(t testing.TB, line func(n int) string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				start := time.Now()
				for n := 0; ; n++ {
					time.Sleep(time.Until(start.Add(time.Duration(n) * 4 * time.Millisecond)))
					if _, err := io.WriteString(c, line(n)); err != nil {
						return
					}
				}
			}()
		}
	}()
	return l.Addr().String()
}

// program runs the whole program on a free port and returns the page's address.
func program(t testing.TB, source string, files ...string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var out lockedBuffer
	done := make(chan error, 1)
	go func() {
		done <- serveOn(ctx, l, serveFlags{listen: l.Addr().String(), source: source, data: t.TempDir(), files: files, stdout: &out, log: slog.New(slog.NewTextHandler(&out, nil))})
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the program ended with %v", err)
		}
		if t.Failed() {
			t.Log("the program said:\n" + out.String())
		}
	})
	return "http://" + l.Addr().String()
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}
func (b *lockedBuffer) String() string { b.mu.Lock(); defer b.mu.Unlock(); return b.b.String() }

// stream is a page's view: every frame's samples of channel 0 by index, and the
// newest of each message.
type stream struct {
	t      *testing.T
	c      *websocket.Conn
	values map[int64]float32
	last   map[string]map[string]any
	all    []map[string]any
}

func openStream(t *testing.T, address string) *stream {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(address, "http")+"/api/v1/stream", &websocket.DialOptions{Subprotocols: []string{"pulsewright.v1"}})
	if err != nil {
		t.Fatal(err)
	}
	c.SetReadLimit(64 << 20)
	t.Cleanup(func() { c.CloseNow() })
	return &stream{t: t, c: c, values: map[int64]float32{}, last: map[string]map[string]any{}}
}

// until reads the stream until done, at most for limit.
func (s *stream) until(what string, limit time.Duration, done func() bool) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	for !done() {
		kind, data, err := s.c.Read(ctx)
		if err != nil {
			s.t.Fatalf("waiting for %s: %v; reading %v, state %v", what, err, s.last["reading"], s.last["state"]["statusText"])
		}
		if kind == websocket.MessageBinary {
			first, n := int64(binary.LittleEndian.Uint64(data[8:])), int(binary.LittleEndian.Uint32(data[16:]))
			for i := range n {
				s.values[first+int64(i)] = math.Float32frombits(binary.LittleEndian.Uint32(data[40+4*i:]))
			}
			continue
		}
		var m map[string]any
		if err := json.Unmarshal(data, &m); err != nil {
			s.t.Fatal(err)
		}
		s.last[m["type"].(string)] = m
		s.all = append(s.all, m)
	}
}

func (s *stream) reads(bpm float64) func() bool {
	return func() bool {
		r := s.last["reading"]
		return r != nil && r["state"] == "reading" && math.Abs(r["rateBpm"].(float64)-bpm) <= 1
	}
}

// steady is a finger whose heart keeps its rate.
func steady(bpm float64) simulate.Config {
	c := simulate.Finger()
	c.BPM, c.Variation, c.MotionPerMinute = bpm, 0, 0
	return c
}

func TestBoardOnASerialPortLive(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go b.play(ctx, steady(66))
	address := program(t, "serial:"+b.link+"?baud=115200")
	s := openStream(t, address)
	s.until("a rate of 66 bpm", 40*time.Second, s.reads(66))
	low, high := float32(math.Inf(1)), float32(math.Inf(-1))
	for _, v := range s.values {
		low, high = min(low, v), max(high, v)
	}
	// The simulated board: a pulse of 1 V about a mid-rail of 2.5 V, printed in millivolts.
	if low < 1 || high > 3.7 || high-low < 0.9 || high-low > 2 {
		t.Errorf("values from %g to %g: want a pulse of about 1 V around 2.5 V", low, high)
	}
	clock := s.last["clock"]
	if hz := clock["measuredRateHz"].(float64); math.Abs(hz-250) > 1 {
		t.Errorf("measured rate %g Hz, want 250", hz)
	}

	// A reload and a second page see the same samples, without a hole.
	again := openStream(t, address)
	newest := int64(0)
	for i := range s.values {
		newest = max(newest, i)
	}
	again.until("what the first page saw", 10*time.Second, func() bool { _, ok := again.values[newest]; return ok })
	holes := 0
	for i, v := range s.values {
		if w, ok := again.values[i]; !ok || w != v {
			holes++
		}
	}
	if holes > 0 {
		t.Errorf("%d of %d samples are missing or different after a reload", holes, len(s.values))
	}

	// Pull the cable, plug it in again.
	b.unplug()
	s.until("the program to notice", 10*time.Second, func() bool { return s.last["state"]["status"] == "waiting" })
	if r := s.last["reading"]; r["state"] == "reading" {
		s.until("the rate to go", 5*time.Second, func() bool { return s.last["reading"]["state"] != "reading" })
	}
	b.plug()
	s.until("the board to come back", 20*time.Second, func() bool { return s.last["gap"] != nil && s.last["state"]["status"] == "running" })
	s.until("the rate to come back", 40*time.Second, s.reads(66))
}

func TestBoardTextAndNoiseOnTheLine(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go b.play(ctx, steady(72))
	address := program(t, "serial:"+b.link+"?baud=115200")
	s := openStream(t, address)
	s.until("samples", 20*time.Second, func() bool { return len(s.values) > 250 })
	b.write([]byte("offset set to 3\r\n"))
	s.until("what the board says", 10*time.Second, func() bool {
		m := s.last["text"]
		return m != nil && strings.Contains(fmt.Sprint(m["lines"]), "offset set to 3")
	})
	b.write([]byte("\xff\xfe\x00\x01garbage\xff\r\n"))
	s.until("the unreadable line to be counted", 10*time.Second, func() bool {
		h := s.last["health"]
		return h != nil && h["unreadable"].(float64) >= 1
	})
}

func TestPortThatIsNotThere(t *testing.T) {
	address := program(t, "serial:/dev/no-such-board?baud=9600")
	deadline := time.Now().Add(10 * time.Second)
	for {
		response, err := http.Get(address + "/api/v1/state")
		if err != nil {
			t.Fatal(err)
		}
		var state struct{ Status, StatusText string }
		err = json.NewDecoder(bufio.NewReader(response.Body)).Decode(&state)
		response.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		if state.Status == "failed" {
			if !strings.Contains(state.StatusText, "/dev/no-such-board") {
				t.Errorf("the page is told %q, which does not name the port", state.StatusText)
			}
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("status %q, %q; want failed", state.Status, state.StatusText)
		}
		time.Sleep(50 * time.Millisecond)
	}
}
