//go:build linux

package command

import (
	"context"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

// clockedBoard counts 250 lines a second, whether or not anybody is plugged in.
type clockedBoard struct {
	bench *bench
	start time.Time
	lines atomic.Int64 // counted so far
	wrote [1 << 20]atomic.Bool
}

func (c *clockedBoard) run(ctx context.Context) {
	c.start = time.Now()
	for n := int64(0); ctx.Err() == nil && n < int64(len(c.wrote)); n++ {
		time.Sleep(time.Until(c.start.Add(time.Duration(n) * 4 * time.Millisecond)))
		c.lines.Store(n + 1)
		if c.bench.tell(fmt.Appendf(nil, "%d,%d\n", 500+n%7, n%counterEnd)) {
			c.wrote[n].Store(true)
		}
	}
}

// recordClockedBoard runs the program on a clockedBoard and records its first second;
// stop switches the board off.
func recordClockedBoard(t *testing.T) (b *bench, c *clockedBoard, p *child, stop func()) {
	t.Helper()
	b = newBench(t)
	c = &clockedBoard{bench: b}
	ctx, cancel := context.WithCancel(t.Context())
	go c.run(ctx)
	p = runProgram(t, "-source", "serial:"+b.link+"?baud=115200&rate=250&names=a,counter&kind=other")
	p.waitRunning()
	if err := p.ask("POST", "/api/v1/recording", `{"name":"bad day"}`, nil); err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Second)
	return b, c, p, cancel
}

// tell writes and says whether somebody was plugged in.
func (b *bench) tell(line []byte) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.control == nil || b.muted {
		return false
	}
	_ = b.control.SetWriteDeadline(time.Now().Add(time.Second))
	_, err := b.control.Write(line)
	return err == nil
}

// checkPlaces looks through a recording of a clockedBoard: every sample is a line
// that was written, none comes twice, and each stands within slack samples of where
// the board's count says. It returns how many samples there are and the largest
// difference.
func (c *clockedBoard) checkPlaces(t *testing.T, f *recording.File, slack int64) (samples int, worst int64) {
	t.Helper()
	buffer := [][]int32{make([]int32, 10_000), make([]int32, 10_000)}
	last, offset := int64(-1), int64(math.MinInt64)
	for at := int64(0); at < f.Len(); {
		n, err := f.ReadAt(buffer, at)
		if err != nil && err != io.EOF || n == 0 {
			t.Fatalf("reading at %d: %v", at, err)
		}
		for i, v := range buffer[1][:n] {
			if v == acquire.MissingCount {
				continue
			}
			samples++
			index := at + int64(i)
			// The counter begins anew every counterEnd lines; the place tells which time.
			line := int64(v)
			if offset != math.MinInt64 {
				line += int64(math.Round(float64(index-offset-line)/counterEnd)) * counterEnd
			} else {
				offset = index - line
			}
			if line <= last {
				t.Fatalf("sample %d holds line %d after line %d", index, line, last)
			}
			if !c.wrote[line].Load() || buffer[0][i] != int32(500+line%7) {
				t.Fatalf("sample %d holds %d, %d: no such line was written", index, buffer[0][i], v)
			}
			last = line
			d := index - line - offset
			if d < 0 {
				d = -d
			}
			if d > slack && worst <= slack {
				t.Logf("sample %d holds line %d, %d further than its place", index, line, d)
			}
			worst = max(worst, d)
		}
		at += int64(n)
	}
	if worst > slack {
		t.Errorf("a sample stands %d samples from where the board's count says, want at most %d", worst, slack)
	}
	return samples, worst
}

// TestUnpluggedAndPluggedInAgain pulls the cable in the middle of a line and puts it
// back, over and over, under a recording: three times, or a hundred by make soak.
func TestUnpluggedAndPluggedInAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("short: waits for a board")
	}
	cycles := 3
	if os.Getenv("PULSEWRIGHT_SOAK") != "" {
		cycles = 100
	}
	b, c, p, cancel := recordClockedBoard(t)
	before := p.metrics()
	for cycle := range cycles {
		b.tell([]byte("12")) // torn: never ended
		b.unplug()
		p.waitFor("waiting", 10*time.Second)
		time.Sleep(time.Duration(1+cycle%4) * 150 * time.Millisecond)
		b.plug()
		b.tell([]byte("45,9\n"))             // the end of a line, that must not be taken for one
		p.waitFor("running", 20*time.Second) // at the first samples
		time.Sleep(time.Duration(200+cycle%3*300) * time.Millisecond)
	}
	after := p.metrics()
	time.Sleep(time.Second)
	if err := p.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatal(err)
	}
	if n := after["pulsewright_reopens_total"]; n != float64(cycles) {
		t.Errorf("%.0f reopenings in %d cycles", n, cycles)
	}
	for _, name := range []string{"go_goroutines", "process_open_fds"} {
		if after[name] > before[name]+3 {
			t.Errorf("%s grew from %.0f to %.0f in %d cycles", name, before[name], after[name], cycles)
		}
	}
	cancel()
	p.end()
	f := openOnly(t, p.folder)
	if n := len(f.Gaps()); n != cycles {
		t.Errorf("%d gaps in the recording of %d cycles: %v", n, cycles, f.Gaps())
	}
	samples, worst := c.checkPlaces(t, f, int64(25+cycles))
	t.Logf("%d cycles, %d samples, %d gaps; no sample further than %d samples (of 4 ms) from its place", cycles, samples, len(f.Gaps()), worst)
}

// TestProgramStopped stops the program for 4.5 s, or 30 s by make soak, as a suspended
// computer does: the terminal's buffer keeps the first lines of that time, and the board
// goes on printing into the void.
func TestProgramStopped(t *testing.T) {
	if testing.Short() {
		t.Skip("short: waits for a board")
	}
	void := 3 * time.Second
	if os.Getenv("PULSEWRIGHT_SOAK") != "" {
		void = 28500 * time.Millisecond
	}
	b, c, p, cancel := recordClockedBoard(t)
	if err := p.cmd.Process.Signal(unix.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(1500 * time.Millisecond)
	b.mute(true) // the buffer is nearly full: what is printed from now on is lost
	time.Sleep(void)
	if err := p.cmd.Process.Signal(unix.SIGCONT); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond) // it takes what the buffer kept
	b.mute(false)
	time.Sleep(1500 * time.Millisecond)
	lost := int64(0)
	for n := range c.lines.Load() {
		if !c.wrote[n].Load() {
			lost++
		}
	}
	if err := p.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatal(err)
	}
	cancel()
	p.end()
	f := openOnly(t, p.folder)
	gaps := f.Gaps()
	if len(gaps) != 1 || math.Abs(float64(gaps[0].Samples-lost)) > 25 {
		t.Errorf("gaps %v, want one of the %d lines that were lost", gaps, lost)
	}
	_, worst := c.checkPlaces(t, f, 25)
	t.Logf("%d lines lost, %v; no sample further than %d samples (of 4 ms) from its place", lost, gaps, worst)
}

// TestBoardThatChangesItsFormat goes from one column to two, to decimals, to other
// names: each part is recorded or shown for what it is, none as another.
func TestBoardThatChangesItsFormat(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var form atomic.Int32
	// Sevens: what rises by one beside another column is taken for the board's counter.
	forms := []struct {
		line  func(n int) string
		value func(n int) (float64, int) // of channel 0, and how many channels
		label string                     // of a header heard late
	}{
		{func(n int) string { return fmt.Sprintf("%d\n", 1000+n*7%500) }, func(n int) (float64, int) { return float64(1000 + n*7%500), 1 }, ""},
		{func(n int) string { return fmt.Sprintf("%d,%d\n", 3000+n*7%500, n%50) }, func(n int) (float64, int) { return float64(3000 + n*7%500), 2 }, ""},
		{func(n int) string { return fmt.Sprintf("%.2f;%d\n", 50+float64(n*7%500)/100, n%50) }, func(n int) (float64, int) { return 50 + float64(n*7%500)/100, 2 }, ""},
		{func(n int) string {
			if n%50 == 0 {
				return "lamp,chest\n" + fmt.Sprintf("%d,%d\n", 7000+n*7%500, n%50)
			}
			return fmt.Sprintf("%d,%d\n", 7000+n*7%500, n%50)
		}, func(n int) (float64, int) { return float64(7000 + n*7%500), 2 }, "lamp"},
	}
	go func() {
		start := time.Now()
		for n := 0; ctx.Err() == nil; n++ {
			time.Sleep(time.Until(start.Add(time.Duration(n) * 4 * time.Millisecond)))
			b.write([]byte(forms[form.Load()].line(n)))
		}
	}()
	address := program(t, "serial:"+b.link+"?baud=115200")
	s := openStream(t, address)
	epoch := 0.0
	for k, f := range forms {
		form.Store(int32(k))
		channels := func() []any { list, _ := s.last["state"]["channels"].([]any); return list }
		first, _ := f.value(0)
		_, n := f.value(0)
		clear(s.values)
		s.until(fmt.Sprintf("format %d", k), 30*time.Second, func() bool {
			if s.last["state"] == nil || s.last["state"]["status"] != "running" || len(channels()) != n || k > 0 && f.label == "" && s.last["state"]["epoch"].(float64) == epoch {
				clear(s.values)
				return false
			}
			if f.label != "" { // the same source goes on: what was heard before the change is left out
				maps.DeleteFunc(s.values, func(_ int64, v float32) bool { return float64(v) < first })
			}
			return len(s.values) > 200
		})
		if e := s.last["state"]["epoch"].(float64); f.label != "" && e != epoch {
			t.Errorf("format %d: epoch %g after %g: a header heard late is the same source", k, e, epoch)
		} else if f.label == "" && e <= epoch {
			t.Errorf("format %d: epoch %g after %g", k, e, epoch)
		} else {
			epoch = e
		}
		// Every value is one that this format prints, the next following the one before.
		indices := make([]int64, 0, len(s.values))
		for i := range s.values {
			indices = append(indices, i)
		}
		slices.Sort(indices)
		for j, i := range indices {
			v := float64(s.values[i])
			width := 500.0
			if k == 2 {
				width = 5
			}
			if !(v >= first-width && v < first+width) {
				t.Fatalf("format %d: sample %d is %g, of another format", k, i, v)
			}
			if j > 0 && indices[j-1] == i-1 {
				d := (v - float64(s.values[i-1])) / width * 500
				if d = d - 500*math.Floor(d/500); math.Abs(d-7) > 0.05 {
					t.Fatalf("format %d: sample %d is %g after %g", k, i, v, s.values[i-1])
				}
			}
		}
	}
}

// waitFor waits until the source has a status.
func (p *child) waitFor(status string, limit time.Duration) {
	p.t.Helper()
	var state struct{ Status, StatusText string }
	for deadline := time.Now().Add(limit); ; time.Sleep(20 * time.Millisecond) {
		if err := p.ask("GET", "/api/v1/state", "", &state); err == nil && state.Status == status {
			return
		} else if time.Now().After(deadline) {
			p.t.Fatalf("in %s the source is not %s: %v, %+v", limit, status, err, state)
		}
	}
}

// mute drops what the board prints.
func (b *bench) mute(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.muted = on
}

// openOnly opens the one recording of a folder.
func openOnly(t *testing.T, folder string) *recording.File {
	t.Helper()
	names, _ := filepath.Glob(filepath.Join(folder, "*.[eb]df"))
	if len(names) != 1 {
		t.Fatalf("recordings %v, want one", strings.Join(names, ", "))
	}
	f, err := recording.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}
