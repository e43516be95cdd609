//go:build linux

package command

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"net"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire/simulate"
)

// crowd is many watchers of one board.
type crowd struct {
	t       *testing.T
	address string
	written [counterEnd]atomic.Int64 // when each line was written, nanoseconds since start
	start   time.Time

	mu        sync.Mutex
	delays    []time.Duration // of a line, from being written to being in a good watcher's hands
	frames    int64
	dropped   int64
	vanished  int
	slowTold  []int64       // how many frames each slow watcher was told it lost
	slowAge   time.Duration // the oldest line that reached one
	unaltered int           // good watchers whose sequence had no jump that they were not told of

	presented [4096]atomic.Int64 // when each place of the presenter's pointer was sent, nanoseconds since start
	followed  []time.Duration    // from being sent to being in a good watcher's hands
}

// TestManyWatchers records a board of 250 lines a second while a class looks on,
// some of them slow, frozen or vanishing: every line is in the recording, and who
// lost frames was told of each. 20 watchers for some seconds, or by make load 200
// for PULSEWRIGHT_LOAD.
func TestManyWatchers(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no load")
	}
	watchers, long := 20, 5*time.Second
	if text := os.Getenv("PULSEWRIGHT_LOAD"); text != "" {
		var err error
		if long, err = time.ParseDuration(text); err != nil {
			t.Fatalf("PULSEWRIGHT_LOAD=%s: give a duration such as 5m: %v", text, err)
		}
		watchers = 200
	}
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	c := &crowd{t: t, start: time.Now()}
	go c.print(ctx, b)
	p := runProgram(t, "-v", "-source", "serial:"+b.link+"?baud=115200&rate=250&names=pulse,counter&kind=pulse,other")
	p.waitRunning()
	c.address = p.address
	if err := p.ask("POST", "/api/v1/recording", `{"name":"class"}`, nil); err != nil {
		t.Fatal(err)
	}
	before := p.metrics()
	began := time.Now()
	watching, stop := context.WithTimeout(ctx, long)
	defer stop()
	var all sync.WaitGroup
	for i := range watchers {
		all.Go(func() {
			switch i % 10 {
			case 0:
				c.slow(watching)
			case 1:
				c.frozen(watching)
			case 2:
				c.vanishing(watching)
			default:
				c.good(watching)
			}
		})
	}
	all.Go(func() { c.present(watching, p) })
	most, pages := 0.0, 0.0
	for watching.Err() == nil {
		select {
		case <-watching.Done():
		case <-time.After(max(time.Second, long/30)):
			m := p.metrics()
			pages = m["pulsewright_pages"]
			most = max(most, m["process_resident_memory_bytes"])
			t.Logf("%4.0f s  %3.0f pages  %5.1f MB resident  %4.0f goroutines  %4.0f files  %6.1f s processor", time.Since(began).Seconds(), m["pulsewright_pages"],
				m["process_resident_memory_bytes"]/1e6, m["go_goroutines"], m["process_open_fds"], m["process_cpu_seconds_total"])
		}
	}
	lasted := time.Since(began)
	if frozen := float64(watchers / 10); lasted > time.Minute && pages > float64(watchers)-frozen {
		t.Errorf("%.0f pages at the end: the %.0f frozen ones were not cut off", pages, frozen)
	}
	after := p.metrics()
	all.Wait()
	if err := p.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatal(err)
	}
	recorded := time.Since(began)
	// All watchers gone, nothing of them is left.
	var rest map[string]float64
	for deadline := time.Now().Add(15 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		if rest = p.metrics(); rest["pulsewright_pages"] == 0 && rest["go_goroutines"] <= before["go_goroutines"]+3 {
			break
		}
		if time.Now().After(deadline) {
			t.Errorf("when all had left, %.0f pages and %.0f goroutines remained; before they came there were %.0f goroutines", rest["pulsewright_pages"], rest["go_goroutines"], before["go_goroutines"])
			break
		}
	}
	cancel()
	p.end()

	f := wholeRecording(t, p.folder)
	// What is asked to stop waits for late beats, at most 2.5 s; its samples end when it was asked.
	if seconds := float64(f.Len()) / 250; seconds > recorded.Seconds()+0.5 || seconds < recorded.Seconds()-3 {
		t.Errorf("%.2f s recorded in %.2f s", seconds, recorded.Seconds())
	}
	checkCounter(t, f)
	if good := watchers - 3*(watchers/10); c.unaltered != good {
		t.Errorf("%d of %d good watchers saw every frame or were told of each that they lost", c.unaltered, good)
	}
	if len(c.delays) == 0 {
		t.Fatal("no line reached a watcher")
	}
	slices.Sort(c.delays)
	at := func(share float64) float64 { return c.delays[int(share*float64(len(c.delays)-1))].Seconds() * 1e3 }
	t.Logf("%d watchers, %.0f s: %d frames to the good ones (%.1f a second each), %d dropped, %d came and vanished", watchers, lasted.Seconds(), c.frames,
		float64(c.frames)/lasted.Seconds()/float64(watchers-3*(watchers/10)), c.dropped, c.vanished)
	t.Logf("processor %.1f %% of a core, at most %.1f MB resident, %.0f frames dropped over all", 100*(after["process_cpu_seconds_total"]-before["process_cpu_seconds_total"])/lasted.Seconds(),
		most/1e6, after["pulsewright_dropped_frames_total"])
	t.Logf("slow watchers were told of %d frames lost; what they saw was at most %.1f s old", c.slowTold, c.slowAge.Seconds())
	t.Logf("from a line's writing to a watcher's hands: median %.1f ms, 99 of 100 within %.1f ms, at most %.1f ms", at(0.5), at(0.99), at(1))
	if len(c.followed) == 0 {
		t.Fatal("nothing of the presenter reached a watcher")
	}
	slices.Sort(c.followed)
	c.delays = c.followed
	t.Logf("from the presenter's pointer to a watcher's hands, %d times: median %.1f ms, 99 of 100 within %.1f ms, at most %.1f ms", len(c.followed), at(0.5), at(0.99), at(1))
}

// print writes a pulse and a counter, 250 lines a second, never skipping one, and
// notes when.
func (c *crowd) print(ctx context.Context, b *bench) {
	g, err := simulate.New(steady(66))
	if err != nil {
		b.t.Error(err)
		return
	}
	counts := [][]int32{make([]int32, 1)}
	for n := 0; ctx.Err() == nil; n++ {
		time.Sleep(time.Until(c.start.Add(time.Duration(n) * 4 * time.Millisecond)))
		g.Next(counts)
		c.written[n%counterEnd].Store(int64(time.Since(c.start)))
		b.write(fmt.Appendf(nil, "%d,%d\n", counts[0][0], n%counterEnd))
	}
}

// present moves a presenter's pointer as a page does, twelve times a second; a place of it
// carries its number.
func (c *crowd) present(ctx context.Context, p *child) {
	for n := 0; ctx.Err() == nil && n < len(c.presented); n++ {
		c.presented[n].Store(int64(time.Since(c.start)))
		if err := p.ask("PUT", "/api/v1/presenter", fmt.Sprintf(`{"on":true,"secondsAcross":4,"lanes":[{"channel":0,"point":3}],"pointer":{"on":"traces","x":0.5,"y":0.5},"line":"%d"}`, n), nil); err != nil && ctx.Err() == nil {
			c.t.Errorf("the presenter was refused: %v", err)
		}
		select {
		case <-ctx.Done():
		case <-time.After(80 * time.Millisecond):
		}
	}
}

// place is the number that a message of the presenter carries, -1 for another message.
func (c *crowd) place(message []byte) int {
	var m struct{ Type, Line string }
	if json.Unmarshal(message, &m) != nil || m.Type != "presenter" {
		return -1
	}
	n, err := strconv.Atoi(m.Line)
	if err != nil || n < 0 || n >= len(c.presented) {
		return -1
	}
	return n
}

func (c *crowd) dial(ctx context.Context, client *http.Client) (*websocket.Conn, error) {
	conn, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(c.address, "http")+"/api/v1/stream", &websocket.DialOptions{HTTPClient: client})
	if err != nil {
		if ctx.Err() == nil {
			c.t.Errorf("a watcher was not let in: %v", err)
		}
		return nil, err
	}
	conn.SetReadLimit(64 << 20)
	return conn, nil
}

// good reads all that comes as it comes.
func (c *crowd) good(ctx context.Context) {
	conn, err := c.dial(ctx, nil)
	if err != nil {
		return
	}
	defer conn.CloseNow()
	var delays []time.Duration
	var frames, dropped, jumped int64
	last, at := int64(-1), -1
	var followed []time.Duration
	for {
		kind, data, err := conn.Read(ctx)
		if err != nil {
			if ctx.Err() == nil {
				c.t.Errorf("a good watcher's stream ended: %v", err)
			}
			break
		}
		if kind == websocket.MessageText {
			dropped += droppedFrames(data)
			if n := c.place(data); n >= 0 {
				if n <= at {
					c.t.Errorf("place %d of the presenter came after place %d", n, at)
				}
				if at >= 0 { // the first was put before this page came
					followed = append(followed, time.Since(c.start)-time.Duration(c.presented[n].Load()))
				}
				at = n
			}
			continue
		}
		if data[3]&1 != 0 { // of the past
			continue
		}
		sequence := int64(binary.LittleEndian.Uint32(data[4:]))
		if last >= 0 && sequence != last+1 {
			jumped += sequence - last - 1
		}
		last = sequence
		frames++
		delays = append(delays, c.age(data))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.delays = append(c.delays, delays...)
	c.followed = append(c.followed, followed...)
	c.frames += frames
	c.dropped += dropped
	if jumped == dropped && frames > 0 {
		c.unaltered++
	} else {
		c.t.Logf("a good watcher missed %d frames and was told of %d", jumped, dropped)
	}
}

// slow takes twenty messages a second, of about eighty, and says whether it was
// told of frames lost.
func (c *crowd) slow(ctx context.Context) {
	conn, err := c.dial(ctx, narrow)
	if err != nil {
		return
	}
	defer conn.CloseNow()
	told, age := int64(0), time.Duration(0)
	for {
		kind, data, err := conn.Read(ctx)
		if err != nil {
			if ctx.Err() == nil {
				c.t.Errorf("a slow watcher was cut off: %v", err)
			}
			break
		}
		if kind == websocket.MessageText {
			told += droppedFrames(data)
		} else if data[3]&1 == 0 {
			age = max(age, c.age(data))
		}
		select {
		case <-time.After(50 * time.Millisecond):
		case <-ctx.Done():
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.slowTold = append(c.slowTold, told)
	c.slowAge = max(c.slowAge, age)
}

// age is how long ago the newest line of a frame was written: the last value of the
// second channel's first point.
func (c *crowd) age(frame []byte) time.Duration {
	now := time.Since(c.start)
	n := int(binary.LittleEndian.Uint32(frame[16:]))
	line := math.Float32frombits(binary.LittleEndian.Uint32(frame[40+4*(5*n+n-1):]))
	if !(line >= 0 && line < counterEnd) {
		return 0
	}
	return now - time.Duration(c.written[int(line)].Load())
}

func droppedFrames(message []byte) int64 {
	var m struct {
		Type   string
		Frames int64
	}
	if json.Unmarshal(message, &m) != nil || m.Type != "dropped" {
		return 0
	}
	return m.Frames
}

// frozen takes nothing once the connection stands.
func (c *crowd) frozen(ctx context.Context) {
	conn, err := c.dial(ctx, narrow)
	if err != nil {
		return
	}
	defer conn.CloseNow()
	<-ctx.Done()
}

// vanishing comes, looks for a second and is gone without a word, again and again.
func (c *crowd) vanishing(ctx context.Context) {
	for ctx.Err() == nil {
		conn, err := c.dial(ctx, nil)
		if err != nil {
			return
		}
		brief, cancel := context.WithTimeout(ctx, time.Second)
		for err == nil {
			_, _, err = conn.Read(brief)
		}
		cancel()
		conn.CloseNow()
		c.mu.Lock()
		c.vanished++
		c.mu.Unlock()
	}
}

// narrow has connections that hold little.
var narrow = &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, network, address)
	if tcp, ok := conn.(*net.TCPConn); ok {
		_ = tcp.SetReadBuffer(4096)
	}
	return conn, err
}}}
