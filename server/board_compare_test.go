package server

import (
	"strings"
	"testing"

	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
)

func lampClipA(t *testing.T) *board.Board {
	t.Helper()
	b, err := board.Example("lamp_clip_a")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestMeasuredAgainstPredicted: where meters and parts part, the words name what to suspect.
// Lamp clip A rests at 2.50 V, settles in 3.01 s, spans 0.08 to 3.48 V, and its converter's
// steps make 126 µV/√Hz.
func TestMeasuredAgainstPredicted(t *testing.T) {
	b := lampClipA(t)
	for _, c := range []struct {
		name   string
		mean   float64
		report meter.Report
		row    int
		agrees bool
		text   string
	}{
		{"rest as drawn", 2.55, meter.Report{}, 0, true, ""},
		{"rest too high", 3.1, meter.Report{}, 0, false, "divider of the mid-rail, R1 and R2"},
		{"noise as drawn", 2.5, meter.Report{Noise: meter.Noise{Known: true, CentreHz: 80, VoltsPerRootHz: 130e-6}}, 1, true, ""},
		{"noise from outside", 2.5, meter.Report{Noise: meter.Noise{Known: true, CentreHz: 80, VoltsPerRootHz: 1e-3}}, 1, false, "times what the parts make"},
		{"another converter", 2.5, meter.Report{Noise: meter.Noise{Known: true, CentreHz: 80, VoltsPerRootHz: 20e-6}}, 1, false, "converter's bits"},
		{"settling as drawn", 2.5, meter.Report{Settling: meter.Settling{Known: true, Seconds: 2.7}}, 1, true, ""},
		{"settling slowly", 2.5, meter.Report{Settling: meter.Settling{Known: true, Seconds: 9}}, 1, false, "Suspect C4 of gain"},
		{"clips where drawn", 2.5, meter.Report{Clipping: meter.Clipping{Known: true, FlatHighShare: 0.1, FlatHighVolts: 3.5}}, 1, true, ""},
		{"clips below", 2.5, meter.Report{Clipping: meter.Clipping{Known: true, FlatLowShare: 0.1, FlatLowVolts: 0.9}}, 1, false, "gain should"},
	} {
		var got boardComparison
		got.meters(b, &c.report, []float64{c.mean, c.mean}, 1)
		if len(got.Rows) <= c.row {
			t.Errorf("%s: %d rows", c.name, len(got.Rows))
			continue
		}
		if r := got.Rows[c.row]; r.Agrees != c.agrees || !strings.Contains(r.Text, c.text) {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

// TestAdviceNamesTheResistor: a pulse that fills a tenth of lamp clip A's 3.4 V wants 5.5 times
// the gain of 101, 556: 555 kΩ, of E24 560 kΩ. A low-pass of 27 kΩ wants more than its
// trimmer of 20 kΩ at 45 % gives: 27 − 9 = 18 kΩ beside it.
func TestAdviceNamesTheResistor(t *testing.T) {
	b := lampClipA(t)
	pulse := func(volts float64) *meter.Report {
		return &meter.Report{Pulse: meter.Pulse{Known: true, HeightVolts: volts}}
	}
	if got := swingAdvice(b, pulse(0.34), 1); len(got) != 1 || !strings.Contains(got[0], "R5 560 kΩ instead of 100 kΩ it would fill 55 %") {
		t.Errorf("a low pulse: %q", got)
	}
	if got := swingAdvice(b, pulse(1.7), 1); len(got) != 0 {
		t.Errorf("a good pulse: %q", got)
	}
	if got := swingAdvice(b, pulse(3.35), 1); len(got) != 1 || !strings.Contains(got[0], "R5 56 kΩ instead of 100 kΩ") {
		t.Errorf("a pulse without room: %q", got)
	}
	if got := swingAdvice(b, &meter.Report{}, 1); len(got) != 0 {
		t.Errorf("no pulse: %q", got)
	}
	for ohms, want := range map[float64]string{9000: "Turn P1 to 40 % of its way.", 27000: "Make R7 18 kΩ instead of 1 kΩ.", 500: "Put a smaller resistor in place of R7."} {
		if got := lowPassWords(b, 3, ohms); got != want {
			t.Errorf("%g Ω: %q, want %q", ohms, got, want)
		}
	}
}

// TestCornerNamesTheParts: lamp clip A's corner of 16.6 Hz measured at 31: the resistance is
// near 10 kΩ, so the capacitor would be about half, 510 or 560 nF, or the trimmer turned.
func TestCornerNamesTheParts(t *testing.T) {
	b := lampClipA(t)
	if row, ok := cornerRow(b, 16); !ok || !row.Agrees {
		t.Errorf("as drawn: %+v", row)
	}
	row, ok := cornerRow(b, 31)
	if !ok || row.Agrees || !strings.Contains(row.Text, "P1 at 2") || !strings.Contains(row.Text, "C5 560 nF instead of 1 µF") && !strings.Contains(row.Text, "C5 510 nF instead of 1 µF") {
		t.Errorf("at 31 Hz: %+v", row)
	}
	if _, ok := cornerRow(b, 0); ok {
		t.Error("a corner that was not measured")
	}
}

// A signal beyond the ends that the parts allow is no signal of this board: lamp clip A
// spans 0.08 to 3.48 V.
func TestSignalBeyondTheSpan(t *testing.T) {
	b := lampClipA(t)
	for _, c := range []struct {
		low, high float64
		what      string
	}{{2.2, 4.06, "upper end of the span"}, {2.2, 3.5, ""}, {-0.3, 3, "lower end of the span"}} {
		var got boardComparison
		got.meters(b, &meter.Report{}, []float64{c.low, 2.5, c.high}, 1)
		what := ""
		for _, row := range got.Rows {
			if strings.HasSuffix(row.What, "of the span") {
				what = row.What
				if row.Agrees || row.Text == "" {
					t.Errorf("%g to %g V: row %+v", c.low, c.high, row)
				}
			}
		}
		if what != c.what {
			t.Errorf("%g to %g V: %q, want %q", c.low, c.high, what, c.what)
		}
	}
}
