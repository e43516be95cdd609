//go:build linux

package command

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/recording"
)

const (
	// killsAtOnce programs run beside each other.
	killsAtOnce = 10
	// writing is left to the program for what it has just taken in: a second is a
	// record, and the recorder may be busy with the one before.
	writing = 100 * time.Millisecond
)

// place is what two channels hold at sample i, so that a sample tells where it is from.
func place(i int64) (int32, int32) { return int32(i % 30_000), int32(i / 30_000) }

// TestProgramKilledWhileRecording: the program itself, recording two channels at
// 1 kHz, is killed with SIGKILL at a random moment. Every file opens, what is in it is
// the source sample for sample, at most one second of what the program had taken
// in is missing, and each note that was made more than a second before is there. After the
// program was started again libedf 1.23 opens the file as it lies on the disk.
// PULSEWRIGHT_KILLS sets how often; 20 is usual.
func TestProgramKilledWhileRecording(t *testing.T) {
	kills := 20
	if n, err := strconv.Atoi(os.Getenv("PULSEWRIGHT_KILLS")); err == nil {
		kills = n
	}
	folder := t.TempDir()
	source := filepath.Join(folder, "source.edf")
	channel := acquire.Channel{Label: "low", Unit: "V", VoltsPerCount: 0.001, MinCount: 0, MaxCount: 30_000}
	other := channel
	other.Label = "high"
	w, err := recording.Create(source, recording.Header{Info: acquire.Info{ClaimedRateHz: 1000, Channels: []acquire.Channel{channel, other}}, NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	counts := [][]int32{make([]int32, 1000), make([]int32, 1000)}
	for at := int64(0); at < 120_000; at += 1000 {
		for i := range counts[0] {
			counts[0][i], counts[1][i] = place(at + int64(i))
		}
		if err := w.Write(counts, at); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	binary := filepath.Join(folder, "pulsewright")
	if out, err := exec.Command("go", "build", "-o", binary, "pulsewright").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	var wg sync.WaitGroup
	slots := make(chan struct{}, killsAtOnce)
	var mu sync.Mutex
	var most float64
	for k := range kills {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			lost, err := recordAndKill(binary, source, filepath.Join(folder, fmt.Sprint(k)), time.Duration(rand.Int64N(int64(3500*time.Millisecond))))
			if err != nil {
				t.Errorf("run %d: %v", k, err)
			}
			mu.Lock()
			most = max(most, lost)
			mu.Unlock()
		})
	}
	wg.Wait()
	t.Run("libedf", func(t *testing.T) { openOutside(t, folder) })
	t.Logf("%d kills, at most %.3f s lost", kills, most)
}

// recordAndKill runs the program, records for some time, kills it and looks at what is
// left; it tells how many seconds are missing at the end.
func recordAndKill(binary, source, folder string, after time.Duration) (lost float64, err error) {
	cmd := exec.Command(binary, "serve", "-listen", "127.0.0.1:0", "-data", folder, "-source", "file:"+source)
	out, err := cmd.StdoutPipe()
	if err != nil {
		return 0, err
	}
	if err := cmd.Start(); err != nil {
		return 0, err
	}
	killed := false
	defer func() {
		if !killed {
			_ = cmd.Process.Signal(unix.SIGKILL)
			_ = cmd.Wait()
		}
	}()
	first, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return 0, fmt.Errorf("no address: %w", err)
	}
	_, rest, _ := strings.Cut(first, "http://")
	host, _, _ := strings.Cut(rest, "/")
	address := "http://" + host + "/api/v1"
	var body []byte
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(30 * time.Millisecond) {
		answer, err := http.Post(address+"/recording", "application/json", strings.NewReader(`{"name":"killed"}`))
		if err == nil {
			body, _ = io.ReadAll(answer.Body)
			answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				break
			}
		}
		if time.Now().After(deadline) {
			return 0, fmt.Errorf("it does not record: %v %s", err, body)
		}
	}
	var begun struct{ ID string }
	if err := json.Unmarshal(body, &begun); err != nil {
		return 0, err
	}
	var notes []madeNote
	for begun := time.Now(); ; {
		made := madeNote{fmt.Sprintf("note %d of the evening class", len(notes)), time.Now()}
		if err := postNote(address, made.text); err != nil {
			return 0, err
		}
		notes = append(notes, made)
		rest := after - time.Since(begun)
		time.Sleep(min(rest, time.Second))
		if rest <= time.Second {
			break
		}
	}
	answer, err := http.Get(address + "/state")
	if err != nil {
		return 0, err
	}
	var state struct {
		LastIndex  int64
		Decimation int64
	}
	err = json.NewDecoder(answer.Body).Decode(&state)
	answer.Body.Close()
	if err != nil || state.Decimation != 1 {
		return 0, fmt.Errorf("state %+v: %v", state, err)
	}
	time.Sleep(writing)
	killed = true
	killedAt := time.Now()
	if err := cmd.Process.Signal(unix.SIGKILL); err != nil {
		return 0, err
	}
	_ = cmd.Wait()

	if err := startAgain(binary, folder); err != nil {
		return 0, err
	}
	f, err := recording.Open(filepath.Join(folder, begun.ID))
	if err != nil {
		return 0, fmt.Errorf("after %v it cannot be opened: %w", after, err)
	}
	defer f.Close()
	if f.Unclosed() {
		return 0, errors.New("the program started again did not close it")
	}
	found := map[string]bool{}
	for _, a := range f.Annotations() {
		found[a.Text] = true
		if recording.IsNote(a.Text) && !strings.HasPrefix(a.Text, "note ") {
			return 0, fmt.Errorf("a note that nobody made: %q", a.Text)
		}
	}
	for _, n := range notes {
		if !found[n.text] && killedAt.Sub(n.at) > time.Second {
			return 0, fmt.Errorf("%q, made %v before the end, is lost", n.text, killedAt.Sub(n.at))
		}
	}
	if f.Len() == 0 {
		// The first second was not full yet.
		if after > 2*time.Second {
			return 0, fmt.Errorf("after %v it is empty", after)
		}
		return min(after.Seconds(), 1), nil
	}
	got := [][]int32{make([]int32, f.Len()), make([]int32, f.Len())}
	if _, err := f.ReadAt(got, 0); err != nil {
		return 0, err
	}
	start := int64(got[1][0])*30_000 + int64(got[0][0])
	for i := range got[0] {
		if a, b := place(start + int64(i)); got[0][i] != a || got[1][i] != b {
			return 0, fmt.Errorf("sample %d of the file is (%d, %d), the source has (%d, %d)", i, got[0][i], got[1][i], a, b)
		}
	}
	lost = float64(state.LastIndex-(start+f.Len())) / 1000
	if lost > 1 {
		return lost, fmt.Errorf("killed after %v at source sample %d the file ends at %d: %.3f s are lost", after, state.LastIndex, start+f.Len(), lost)
	}
	return lost, nil
}

// madeNote is a note that the program took at a time.
type madeNote struct {
	text string
	at   time.Time
}

func postNote(address, text string) error {
	answer, err := http.Post(address+"/notes", "application/json", strings.NewReader(fmt.Sprintf(`{"text":%q}`, text)))
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(answer.Body)
		return fmt.Errorf("a note is answered %d: %s", answer.StatusCode, body)
	}
	return nil
}

// startAgain starts the program on the folder until it has seen what lies there.
func startAgain(binary, folder string) error {
	cmd := exec.Command(binary, "serve", "-listen", "127.0.0.1:0", "-data", folder)
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	defer func() {
		_ = cmd.Process.Signal(unix.SIGTERM)
		_ = cmd.Wait()
	}()
	first, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return fmt.Errorf("started again it gives no address: %w", err)
	}
	_, rest, _ := strings.Cut(first, "http://")
	host, _, _ := strings.Cut(rest, "/")
	answer, err := http.Get("http://" + host + "/api/v1/recordings")
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("started again it lists nothing: %s", answer.Status)
	}
	return nil
}

// openOutside lets libedf read all files that the killed programs left.
func openOutside(t *testing.T, folder string) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		acquiretest.Missing(t, "the program cc")
	}
	dump := filepath.Join(folder, "dump")
	if out, err := exec.Command(cc, "-O1", "-o", dump, filepath.Join("..", "..", "acquire", "recording", "testdata", "dump.c"), "-ledf").CombinedOutput(); err != nil {
		if strings.Contains(string(out), "edflib.h") || strings.Contains(string(out), "-ledf") {
			acquiretest.Missing(t, "libedf (Debian: libedf-dev)")
		}
		t.Fatalf("%v\n%s", err, out)
	}
	files, err := filepath.Glob(filepath.Join(folder, "*", "*.?df"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, f := range files {
		if out, err := exec.Command(dump, f).CombinedOutput(); err != nil {
			t.Errorf("libedf cannot open %s: %v\n%s", filepath.Base(f), err, out)
		}
	}
}
