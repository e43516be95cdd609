//go:build !windows

package command

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulsewright/server/analysis"
)

// asks sends a request below /api/v1 and reads the answer into out unless that is nil.
func asks(t *testing.T, method, address, body string, out any) []byte {
	t.Helper()
	r, err := http.NewRequest(method, address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	data, err := io.ReadAll(a.Body)
	if err != nil || a.StatusCode != http.StatusOK {
		t.Fatalf("%s %s: %d %s %v", method, address, a.StatusCode, data, err)
	}
	if out != nil {
		if err := json.Unmarshal(data, out); err != nil {
			t.Fatalf("%s: %v", data, err)
		}
	}
	return data
}

// walked is what one place says of the board.
type walked struct {
	unit, kind       string
	swing, hum, rate float64 // V, V rms, bpm; NaN where the place does not tell
}

// TestMakersWalk: a board prints plain counts of a 10-bit converter on 5 V, and its maker says so.
// The live page, Review, check, beats, rate, the CSV and Compare then say the same of it: unit,
// kind, swing, hum and rate.
func TestMakersWalk(t *testing.T) {
	if testing.Short() {
		t.Skip("short: no walk")
	}
	t.Parallel()
	config := steady(72)
	config.Channels[0].HumVolts = 0.05
	b := newBench(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go printSignal(ctx, t, config, func(line []byte) { b.write(inCounts(line)) })
	address := program(t, "serial:"+b.link+"?baud=115200") + "/api/v1"
	s := openStream(t, strings.TrimSuffix(address, "/api/v1"))
	s.until("samples", 20*time.Second, func() bool { return len(s.values) > 250 })
	asks(t, "PUT", address+"/channels/0/scale", `{"source":"converter","referenceVolts":5,"bits":10,"gain":1,"invert":false,"fullScaleVolts":0,"couplingHz":0,"couplingFloorHz":0,"signed":false,"supplyLowVolts":0,"supplyHighVolts":5,"midRailVolts":2.5}`, nil)
	asks(t, "PUT", address+"/channels/0/kind", `{"kind":"pulse"}`, nil)
	asks(t, "POST", address+"/recording", `{"name":"walk"}`, nil)
	started := len(s.all)
	s.until("a rate", 40*time.Second, s.reads(72))
	s.until("some seconds of it", 40*time.Second, func() bool {
		n := 0
		for _, m := range s.all[started:] {
			if m["type"] == "reading" && m["state"] == "reading" {
				n++
			}
		}
		return n >= 12
	})
	var live struct {
		Report struct {
			Unit  string
			Level struct{ SwingVolts float64 }
			Hum   struct{ VoltsRms float64 }
		}
	}
	asks(t, "GET", address+"/channels/0/meters", "", &live)
	places := map[string]walked{"live": {live.Report.Unit, "pulse", live.Report.Level.SwingVolts, live.Report.Hum.VoltsRms, s.last["reading"]["rateBpm"].(float64)}}
	var state struct{ ID string }
	asks(t, "DELETE", address+"/recording", "", &state)
	var list struct{ Folder string }
	asks(t, "GET", address+"/recordings", "", &list)

	// Review's Check and Compare ask for this; the CSV is imported and asked for the same.
	judge := func(id string) walked {
		var out analysis.Stretch
		asks(t, "GET", address+"/recordings/"+url.PathEscape(id)+"/analysis", "", &out)
		return walked{out.Unit, string(out.Kind), out.Report.Level.SwingVolts, out.Report.Hum.VoltsRMS, out.MedianBPM}
	}
	places["Review, Compare"] = judge(state.ID)
	csv := asks(t, "GET", address+"/recordings/"+url.PathEscape(state.ID)+"/file?as=csv", "", nil)
	var copied struct{ ID string }
	answer, err := http.Post(address+"/recordings?name=walk.csv", "application/octet-stream", bytes.NewReader(csv))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.NewDecoder(answer.Body).Decode(&copied); err != nil || copied.ID == "" {
		t.Fatal(copied, err)
	}
	answer.Body.Close()
	places["CSV"] = judge(copied.ID)

	file := filepath.Join(list.Folder, state.ID)
	for _, name := range []string{file, filepath.Join(list.Folder, copied.ID)} {
		places["commands on "+filepath.Ext(name)] = byCommands(t, name)
	}
	if _, err := os.Stat(file); err != nil {
		t.Fatal(err)
	}
	want := places["live"]
	for place, got := range places {
		t.Logf("%-20s %s, %s: swing %.4g V, hum %.4g V rms, %.1f bpm", place, got.unit, got.kind, got.swing, got.hum, got.rate)
		if got.unit != "V" || got.kind != "pulse" || !(math.Abs(got.swing/want.swing-1) < 0.03) || !(math.Abs(got.hum/want.hum-1) < 0.05) || !(math.Abs(got.rate-72) < 1) {
			t.Errorf("%s says %+v, live it was %+v", place, got, want)
		}
	}
	// The simulation's hum, behind its single-pole low-pass at 30 Hz.
	if hum := config.Channels[0].HumVolts / math.Hypot(1, 50.0/30); math.Abs(want.hum/hum-1) > 0.15 {
		t.Errorf("hum of %g V rms, the simulation has %g", want.hum, hum)
	}
}

// inCounts turns a line in millivolts into one of a 10-bit converter on 5 V; a header goes.
func inCounts(line []byte) []byte {
	mv, err := strconv.ParseFloat(strings.TrimSpace(string(line[bytes.LastIndexByte(line[:len(line)-1], '\n')+1:])), 64)
	if err != nil {
		return nil
	}
	return fmt.Appendf(nil, "%d\r\n", int(math.Round(mv/5000*1024)))
}

// kindOfBeats is the kind of the first beat listed.
func kindOfBeats(beats string) string {
	if f := strings.Split(beats, ","); len(f) > 7 {
		return f[7]
	}
	return ""
}

// byCommands asks check, beats and rate.
func byCommands(t *testing.T, file string) (w walked) {
	t.Helper()
	said := func(command string) string {
		status, out, errors := call(command, file)
		if status > 1 {
			t.Fatalf("%s: %d %s", command, status, errors)
		}
		return out
	}
	number := func(text, pattern string) float64 {
		m := regexp.MustCompile(pattern).FindStringSubmatch(text)
		if m == nil {
			t.Errorf("no %q in\n%s", pattern, text)
			return math.NaN()
		}
		x, _ := strconv.ParseFloat(m[1], 64)
		return x
	}
	check := said("check")
	w.swing, w.hum = number(check, `swing +([0-9.e-]+) V`), number(check, `hum +([0-9.e-]+) V rms`)
	if strings.Contains(check, " V") {
		w.unit = "V"
	}
	w.kind = kindOfBeats(said("beats"))
	for _, line := range strings.Split(said("rate"), "\n") {
		if f := strings.Split(line, ","); len(f) > 2 && f[1] == "reading" {
			w.rate, _ = strconv.ParseFloat(f[2], 64)
		}
	}
	return w
}
