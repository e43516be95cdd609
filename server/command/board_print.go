package command

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	parts "pulsewright/dsp/board"
)

func printBoard(w io.Writer, b *parts.Board) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(b)
}

// figureList collects rows of name, value, unit.
type figureList [][3]string

func (l *figureList) add(name string, v float64, unit string) {
	*l = append(*l, [3]string{name, strconv.FormatFloat(v, 'g', 6, 64), unit})
}

func (l *figureList) maybe(name string, v *float64, unit string) {
	if v == nil {
		*l = append(*l, [3]string{name, "none", unit})
		return
	}
	l.add(name, *v, unit)
}

func (l *figureList) spread(name string, r *parts.Range, unit string) {
	if r != nil {
		l.add(name+"_from", r.Low, unit)
		l.add(name+"_to", r.High, unit)
	}
}

// printBoardFigures prints the response as CSV and, behind #, the figures as CSV.
func printBoardFigures(w io.Writer, b *parts.Board, freqHz []float64, tolerance float64) error {
	f, err := b.Figures(freqHz)
	if err != nil {
		return err
	}
	s, err := b.Spread(parts.SpreadConfig{FreqHz: []float64{1}, Tolerance: tolerance, Seed: 1})
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "freq_hz,gain_db,phase_deg")
	for i, hz := range f.FreqHz {
		fmt.Fprintf(w, "%.6g,%.4f,%.3f\n", hz, f.Whole.GainDB[i], f.Whole.PhaseDeg[i])
	}
	var text strings.Builder
	rows := csv.NewWriter(&text)
	_ = rows.Write([]string{"figure", "value", "unit"})
	for _, r := range wholeFigures(f, s) {
		_ = rows.Write(r[:])
	}
	for i := range f.Stages {
		for _, r := range stageFigures(&f.Stages[i], i+1) {
			_ = rows.Write(r[:])
		}
	}
	rows.Flush()
	for line := range strings.Lines(text.String()) {
		fmt.Fprint(w, "# ", line)
	}
	return rows.Error()
}

func wholeFigures(f *parts.Figures, s *parts.Spread) figureList {
	var l figureList
	l.add("peak_gain", f.Corners.PeakDB, "dB")
	l.add("peak_at", f.Corners.PeakHz, "Hz")
	l.maybe("corner_low", f.Corners.LowHz, "Hz")
	l.maybe("corner_high", f.Corners.HighHz, "Hz")
	l.spread("corner_low_95", s.CornerLow, "Hz")
	l.spread("corner_high_95", s.CornerHigh, "Hz")
	l.spread("peak_gain_95", &s.PeakDB, "dB")
	l.maybe("settling_5_percent", f.SettlingSeconds, "s")
	l.add("rest", f.Span.RestVolts, "V")
	l.add("range_low", f.Span.LowVolts, "V")
	l.add("range_high", f.Span.HighVolts, "V")
	l.add("input_that_clips", f.Span.InputVolts, "V")
	first := "converter"
	if f.Span.ClipsFirst >= 0 {
		first = fmt.Sprintf("stage %d (%s)", f.Span.ClipsFirst+1, f.Stages[f.Span.ClipsFirst].Title)
	}
	l = append(l, [3]string{"clips_first", first, ""})
	l.add("gain_at_50_hz_below_peak", f.HumDB, "dB")
	l.add("gain_at_100_hz_below_peak", f.FlickerDB, "dB")
	l.add("supply_ripple_at_100_hz", f.SupplyDB, "dB")
	l.maybe("hum_into_body_95", s.BodyVoltsPerNanoamp, "V/nA")
	band := fmt.Sprintf("V rms, %g to %g Hz", f.Noise.LowHz, f.Noise.HighHz)
	l.add("noise", f.Noise.VoltsRMS, band)
	for _, n := range f.Noise.Sources {
		if n.VoltsRMS > 0.001*f.Noise.VoltsRMS {
			l.add("noise of "+n.Name+" ("+n.What+")", n.VoltsRMS, band)
		}
	}
	return l
}

func stageFigures(s *parts.StageFigures, number int) figureList {
	var l figureList
	name := func(what string) string { return fmt.Sprintf("stage %d (%s) %s", number, s.Title, what) }
	l.add(name("peak_gain"), s.Corners.PeakDB, "dB")
	l.maybe(name("corner_low"), s.Corners.LowHz, "Hz")
	l.maybe(name("corner_high"), s.Corners.HighHz, "Hz")
	l.add(name("rest"), s.Room.RestVolts, "V")
	l.add(name("rest_may_move_by"), s.Room.SpreadVolts, "V")
	l.add(name("input_that_clips"), s.Room.InputVolts, "V")
	l.add(name("hum_into_its_output"), s.HumVoltsPerNanoamp, "V/nA")
	return l
}

// printParts prints the parts as CSV and, behind #, the cautions.
func printParts(w io.Writer, b *parts.Board) {
	fmt.Fprintln(w, "part,value,tolerance_percent,stage,role,nearest_e12,nearest_e24,nearest_e96")
	rows := csv.NewWriter(w)
	for _, c := range b.Components() {
		value := parts.Text(c.Value, c.Unit)
		if c.Letter == "P" {
			value += fmt.Sprintf(" trimmer at %.0f %%", 100*c.At)
		}
		row := []string{c.Ref, value, strconv.FormatFloat(math.Round(1000*c.Tolerance)/10, 'g', -1, 64), c.Where(b), c.Role, "", "", ""}
		if c.Bought() {
			for i, n := range parts.NearValues(c.Value) {
				row[5+i] = parts.Text(n.Nearest, c.Unit)
			}
		}
		_ = rows.Write(row)
	}
	rows.Flush()
	for _, line := range b.Cautions() {
		fmt.Fprintln(w, "#", line)
	}
}
