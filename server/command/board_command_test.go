package command

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestBoardCommand: the three outputs, and what is refused.
func TestBoardCommand(t *testing.T) {
	folder := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	good := file("rc.board.json", `{"board": 1, "name": "only an RC", "supplyVolts": 5, "stages": [{"stage": "generator", "parts": {"source": "1k"}},
		{"stage": "low-pass", "parts": {"resistor": "9k", "capacitor": {"value": "1u", "name": "Cx", "tolerance": 0.2}}}]}`)
	tiny := file("tiny.board.json", `{"board": 1, "supplyVolts": 5, "stages": [{"stage": "generator", "parts": {"source": 1e-320}}]}`)
	for _, c := range []struct {
		args   []string
		status int
		out    string
		err    string
	}{
		{[]string{"board", "example:lamp_clip_a"}, 0, "# clips_first,stage 3 (gain),", ""},
		{[]string{"board", "example:lamp_clip_b"}, 0, "# settling_5_percent,", ""},
		{[]string{"board", "example:chest_lead_a"}, 0, "# hum_into_body_95,", ""},
		{[]string{"board", good}, 0, "# corner_high,15.9155,Hz", ""},
		{[]string{"board", "-netlist", good}, 0, ".ac dec 20 0.05 5000\n", ""},
		{[]string{"board", "-netlist", "-low", "1", "-high", "100", "-points", "5", good}, 0, ".ac dec 5 1 100\n", ""},
		{[]string{"board", "-values", good}, 0, "Cx,1 µF,20,stage 2 (low-pass),capacitor,1 µF,1 µF,1 µF\n", ""},
		{[]string{"board", "-values", "example:chest_lead_a"}, 0, "batteries only", ""},
		{[]string{"board", "-values", "example:chest_lead_a"}, 0, "R6,50 kΩ,50,stage 1 (electrodes),skin,,,\n", ""},
		{[]string{"board", "-json", good}, 0, `"name": "only an RC"`, ""},
		{[]string{"board", tiny}, 1, "", "source of 1e-320 Ω: it must be from 100 mΩ to 10 GΩ"},
		{[]string{"board", "example:toaster"}, 1, "", "there are lamp_clip_a"},
		{[]string{"board", filepath.Join(folder, "none")}, 1, "", "no such file"},
		{[]string{"board"}, 2, "", "name one board"},
		{[]string{"board", "-low", "NaN", good}, 2, "", "0.001 Hz to 1 MHz"},
		{[]string{"board", "-tolerance", "90", good}, 2, "", "0 to 50"},
	} {
		var out, problems bytes.Buffer
		status := Run(context.Background(), c.args, &out, &problems)
		if status != c.status || !strings.Contains(out.String(), c.out) || !strings.Contains(problems.String(), c.err) {
			t.Errorf("%q: status %d, want %d; output %.2000s, want %q; errors %q, want %q", c.args, status, c.status, out.String(), c.out, problems.String(), c.err)
		}
	}
}

// TestBoardCommandIsCSV: rows of three numbers, the gain of an RC of 10 ms among them.
func TestBoardCommandIsCSV(t *testing.T) {
	path := filepath.Join(t.TempDir(), "rc.board.json")
	if err := os.WriteFile(path, []byte(`{"board": 1, "supplyVolts": 5, "stages": [{"stage": "generator", "parts": {"source": "1k"}}, {"stage": "low-pass", "parts": {"resistor": "9k", "capacitor": "1u"}}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	var out, problems bytes.Buffer
	if status := Run(context.Background(), []string{"board", path}, &out, &problems); status != 0 {
		t.Fatal(problems.String())
	}
	r := csv.NewReader(&out)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) != 102 || strings.Join(rows[0], ",") != "freq_hz,gain_db,phase_deg" {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		x := 2 * math.Pi * v[0] * 0.01
		if math.Abs(v[1]+10*math.Log10(1+x*x)) > 1e-3 || math.Abs(v[2]+math.Atan(x)*180/math.Pi) > 1e-2 {
			t.Errorf("%v: an RC has %g dB, %g°", row, -10*math.Log10(1+x*x), -math.Atan(x)*180/math.Pi)
		}
	}
}
