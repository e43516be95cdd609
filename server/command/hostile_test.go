//go:build linux

package command

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"
	"golang.org/x/sys/unix"

	"pulsewright/acquire/recording"
)

const (
	// hostileAnswer is by when every answer must be there whole.
	hostileAnswer = 20 * time.Second
	// hostileMemory is the most the program may ever have had in memory, as the kernel
	// counts it (VmHWM of /proc/PID/status).
	hostileMemory = 300e6
	hostileSeed   = 20261127
)

// hostileFiles of testdata are mutated, one of each kind that the library takes in; a
// record, a header with its signals beside it, is only replayed.
var hostileFiles = []string{"lamp_clip_a.edf", "lamp_clip_a.bdf", "lamp_clip_a.wav", "lamp_clip_a.csv"}

// absurd are numbers as a header or a cell may hold them.
var absurd = []string{"0", "-1", "1e308", "-1e308", "1e999", "5e-324", "NaN", "Inf", "99999999", "1760000000", "0.000001", "2147483648", "", "x", "1,5", "-0"}

// mutate damages a file as accidents and bad will do: bytes changed, pieces removed,
// doubled or moved, the end missing, and numbers replaced by absurd ones, in place (of
// one width, as headers of fixed fields need it) or not.
func mutate(r *rand.Rand, whole []byte) []byte {
	b := bytes.Clone(whole)
	for range 1 + r.IntN(4) {
		if len(b) < 8 {
			break
		}
		head := min(len(b), 1024) // most of what is read there says how the rest is read
		at := r.IntN(head)
		if r.IntN(3) == 0 {
			at = r.IntN(len(b))
		}
		n := min(1+r.IntN(64), len(b)-at)
		switch r.IntN(7) {
		case 0:
			b[at] = byte(r.Uint32())
		case 1:
			b[at] ^= 1 << r.IntN(8)
		case 2:
			b = append(b[:at], b[at+n:]...)
		case 3:
			b = append(b[:at:at], append(bytes.Clone(b[at:at+n]), b[at:]...)...)
		case 4:
			b = b[:at+n]
		default:
			b = replaceNumber(r, b, at)
		}
	}
	return b
}

// replaceNumber puts an absurd number in place of the first one from at on.
func replaceNumber(r *rand.Rand, b []byte, at int) []byte {
	digit := func(c byte) bool { return c >= '0' && c <= '9' || c == '-' || c == '.' }
	for at < len(b) && !digit(b[at]) {
		at++
	}
	end := at
	for end < len(b) && digit(b[end]) {
		end++
	}
	number := absurd[r.IntN(len(absurd))]
	if r.IntN(2) == 0 { // in the field's width: the number and the blanks behind it
		for end < len(b) && b[end] == ' ' {
			end++
		}
		number = fmt.Sprintf("%-*.*s", end-at, end-at, number)
	}
	return append(b[:at:at], append([]byte(number), b[end:]...)...)
}

// hostile is a running program that is given damaged files.
type hostile struct {
	*child
	client   *http.Client
	slowest  time.Duration
	slow     string
	answers  map[int]int
	replayed string // the file that is replayed
}

func newHostile(p *child) *hostile {
	return &hostile{child: p, client: &http.Client{Timeout: hostileAnswer}, answers: map[int]int{}}
}

// get sends a request, reads the answer whole and returns its status.
func (h *hostile) get(method, path string, body []byte) (int, []byte) {
	h.t.Helper()
	began := time.Now()
	r, err := http.NewRequest(method, h.address+path, bytes.NewReader(body))
	if err != nil {
		h.t.Fatal(err)
	}
	if method != "GET" {
		r.Header.Set("Content-Type", "application/json")
	}
	response, err := h.client.Do(r)
	if err != nil {
		h.t.Fatalf("%s %s: no answer within %s while %s is replayed%s: %v", method, path, hostileAnswer, h.replayed, setAside(h.replayed), err)
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil && !strings.Contains(path, "/file") { // a download that fails is cut off so that it does not look whole
		h.t.Errorf("%s %s: the answer is torn: %v", method, path, err)
	}
	if took := time.Since(began); took > h.slowest {
		h.slowest, h.slow = took, method+" "+path
	}
	h.answers[response.StatusCode]++
	if response.StatusCode == http.StatusInternalServerError {
		h.t.Errorf("%s %s: %d %s", method, path, response.StatusCode, data)
	}
	if response.StatusCode >= 400 && len(data) < 20 {
		h.t.Errorf("%s %s: %d without a sentence: %q", method, path, response.StatusCode, data)
	}
	return response.StatusCode, data
}

// peak is the most memory the program ever had.
func (h *hostile) peak() float64 {
	h.t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", h.cmd.Process.Pid))
	if err != nil {
		h.t.Fatalf("the program has ended: %v", err)
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	kB, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	if err != nil {
		h.t.Fatal(err)
	}
	return kB * 1024
}

// look reviews, analyses and gives out a recording.
func (h *hostile) look(id string) {
	at := "/api/v1/recordings/" + url.PathEscape(id)
	if status, _ := h.get("GET", at, nil); status != http.StatusOK {
		return
	}
	h.get("GET", at+"/view?from=0&to=9000000000000000000&columns=500", nil)
	h.get("GET", at+"/view?from=0&to=5000&columns=500&path=%7B%7D", nil)
	h.get("GET", at+"/beats?find=0", nil)
	h.get("GET", at+"/analysis?channel=0", nil)
	h.get("GET", at+"/variability?channel=0", nil)
	h.get("GET", at+"/file?as=edf", nil)
	h.get("GET", at+"/file?as=csv", nil)
}

// bring uploads a damaged file. id is "" when it was refused.
func (h *hostile) bring(name string, data []byte) (id string) {
	status, answer := h.get("POST", "/api/v1/recordings?name="+url.QueryEscape(name), data)
	if status != http.StatusOK {
		return ""
	}
	_, rest, _ := strings.Cut(string(answer), `"id":"`)
	id, _, _ = strings.Cut(rest, `"`)
	return id
}

// crowd lets n pages look on until ctx ends; each must be served until then.
func (h *hostile) crowd(ctx context.Context, n int) *sync.WaitGroup {
	var all sync.WaitGroup
	for range n {
		all.Go(func() {
			c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(h.address, "http")+"/api/v1/stream", nil)
			if err != nil {
				h.t.Errorf("a watcher was not let in: %v", err)
				return
			}
			defer c.CloseNow()
			c.SetReadLimit(64 << 20)
			for {
				if _, _, err := c.Read(ctx); err != nil {
					if ctx.Err() == nil {
						h.t.Errorf("a watcher was cut off: %v", err)
					}
					return
				}
			}
		})
	}
	return &all
}

// TestHostileWeek gives a program that records a board of 250 lines a second before 20
// watchers damaged files of every kind: brought in, listed, reviewed, analysed, given out;
// then, the recording done, replayed. The program never ends, no line is lost, its memory
// is bounded and every answer comes. A few files of each kind, or with
// PULSEWRIGHT_HOSTILE=2000 (make hostile) so many.
func TestHostileWeek(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no hostile files")
	}
	files := 15
	if text := os.Getenv("PULSEWRIGHT_HOSTILE"); text != "" {
		var err error
		if files, err = strconv.Atoi(text); err != nil || files < 1 {
			t.Fatalf("PULSEWRIGHT_HOSTILE=%s: give the number of files of each kind, such as 2000", text)
		}
	}
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	c := &crowd{t: t, start: time.Now()}
	plugged, unplug := context.WithCancel(ctx)
	go c.print(plugged, b)
	h := newHostile(runProgram(t, "-source", "serial:"+b.link+"?baud=115200&rate=250&names=pulse,counter&kind=pulse,other"))
	h.waitRunning()
	all := h.crowd(ctx, 20)
	if err := h.ask("POST", "/api/v1/recording", `{"name":"class"}`, nil); err != nil {
		t.Fatal(err)
	}
	replays := h.feed(files)
	if err := h.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatalf("the recording: %v", err)
	}
	unplug() // nobody reads it any more
	f := wholeRecording(t, h.folder)
	checkCounter(t, f)
	t.Logf("%d damaged files, %d to be replayed; %.1f s recorded; answers %v, the slowest %.1f s (%s); at most %.0f MB", files*(len(hostileFiles)+1), len(replays), float64(f.Len())/250, h.answers, h.slowest.Seconds(), h.slow, h.peak()/1e6)
	h.replay(replays)
	if peak := h.peak(); peak > hostileMemory {
		t.Errorf("the program had %.0f MB, want at most %.0f", peak/1e6, hostileMemory/1e6)
	}
	t.Logf("replayed %d; answers %v, the slowest %.1f s (%s); at most %.0f MB", len(replays), h.answers, h.slowest.Seconds(), h.slow, h.peak()/1e6)
	if said := h.said.String(); strings.Contains(said, "a fault of the program") || strings.Contains(said, "a handler failed") || strings.Contains(said, "a message is left out") {
		t.Error("a fault was caught; see what the program said")
	}
	cancel()
	all.Wait()
	h.end()
}

// feed brings files of each kind in, and returns where those that can be read stand,
// outside the library's folder, and the records, which are only replayed.
func (h *hostile) feed(files int) (kept []string) {
	r := rand.New(rand.NewPCG(hostileSeed, 0))
	aside := h.t.TempDir()
	keep := func(name string, data []byte) string {
		path := filepath.Join(aside, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			h.t.Fatal(err)
		}
		return path
	}
	for _, file := range hostileFiles {
		whole, err := os.ReadFile(filepath.Join(testdata, file))
		if err != nil {
			h.t.Fatal(err)
		}
		for n := range files {
			data := mutate(r, whole)
			if n%10 == 0 {
				h.get("GET", "/api/v1/recordings", nil)
			}
			id := h.bring(fmt.Sprintf("hostile %d%s", n, filepath.Ext(file)), data)
			if id == "" {
				continue
			}
			h.look(id)
			_ = os.Remove(filepath.Join(h.folder, id))
			kept = append(kept, keep(fmt.Sprintf("%d%s", n, filepath.Ext(file)), data))
		}
	}
	head, err1 := os.ReadFile(filepath.Join(testdata, "chest_lead_a.hea"))
	signal, err2 := os.ReadFile(filepath.Join(testdata, "chest_lead_a.dat"))
	if err := errors.Join(err1, err2); err != nil {
		h.t.Fatal(err)
	}
	for n := range files {
		head, signal := bytes.ReplaceAll(head, []byte("chest_lead_a"), fmt.Appendf(nil, "r%d", n)), signal
		if n%4 == 0 {
			signal = mutate(r, signal)
		} else {
			head = mutate(r, head)
		}
		keep(fmt.Sprintf("r%d.dat", n), signal)
		kept = append(kept, keep(fmt.Sprintf("r%d.hea", n), head))
	}
	return kept
}

// setAside keeps a file that did harm, where PULSEWRIGHT_HARM names a folder.
func setAside(path string) string {
	folder := os.Getenv("PULSEWRIGHT_HARM")
	data, err := os.ReadFile(path)
	if folder == "" || err != nil {
		return ""
	}
	path = filepath.Join(folder, filepath.Base(path))
	if os.WriteFile(path, data, 0o600) != nil {
		return ""
	}
	return " (kept as " + path + ")"
}

// replay plays files one after the other at a hundred times their speed, then a demo.
func (h *hostile) replay(files []string) {
	for _, f := range files {
		h.replayed = f
		body := fmt.Sprintf(`{"address":%q}`, "file:"+f+"?speed=100")
		if status, _ := h.get("PUT", "/api/v1/source", []byte(body)); status != http.StatusOK {
			continue
		}
		time.Sleep(30 * time.Millisecond)
		h.get("GET", "/api/v1/state", nil)
		h.get("GET", "/api/v1/channels/0/meters", nil)
		h.get("GET", "/api/v1/channels/0/spectrum", nil)
		h.get("GET", "/api/v1/channels/0/why", nil)
	}
	if status, answer := h.get("PUT", "/api/v1/source", []byte(`{"address":"demo:finger"}`)); status != http.StatusOK {
		h.t.Errorf("after all files the demo does not open: %s", answer)
	}
	h.waitRunning()
}

// mounted is a folder of its own of so many bytes, in memory.
func mounted(t *testing.T, bytes int) string {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("only root can mount a small disk")
	}
	folder := t.TempDir()
	if err := unix.Mount("tmpfs", folder, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		t.Skipf("no small disk can be mounted here: %v", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(folder, unix.MNT_DETACH) })
	return folder
}

// tries asks for what needs the disk or descriptors; each must be answered, by a sentence
// where it cannot be done.
func (h *hostile) tries(recordings bool) {
	whole, err := os.ReadFile(filepath.Join(testdata, "lamp_clip_a.edf"))
	if err != nil {
		h.t.Fatal(err)
	}
	h.get("POST", "/api/v1/recordings?name=more.edf", whole)
	h.get("POST", "/api/v1/keep", []byte(`{"minutes":1}`))
	h.get("GET", "/api/v1/recordings", nil)
	h.get("GET", "/api/v1/state", nil)
	if recordings {
		h.get("GET", "/api/v1/recordings/more.edf", nil)
		h.get("GET", "/api/v1/recordings/more.edf/file?as=edf", nil)
		h.get("POST", "/api/v1/recordings/more.edf/notes", []byte(`{"sample":1,"text":"a note"}`))
	}
}

// stays checks that the live view goes on.
func (h *hostile) stays() {
	h.t.Helper()
	var before, after struct{ LastIndex int64 }
	if err := h.ask("GET", "/api/v1/state", "", &before); err != nil {
		h.t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); after.LastIndex <= before.LastIndex; time.Sleep(20 * time.Millisecond) {
		if err := h.ask("GET", "/api/v1/state", "", &after); err != nil || time.Now().After(deadline) {
			h.t.Fatalf("the live view stands at %d: %v", after.LastIndex, err)
		}
	}
}

// TestHostileDisk: a full disk, and a folder that nothing can be written to, end a recording
// with a sentence, never the program; with room again the next recording works, and what was
// said of the one before is gone.
func TestHostileDisk(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no hostile disk")
	}
	folder := mounted(t, 256<<10)
	h := newHostile(runProgram(t, "-source", "demo:finger?rate=4000", "-data", folder))
	h.waitRunning()
	if err := h.ask("POST", "/api/v1/recording", `{"name":"full"}`, nil); err != nil {
		t.Fatal(err)
	}
	stone := filepath.Join(folder, "stone.bin")
	_ = os.WriteFile(stone, make([]byte, 1<<20), 0o600) // takes all the room there is
	var state struct{ Problem string }
	for deadline := time.Now().Add(20 * time.Second); !strings.Contains(state.Problem, "no space left"); time.Sleep(50 * time.Millisecond) {
		if err := h.ask("GET", "/api/v1/state", "", &state); err != nil || time.Now().After(deadline) {
			t.Fatalf("a full disk is told as %q, %v", state.Problem, err)
		}
	}
	h.tries(true)
	h.stays()
	if err := unix.Mount("", folder, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if status, answer := h.get("POST", "/api/v1/recording", []byte(`{"name":"read-only"}`)); status == http.StatusOK {
		t.Errorf("a recording began in a folder that is read-only: %s", answer)
	}
	h.tries(true)
	h.stays()
	if err := unix.Mount("", folder, "", unix.MS_REMOUNT, "size=4m"); err != nil {
		t.Fatal(err)
	}
	_ = os.Remove(stone)
	if err := h.ask("POST", "/api/v1/recording", `{"name":"again"}`, nil); err != nil {
		t.Fatal(err)
	}
	if err := h.ask("GET", "/api/v1/state", "", &state); err != nil || state.Problem != "" {
		t.Errorf("while a new recording runs the page says %q, %v", state.Problem, err)
	}
	if err := h.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Error(err)
	}
	h.end()
}

// problem waits until the page says so, or "" nothing.
func (h *hostile) problem(t *testing.T, words string) {
	t.Helper()
	said := "?"
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		status, data := h.get("GET", "/api/v1/state", nil)
		var state struct{ Problem string }
		if status != http.StatusOK || json.Unmarshal(data, &state) != nil {
			continue
		}
		if said = state.Problem; said == "" && words == "" || words != "" && strings.Contains(said, words) {
			return
		}
	}
	t.Errorf("the page says %q, want %q", said, words)
}

// TestHostileDescriptors: a program without a descriptor left records on; what needs one is
// refused by a sentence, and works again when there are some.
func TestHostileDescriptors(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no hostile descriptors")
	}
	h := newHostile(runProgram(t, "-source", "demo:finger"))
	h.waitRunning()
	if err := h.ask("POST", "/api/v1/recording", `{"name":"scarce"}`, nil); err != nil {
		t.Fatal(err)
	}
	h.get("GET", "/api/v1/state", nil) // keeps its connection
	var old unix.Rlimit
	if err := unix.Prlimit(h.cmd.Process.Pid, unix.RLIMIT_NOFILE, nil, &old); err != nil {
		t.Skipf("the limits of another process cannot be read here: %v", err)
	}
	if err := unix.Prlimit(h.cmd.Process.Pid, unix.RLIMIT_NOFILE, &unix.Rlimit{Cur: 1, Max: old.Max}, nil); err != nil {
		t.Fatal(err)
	}
	if status, answer := h.get("POST", "/api/v1/keep", []byte(`{"minutes":1}`)); status == http.StatusOK || !bytes.Contains(answer, []byte("too many open files")) {
		t.Errorf("without a descriptor a file was made: %d %s", status, answer)
	}
	h.tries(false)
	h.stays()
	h.problem(t, "no more files")
	if err := unix.Prlimit(h.cmd.Process.Pid, unix.RLIMIT_NOFILE, &old, nil); err != nil {
		t.Fatal(err)
	}
	h.tries(true)
	h.problem(t, "")
	if err := h.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Errorf("the recording: %v", err)
	}
	names, _ := filepath.Glob(filepath.Join(h.folder, "*scarce*.[eb]df"))
	if len(names) != 1 {
		t.Fatalf("recordings %v, want one", names)
	}
	f, err := recording.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if gaps := f.Gaps(); len(gaps) > 0 || f.Len() == 0 {
		t.Errorf("%d samples, gaps %v", f.Len(), gaps)
	}
	h.end()
}

// TestHostileReaders: twenty clients that ask for all of a full history and take it by drops cost the
// program little memory beside the history itself, and the recording under way no sample.
func TestHostileReaders(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no hostile readers")
	}
	h := newHostile(runProgram(t, "-source", "demo:both?rate=1000&speed=100"))
	h.waitRunning()
	var state struct{ LastIndex int64 }
	for end := time.Now().Add(60 * time.Second); state.LastIndex < 620_000; time.Sleep(100 * time.Millisecond) { // ten minutes are kept
		if err := h.ask("GET", "/api/v1/state", "", &state); err != nil || time.Now().After(end) {
			t.Fatalf("at %d: %v", state.LastIndex, err)
		}
	}
	before := h.peak()
	if err := h.ask("POST", "/api/v1/recording", `{"name":"read"}`, nil); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	stop := time.Now().Add(4 * time.Second)
	read := make([]int, 20)
	for i := range read {
		c, err := net.Dial("tcp", strings.TrimPrefix(h.address, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		_ = c.(*net.TCPConn).SetReadBuffer(4096)
		_ = c.SetDeadline(stop.Add(10 * time.Second))
		fmt.Fprintf(c, "GET /api/v1/history?from=0&to=%d HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", state.LastIndex)
		wg.Go(func() {
			for piece := make([]byte, 1000); time.Now().Before(stop); time.Sleep(50 * time.Millisecond) {
				n, err := c.Read(piece)
				if read[i] += n; err != nil {
					return
				}
			}
		})
	}
	wg.Wait()
	for i, n := range read {
		if n < 10_000 {
			t.Errorf("reader %d got %d bytes", i, n)
		}
	}
	// Each has a buffer of the line and a piece of the history, no copy of it.
	if cost := h.peak() - before; cost > 60e6 || h.peak() > hostileMemory {
		t.Errorf("twenty slow readers cost %.0f MB; the program had %.0f at most", cost/1e6, h.peak()/1e6)
	}
	t.Logf("%.0f MB before, at most %.0f MB with twenty readers", before/1e6, h.peak()/1e6)
	if err := h.ask("DELETE", "/api/v1/recording", "", nil); err != nil {
		t.Fatal(err)
	}
	if f := wholeRecording(t, h.folder); len(f.Gaps()) > 0 || float64(f.Len()) < 100_000 {
		t.Errorf("%d samples, gaps %v", f.Len(), f.Gaps())
	}
	h.end()
}
