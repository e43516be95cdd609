//go:build !windows

package command

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/simulate"
)

// printedSignal is a simulated finger as a board prints it, a minute at 250 Hz, and
// its counts.
func printedSignal(t *testing.T, seconds int) (text string, counts []int32) {
	t.Helper()
	g, err := simulate.New(steady(66))
	if err != nil {
		t.Fatal(err)
	}
	block := make([][]int32, len(g.Channels()))
	for i := range block {
		block[i] = make([]int32, 250*seconds)
	}
	g.Next(block)
	var b strings.Builder
	for _, c := range block[0] {
		fmt.Fprintf(&b, "pulse:%d\n", c)
	}
	return b.String(), block[0]
}

func streamed(t *testing.T, o streamFlags) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 40*time.Second)
	defer cancel()
	o.data, o.warn = t.TempDir(), io.Discard
	var out, said bytes.Buffer
	if err := streamTo(ctx, o, &out, slog.New(slog.NewTextHandler(&said, nil))); err != nil {
		t.Fatalf("%v\n%s", err, said.String())
	}
	if ctx.Err() != nil {
		t.Fatal("the stream did not end with its source")
	}
	return out.String()
}

// Every count of standard input comes out, in its place, whatever the pace.
func TestStreamTable(t *testing.T) {
	text, counts := printedSignal(t, 240)
	out := streamed(t, streamFlags{source: "-?rate=250&exact=1", points: []int{0, 3}, stdin: strings.NewReader(text)})
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(rows[0], ","); got != "sample,time_s,pulse scale [counts],pulse smooth [counts]" {
		t.Errorf("header %s", got)
	}
	rows = rows[1:]
	if len(rows) < len(counts)-1 {
		t.Fatalf("%d rows of %d samples", len(rows), len(counts))
	}
	counts = counts[len(counts)-len(rows):] // the first line may have been torn
	for i, row := range rows {
		if row[0] != strconv.Itoa(i) || row[1] != strconv.FormatFloat(float64(i)/250, 'f', 6, 64) || row[2] != strconv.Itoa(int(counts[i])) || row[3] == "" {
			t.Fatalf("row %d is %v, the count was %d", i, row, counts[i])
		}
	}
}

// Beats and rates come as lines of JSON and as a table.
func TestStreamBeats(t *testing.T) {
	text, _ := printedSignal(t, 60)
	o := streamFlags{source: "-?rate=250&exact=1&kind=pulse", points: []int{0}, beats: true, stdin: strings.NewReader(text)}
	rows, err := csv.NewReader(strings.NewReader(streamed(t, o))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 55 || len(rows) > 68 {
		t.Errorf("%d rows of beats in a minute of 66 bpm", len(rows))
	}
	// A kind said on the command line holds from the first sample on.
	said := o
	said.source, said.kind, said.stdin = "-?rate=250&exact=1&kind=ecg", "pulse", strings.NewReader(text)
	if again, err := csv.NewReader(strings.NewReader(streamed(t, said))).ReadAll(); err != nil || !reflect.DeepEqual(again, rows) {
		t.Errorf("with -kind pulse %d rows of beats, %v, not the %d of kind=pulse", len(again), err, len(rows))
	}
	if last := rows[len(rows)-1]; last[6] != "reading" || !near(last[7], 66) {
		t.Errorf("last row %v", last)
	}
	o.json, o.stdin = true, strings.NewReader(text)
	kinds, rate := map[string]int{}, 0.0
	for line := range strings.Lines(streamed(t, o)) {
		var m struct {
			Type    string
			RateBpm float64
		}
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		kinds[m.Type]++
		if m.RateBpm > 0 {
			rate = m.RateBpm
		}
	}
	if kinds["source"] != 1 || kinds["beat"] != len(rows)-1 || kinds["samples"] != 0 || kinds["reading"] == 0 || rate < 65 || rate > 67 {
		t.Errorf("lines %v, the last rate %g", kinds, rate)
	}
}

// A recording played at any pace says the beats that "beats" lists, the last ones too, and at the
// end of each second the rate that "rate" lists.
func TestStreamIsItsRecording(t *testing.T) {
	path, err := filepath.Abs(filepath.Join("..", "..", "testdata", "lamp_clip_a.edf"))
	if err != nil {
		t.Fatal(err)
	}
	t.Run("a recording", func(t *testing.T) { streamIsItsRecording(t, path) })
	// With gaps in which, and at the end of which, a second of signal ends.
	table := filepath.Join(t.TempDir(), "gaps.csv")
	if status, _, said := call("convert", path, table); status != 0 {
		t.Fatal(said)
	}
	text, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	var kept []string
	for line := range strings.Lines(string(text)) {
		at, err := strconv.ParseFloat(strings.SplitN(line, ",", 2)[0], 64)
		if err != nil || math.Mod(at, 7) < 6.6 && math.Mod(at, 7) > 0.1 || at < 0.1 {
			kept = append(kept, line)
		}
	}
	if err := os.WriteFile(table, []byte(strings.Join(kept, "")), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Run("a recording with gaps", func(t *testing.T) { streamIsItsRecording(t, table) })
}

func streamIsItsRecording(t *testing.T, path string) {
	table := func(name string) [][]string {
		status, out, said := call(name, path)
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if status != 0 || err != nil {
			t.Fatalf("%s: status %d, %v: %s", name, status, err, said)
		}
		return rows[1:]
	}
	beats, rates := table("beats"), table("rate")
	for _, speed := range []int{7, 50} {
		var heard, told [][]string
		out := streamed(t, streamFlags{source: fmt.Sprintf("file:%s?speed=%d", path, speed), points: []int{0}, json: true, beats: true})
		for line := range strings.Lines(out) {
			var m struct {
				Type, State, Reason                  string
				Sample                               int64
				Seconds, Amplitude, Quality, RateBPM float64
			}
			if err := json.Unmarshal([]byte(line), &m); err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			n := strconv.Itoa(int(m.Seconds))
			switch {
			case m.Type == "beat":
				heard = append(heard, []string{strconv.FormatInt(m.Sample, 10), strconv.FormatFloat(m.Amplitude, 'g', 6, 64)})
			case m.Type == "reading" && m.Seconds == math.Trunc(m.Seconds) && (len(told) == 0 || told[len(told)-1][0] != n):
				told = append(told, []string{n, m.State, strconv.FormatFloat(m.RateBPM, 'f', 1, 64), strconv.FormatFloat(m.Quality, 'f', 3, 64), m.Reason})
			}
		}
		if !reflect.DeepEqual(told, rates) {
			t.Errorf("at %d times the pace %d readings, of the recording %d: %v, %v", speed, len(told), len(rates), told, rates)
		}
		for i, row := range beats {
			if len(heard) != len(beats) || heard[i][0] != row[0] || heard[i][1] != row[3] {
				t.Fatalf("at %d times the pace %d beats, of the recording %d; beat %d is %v, %v", speed, len(heard), len(beats), i, heard[min(i, len(heard)-1)], row)
			}
		}
	}
}

func near(text string, want float64) bool {
	x, err := strconv.ParseFloat(text, 64)
	return err == nil && x > want-1 && x < want+1
}

func TestStreamMisused(t *testing.T) {
	for _, args := range [][]string{{"-points", "x"}, {"-points", "scale,scale"}, {"-json", "-csv"}, {"-kind", "cat"}, {"-seconds", "-1"}, {"walk.edf"}} {
		if err := streamLive(context.Background(), args, &bytes.Buffer{}, &bytes.Buffer{}); !errors.Is(err, errMisused) {
			t.Errorf("%v: %v", args, err)
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	var bad *acquire.AddressError
	if err := streamLive(ctx, []string{"-source", "nothing:x", "-data", t.TempDir()}, &bytes.Buffer{}, &bytes.Buffer{}); !errors.As(err, &bad) {
		t.Errorf("an unknown source: %v", err)
	}
}

// What ends before its rate is known says so.
func TestStreamTooShort(t *testing.T) {
	var lines strings.Builder
	lines.WriteString("t_us,ecg\n")
	for i := range 1000 {
		fmt.Fprintf(&lines, "%d,%d\n", 4*i, 512+i%9)
	}
	var out bytes.Buffer
	o := streamFlags{source: "-", data: t.TempDir(), points: []int{0}, stdin: strings.NewReader(lines.String()), warn: io.Discard}
	if err := streamTo(t.Context(), o, &out, slog.New(slog.DiscardHandler)); err == nil || !strings.Contains(err.Error(), "sample rate") || out.Len() > 0 {
		t.Errorf("error %v, printed %q", err, out.String())
	}
}

func builtProgram(t *testing.T) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "pulsewright")
	if out, err := exec.Command("go", "build", "-o", binary, "pulsewright").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return binary
}

// The true program into a true head, into Python, and interrupted.
func TestStreamIntoPrograms(t *testing.T) {
	binary := builtProgram(t)
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	run := func(format string, args ...any) string {
		t.Helper()
		c := exec.CommandContext(ctx, "bash", "-c", "set -o pipefail; "+fmt.Sprintf(format, args...))
		var said bytes.Buffer
		c.Stderr = &said
		out, err := c.Output()
		if err != nil || said.Len() > 0 {
			t.Errorf("%s: %v, said %q", c.Args[2], err, said.String())
		}
		return string(out)
	}
	if _, err := exec.LookPath("bash"); err != nil {
		acquiretest.Missing(t, "bash")
	}
	folder := t.TempDir()
	if out := run("%s stream -data %s | head -3", binary, folder); strings.Count(out, "\n") != 3 || !strings.HasPrefix(out, "sample,time_s,") {
		t.Errorf("head got %q", out)
	}
	t.Run("interrupt", func(t *testing.T) {
		c := exec.CommandContext(ctx, binary, "stream", "-data", folder, "-points", "scale")
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		r, last := bufio.NewReader(out), ""
		for n := 0; ; n++ {
			line, err := r.ReadString('\n')
			if err != nil {
				if line != "" {
					t.Errorf("ends within a line: %q", line)
				}
				break
			}
			if last = line; n == 300 {
				_ = c.Process.Signal(os.Interrupt)
			}
		}
		if err := c.Wait(); err != nil || strings.Count(last, ",") != 2 {
			t.Errorf("interrupted: %v, last line %q", err, last)
		}
	})
	t.Run("README's script", func(t *testing.T) {
		python, err := exec.LookPath("python3")
		if err != nil {
			acquiretest.Missing(t, "python3")
		}
		readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
		if err != nil {
			t.Fatal(err)
		}
		found := regexp.MustCompile("(?s)```python\n(.*?)```").FindSubmatch(readme)
		if found == nil {
			t.Fatal("README.md has no Python script")
		}
		if n := bytes.Count(found[1], []byte("\n")); n > 20 {
			t.Errorf("the script has %d lines, more than twenty", n)
		}
		script := filepath.Join(folder, "watch.py")
		if err := os.WriteFile(script, found[1], 0o600); err != nil {
			t.Fatal(err)
		}
		out := run("%s stream -data %s -json -seconds 9 | %s %s", binary, folder, python, script)
		if !regexp.MustCompile(`(?m)^pulse: [67]\d bpm, swing [0-9.]+ V$`).MatchString(out) {
			t.Errorf("the script printed\n%s", out)
		}
	})
}

// A reader that goes away is no error.
func TestStreamClosedPipe(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		done <- streamTo(ctx, streamFlags{source: "demo:finger", points: []int{0}, data: t.TempDir(), warn: io.Discard}, w, slog.New(slog.DiscardHandler))
	}()
	if _, err := bufio.NewReader(r).ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	r.Close()
	if err := <-done; err != nil || ctx.Err() != nil {
		t.Errorf("after the pipe was closed: %v", err)
	}
}
