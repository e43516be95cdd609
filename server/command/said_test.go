package command

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/server/channel"
	"pulsewright/server/library/recorder"
)

// TestWhatWasSaidStays: a board of plain numbers, told to be a chest lead upside down
// behind a gain of 101 on a 10-bit converter of 5 V, is that to every command: in volts
// at the electrodes, with rails, an ECG, upright, with the same beats, swing and hum as
// the live engine's.
func TestWhatWasSaidStays(t *testing.T) {
	low, high, middle := 0.0, 5.0, 2.5
	said := channel.Said{Kind: new(string), Scale: &channel.Scale{Source: channel.ScaleConverter, ReferenceVolts: 5, Bits: 10, Gain: 101, Invert: true, SupplyLowVolts: &low, SupplyHighVolts: &high, MidRailVolts: &middle}}
	*said.Kind = acquire.KindECG
	described := acquire.Channel{Label: "A0"}
	config := simulate.Chest().Clean()
	config.RateHz, config.Bits, config.Channels[0].Invert, config.Channels[0].HumVolts = 250, 10, true, 0.001
	g, err := simulate.New(config)
	if err != nil {
		t.Fatal(err)
	}
	counts := make([][]int32, len(config.Channels))
	for c := range counts {
		counts[c] = make([]int32, 250*40)
	}
	g.Next(counts)
	counts = counts[:1]

	settings := channel.Resolve(channel.Places{Described: described, Said: said, RateHz: 250}).Settings
	start := channel.Start{RateHz: 250, Ratio: 1, Channels: []channel.Settings{settings}}
	e, err := channel.New(start.Config(0, described, 0, channel.All))
	if err != nil {
		t.Fatal(err)
	}
	var live channel.Output
	e.Process(&live, counts[0])
	folder := t.TempDir()
	records := recorder.New(recorder.Config{Folder: folder, Problem: func(text string) { t.Error(text) }})
	records.Begin(1, acquire.Info{Address: "serial:/dev/board", Channels: []acquire.Channel{described}}, 250, time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC))
	records.Engines(start)
	records.Samples(0, counts)
	state, err := records.Keep("chest lead", 5)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, state.ID)

	status, out, messages := call("check", "-json", path)
	var report struct {
		Channel string
		meter.Report
	}
	if err := json.Unmarshal([]byte(out), &report); status != 0 || err != nil {
		t.Fatalf("check: %d, %v, %s", status, err, messages)
	}
	want, _ := e.Report()
	if report.Unit != "V" || !report.Level.RailKnown || report.Level.RailReason != "" || !report.Polarity.Known || !report.Polarity.Upright || !report.Pulse.Known {
		t.Errorf("check says %+v, %+v, %+v", report.Unit, report.Level, report.Polarity)
	}
	near := func(what string, got, want, share float64) {
		t.Helper()
		if !(math.Abs(got/want-1) <= share) {
			t.Errorf("%s is %g in check, %g live", what, got, want)
		}
	}
	near("the R wave", report.Pulse.HeightVolts, want.Pulse.HeightVolts, 0.05)
	near("hum", report.Hum.VoltsRMS, want.Hum.VoltsRMS, 0.05)

	status, out, messages = call("beats", path)
	rows := strings.Split(strings.TrimSpace(out), "\n")[1:]
	if status != 0 || len(rows) < len(live.Beats) || len(live.Beats) < 30 {
		t.Fatalf("beats: %d, %d of %d, %s", status, len(rows), len(live.Beats), messages)
	}
	for i, b := range live.Beats {
		if f := strings.Split(rows[i], ","); f[2] != string(beat.ECG) || f[0] != whole(b.Sample) {
			t.Fatalf("beat %d is %s, live at %d", i, rows[i], b.Sample)
		}
	}

	to := filepath.Join(t.TempDir(), "lead.csv")
	if status, _, messages = call("convert", path, to); status != 0 {
		t.Fatalf("convert: %d, %s", status, messages)
	}
	text, err := os.ReadFile(to)
	if err != nil || !strings.Contains(string(text), "A0 [V]") {
		t.Errorf("%v; the table begins %.80q", err, text)
	}
	if status, out, _ = call("firmware", path); status != 0 || !strings.Contains(out, "40 Hz") {
		t.Errorf("firmware: %d, %.200q; want an ECG's path", status, out)
	}
}

func whole(n int64) string {
	data, _ := json.Marshal(n) // of a number
	return string(data)
}

// TestCommandsTellWhatWasEdited: beats and intervals use what was edited by hand in Review, say so, and leave it
// out when asked.
func TestCommandsTellWhatWasEdited(t *testing.T) {
	c := simulate.Chest()
	c.MotionPerMinute = 0
	path, _ := record(t, c, 20, ".edf")
	found := foundBeats(t, path)
	edits := fmt.Sprintf(`{%q: {"0": [{"was": %d}, {"at": %d, "was": %d}]}}`, filepath.Base(path), found[3], found[6]+4, found[6])
	if err := os.WriteFile(filepath.Join(filepath.Dir(path), ".edits.json"), []byte(edits), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, command := range []string{"beats", "intervals"} {
		status, out, messages := call(command, path)
		if status != 0 || !strings.Contains(messages, "2 beats were edited by hand: 1 moved, 1 removed") || strings.Contains(out, fmt.Sprintf("\n%d,", found[3])) || !strings.Contains(out, fmt.Sprintf("\n%d,", found[6]+4)) {
			t.Errorf("%s: %d, %q, %s", command, status, messages, out)
		}
		status, out, messages = call(command, "-found", path)
		if status != 0 || !strings.Contains(messages, "left out") || !strings.Contains(out, fmt.Sprintf("\n%d,", found[3])) {
			t.Errorf("%s -found: %d, %q", command, status, messages)
		}
	}
	_, edited, _ := call("beats", path)
	if strings.Count(edited, ",moved\n") != 1 {
		t.Errorf("by hand: %s", edited)
	}
	copied := filepath.Join(t.TempDir(), "copied.edf")
	if status, _, messages := call("convert", path, copied); status != 0 {
		t.Fatal(messages)
	}
	if _, out, messages := call("beats", copied); out != edited || !strings.Contains(messages, "2 beats were edited by hand") {
		t.Errorf("converted: %q, %s, want %s", messages, out, edited)
	}
}

// TestCopiesKeepWhatWasSaid: a WAV and a CSV of counts carry what was said of a channel, also what was changed
// while it was recorded, and every command reads of them what it reads of the recording.
func TestCopiesKeepWhatWasSaid(t *testing.T) {
	path, _ := record(t, simulate.Chest(), 20, ".edf")
	const scale = `{"source": "converter", "referenceVolts": 5, "bits": 12, "gain": 101, "invert": true, "supplyLowVolts": 0, "supplyHighVolts": 5, "midRailVolts": 2.5}`
	said := fmt.Sprintf(`{%q: {"channels": [{"label": "lead [II]", "kind": "ecg", "scale": %s}]}}`, filepath.Base(path), scale)
	if err := os.WriteFile(filepath.Join(filepath.Dir(path), ".said.json"), []byte(said), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"a.wav"}, {"-counts", "a.csv"}} {
		to := filepath.Join(t.TempDir(), args[len(args)-1])
		if status, _, messages := call(slices.Concat([]string{"convert"}, args[:len(args)-1], []string{path, to})...); status != 0 {
			t.Fatal(messages)
		}
		for _, command := range [][]string{{"check", "-json"}, {"rate"}, {"beats", "-found"}} {
			_, want, _ := call(append(command, path)...)
			_, got, messages := call(append(command, to)...)
			if want = strings.ReplaceAll(want, path, to); got != want || len(got) < 100 {
				t.Errorf("%v of %v: %.300s, want %.300s; %s", command, args, got, want, messages)
			}
		}
	}
}
