//go:build linux

package command

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
	"golang.org/x/sys/unix"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
)

// soakTime is how long a soak lasts: a few seconds, or what PULSEWRIGHT_SOAK says
// (see make soak).
func soakTime(t *testing.T, short time.Duration) time.Duration {
	t.Helper()
	text := os.Getenv("PULSEWRIGHT_SOAK")
	if text == "" {
		return short
	}
	long, err := time.ParseDuration(text)
	if err != nil {
		t.Fatalf("PULSEWRIGHT_SOAK=%s: give a duration such as 1h: %v", text, err)
	}
	return long
}

// child is the program in a process of its own.
type child struct {
	t       *testing.T
	cmd     *exec.Cmd
	said    *lockedBuffer
	address string
	folder  string
}

// runProgram builds the program and runs it with a data folder of its own.
func runProgram(t *testing.T, args ...string) *child {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "pulsewright")
	if out, err := exec.Command("go", "build", "-o", binary, "pulsewright").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	p := &child{t: t, said: &lockedBuffer{}, folder: t.TempDir()}
	p.cmd = exec.Command(binary, append([]string{"serve", "-listen", "127.0.0.1:0", "-data", p.folder}, args...)...)
	p.cmd.Stderr = p.said
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if p.cmd.ProcessState == nil {
			_ = p.cmd.Process.Kill()
			_ = p.cmd.Wait()
		}
		if t.Failed() {
			t.Log("the program said:\n" + p.said.String())
		}
	})
	lines := bufio.NewReader(out)
	first, err := lines.ReadString('\n')
	if err != nil {
		t.Fatalf("the program printed no address: %v\n%s", err, p.said)
	}
	go func() { _, _ = io.Copy(io.Discard, lines) }()
	_, rest, _ := strings.Cut(first, "http://")
	host, _, _ := strings.Cut(rest, "/")
	p.address = "http://" + host
	return p
}

// end asks the program to stop and waits for it.
func (p *child) end() {
	p.t.Helper()
	_ = p.cmd.Process.Signal(unix.SIGTERM)
	ended := make(chan error, 1)
	go func() { ended <- p.cmd.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			p.t.Errorf("the program ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		_ = p.cmd.Process.Kill()
		<-ended
		p.t.Error("the program did not end within 20 s of SIGTERM")
	}
}

// ask sends a request and reads its JSON answer into v.
func (p *child) ask(method, path, body string, v any) error {
	r, err := http.NewRequest(method, p.address+path, strings.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/json")
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		return err
	}
	if response.StatusCode != 200 {
		return fmt.Errorf("%s %s: %d %s", method, path, response.StatusCode, data)
	}
	if v == nil {
		return nil
	}
	return json.Unmarshal(data, v)
}

// waitRunning waits until samples flow.
func (p *child) waitRunning() {
	p.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		var state struct {
			Status, StatusText string
			LastIndex          int64
		}
		if err := p.ask("GET", "/api/v1/state", "", &state); err == nil && state.Status == "running" && state.LastIndex > 0 {
			return
		} else if time.Now().After(deadline) {
			p.t.Fatalf("no samples in 30 s: %v, %+v", err, state)
		}
	}
}

// metrics reads /metrics: every plain sample by its name.
func (p *child) metrics() map[string]float64 {
	p.t.Helper()
	response, err := http.Get(p.address + "/metrics")
	if err != nil {
		p.t.Fatal(err)
	}
	defer response.Body.Close()
	values := map[string]float64{}
	lines := bufio.NewScanner(response.Body)
	for lines.Scan() {
		name, number, ok := strings.Cut(lines.Text(), " ")
		if x, err := strconv.ParseFloat(number, 64); ok && err == nil && name != "#" {
			values[name] = x
		}
	}
	return values
}

// watchAll reads everything the stream sends, until ctx ends.
func (p *child) watchAll(ctx context.Context) error {
	c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(p.address, "http")+"/api/v1/stream", nil)
	if err != nil {
		return err
	}
	defer c.CloseNow()
	c.SetReadLimit(64 << 20)
	for {
		if _, _, err := c.Read(ctx); err != nil {
			return err
		}
	}
}

// beatBytes is what a beat in the session's list costs, half of it room that the
// garbage collector leaves.
const beatBytes = 2 * 48

// watchFlat looks at the program's memory, goroutines and files while it runs,
// about 120 times, and fails when they grow. What the program keeps by design is
// given settle to fill up (ten minutes of samples) or allowed for (the list of beats).
func (p *child) watchFlat(long, settle time.Duration) {
	p.t.Helper()
	var resident, goroutines, files, beats []float64
	start := time.Now()
	every := min(30*time.Second, max(long/120, time.Second/4))
	for time.Since(start) < long {
		time.Sleep(every)
		m := p.metrics()
		at := time.Since(start)
		p.t.Logf("%7.0f s  %6.1f MB resident  %6.1f MB heap in use  %3.0f goroutines  %3.0f files  %6.1f s processor  %11.0f samples  %.0f gaps  %.0f dropped frames", at.Seconds(),
			m["process_resident_memory_bytes"]/1e6, m["go_memstats_heap_inuse_bytes"]/1e6, m["go_goroutines"], m["process_open_fds"], m["process_cpu_seconds_total"],
			m["pulsewright_samples_total"], m["pulsewright_gaps_total"], m["pulsewright_dropped_frames_total"])
		if at > settle {
			resident = append(resident, m["process_resident_memory_bytes"])
			goroutines = append(goroutines, m["go_goroutines"])
			files = append(files, m["process_open_fds"])
			beats = append(beats, m["pulsewright_beats_total"])
		}
	}
	if long < 10*time.Minute {
		return // nothing has settled yet
	}
	quarter := len(resident) / 4
	kept := beatBytes * (median(beats[len(beats)-quarter:]) - median(beats[:quarter]))
	for _, x := range []struct {
		name   string
		values []float64
		slack  float64
	}{{"resident bytes", resident, kept + 0.1*median(resident[:quarter])}, {"goroutines", goroutines, 2}, {"open files", files, 2}} {
		early, late := median(x.values[:quarter]), median(x.values[len(x.values)-quarter:])
		p.t.Logf("%s: median %.0f in the first quarter, %.0f in the last", x.name, early, late)
		if late > early+x.slack {
			p.t.Errorf("%s grew from %.0f to %.0f", x.name, early, late)
		}
	}
}

func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	return x[len(x)/2]
}

// wholeRecording opens the one recording of a folder, which must have no gap.
func wholeRecording(t *testing.T, folder string) *recording.File {
	t.Helper()
	f := openOnly(t, folder)
	if gaps := f.Gaps(); len(gaps) > 0 {
		t.Errorf("the recording has gaps: %v", gaps)
	}
	return f
}

// counterEnd is where the soaking board's counter begins anew.
const counterEnd = 30_000

// printForever prints a pulse and a counter, 1000 lines a second, never skipping
// one; it returns how many it printed.
func printForever(ctx context.Context, b *bench) int64 {
	c := steady(66)
	c.RateHz = 1000
	g, err := simulate.New(c)
	if err != nil {
		b.t.Error(err)
		return 0
	}
	counts := [][]int32{make([]int32, 1)}
	var lines bytes.Buffer
	start := time.Now()
	n := int64(0)
	for ctx.Err() == nil {
		lines.Reset()
		for due := time.Since(start).Milliseconds(); n < due && lines.Len() < 1000; n++ {
			g.Next(counts)
			fmt.Fprintf(&lines, "%d,%d\n", counts[0][0], n%counterEnd)
		}
		if lines.Len() > 0 {
			b.write(lines.Bytes())
		}
		if time.Since(start).Milliseconds() <= n {
			time.Sleep(4 * time.Millisecond)
		}
	}
	return n
}

// TestSoakBoard runs the program on a board of 1000 lines a second, recording, with
// a page open: an hour by make soak, else some seconds. Memory, goroutines and
// files stay flat, and the recording has every line the board printed.
func TestSoakBoard(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no soak")
	}
	long := soakTime(t, 3*time.Second)
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	go printForever(ctx, b)
	p := runProgram(t, "-source", "serial:"+b.link+"?baud=115200&rate=1000&names=pulse,counter&kind=pulse,other")
	p.waitRunning()
	if err := p.ask("POST", "/api/v1/recording", `{"name":"soak"}`, nil); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	page := make(chan error, 1)
	go func() { page <- p.watchAll(ctx) }()
	p.watchFlat(long, 12*time.Minute)
	if err := p.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatal(err)
	}
	recorded := time.Since(began)
	cancel()
	<-page
	p.end()

	f := wholeRecording(t, p.folder)
	// What is asked to stop waits for late beats, at most 2.5 s; its samples end when it was asked.
	if seconds := float64(f.Len()) / 1000; seconds > recorded.Seconds()+0.5 || seconds < recorded.Seconds()-3 {
		t.Errorf("%.2f s recorded in %.2f s", seconds, recorded.Seconds())
	}
	checkCounter(t, f)
	checkBeats(t, f, 66)
	t.Logf("%d samples recorded, each line of the board in its place", f.Len())
}

// checkCounter looks that the second channel counts on from sample to sample.
func checkCounter(t *testing.T, f *recording.File) {
	t.Helper()
	want := int32(-1)
	buffer := [][]int32{make([]int32, 10_000), make([]int32, 10_000)}
	for at := int64(0); at < f.Len(); {
		n, err := f.ReadAt(buffer, at)
		if err != nil && err != io.EOF || n == 0 {
			t.Fatalf("reading at %d: %v", at, err)
		}
		for i, v := range buffer[1][:n] {
			if want >= 0 && v != want {
				t.Fatalf("sample %d holds line %d, want %d", at+int64(i), v, want)
			}
			want = (v + 1) % counterEnd
		}
		at += int64(n)
	}
}

// checkBeats compares the beats in a recording with a steady heart's.
func checkBeats(t *testing.T, f *recording.File, bpm float64) {
	t.Helper()
	beats := 0
	for _, a := range f.Annotations() {
		if _, _, channel, ok := recording.ParseBeat(a.Text); ok && channel <= 0 { // −1: the only channel
			beats++
		}
	}
	expected := bpm / 60 * float64(f.Len()) / f.Describe().ClaimedRateHz
	t.Logf("%d beats in the recording, a heart of %g bpm made %.0f", beats, bpm, expected)
	if math.Abs(float64(beats)-expected) > 12+expected/1000 {
		t.Errorf("%d beats in the recording, want %.0f", beats, expected)
	}
}

// TestSoakDay replays a simulated day a hundred times faster, recording: a day in
// a quarter of an hour by make soak, else some minutes in seconds.
func TestSoakDay(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no soak")
	}
	hours := 0.1
	if os.Getenv("PULSEWRIGHT_SOAK") != "" {
		hours = 24
	}
	long := time.Duration(hours * 3600 / 100 * 1e9)
	p := runProgram(t, "-source", "demo:finger?speed=100&bpm=66&variation=0&motion=0")
	p.waitRunning()
	if err := p.ask("POST", "/api/v1/recording", `{"name":"day"}`, nil); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	page := make(chan error, 1)
	go func() { page <- p.watchAll(ctx) }()
	p.watchFlat(long, long/4)
	if err := p.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatal(err)
	}
	cancel()
	<-page
	p.end()
	f := wholeRecording(t, p.folder)
	got := float64(f.Len()) / f.Describe().ClaimedRateHz / 3600
	t.Logf("%.2f simulated hours recorded", got)
	if got < 0.8*hours {
		t.Errorf("%.2f simulated hours recorded, want about %.2f", got, hours)
	}
	checkBeats(t, f, 66)
}
