package command

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire/simulate"
)

// Each second has its line; the rate is the true one within EC13's 10 %, and a gap in the
// recording is told as no signal, the rate coming back after it.
func TestRateOfEachSecond(t *testing.T) {
	c := simulate.Chest()
	c.MotionPerMinute = 0
	path, truth := record(t, c, 40, ".edf")
	rows := rateRows(t, path)
	if len(rows) != 40 {
		t.Fatalf("%d lines for 40 s", len(rows))
	}
	readings := 0
	for i, f := range rows {
		if f[0] != strconv.Itoa(i+1) || f[4] == "" {
			t.Errorf("line %q, want second %d and a reason", f, i+1)
		}
		if f[1] != "reading" {
			continue
		}
		readings++
		// Twelve intervals back: the true beats of the last 15 s.
		n := 0
		for _, b := range truth.Beats[0] {
			if at := float64(b.Sample) / c.RateHz; at > float64(i-14) && at <= float64(i+1) {
				n++
			}
		}
		bpm, err := strconv.ParseFloat(f[2], 64)
		if want := 4 * float64(n); err != nil || i > 14 && (bpm < 0.85*want || bpm > 1.15*want) {
			t.Errorf("line %q, want about %g bpm", f, want)
		}
	}
	if readings < 30 {
		t.Errorf("a rate in %d of 40 s: %v", readings, rows)
	}
}

func TestRateInAGap(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,ecg [V]\n")
	for i := range 30 * 250 {
		v := "0.01" // hardly a signal
		if i%200 < 10 {
			v = "0.011"
		}
		if i >= 12*250 && i < 15*250 {
			v = ""
		}
		fmt.Fprintf(&b, "%g,%s\n", float64(i)/250, v)
	}
	path := filepath.Join(t.TempDir(), "gap.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	rows := rateRows(t, "-channel", "1", path)
	if len(rows) != 30 || !strings.Contains(rows[13][4], "no samples for") || rows[13][1] != "no signal" || strings.Contains(rows[20][4], "gap") {
		t.Errorf("%v", rows)
	}
}

// rateRows runs the command and gives the lines below the header.
func rateRows(t *testing.T, args ...string) [][]string {
	t.Helper()
	status, out, messages := call(append([]string{"rate"}, args...)...)
	if status != 0 {
		t.Fatal(messages)
	}
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) == 0 || strings.Join(rows[0], ",") != "time_s,state,rate_bpm,quality,reason" {
		t.Fatalf("%v: %.300s", err, out)
	}
	return rows[1:]
}
