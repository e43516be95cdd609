package server

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
)

// boardRow holds one figure of the board, predicted, against what is measured.
type boardRow struct {
	What      string  `json:"what"`
	Predicted float64 `json:"predicted"`
	Measured  float64 `json:"measured"`
	Unit      string  `json:"unit"`
	Agrees    bool    `json:"agrees"`
	// Text says what to suspect where they part.
	Text string `json:"text"`
}

// boardComparison is what POST /channels/{n}/board/compare answers.
type boardComparison struct {
	Rows []boardRow `json:"rows"`
	// Missing says what could not be compared, and why.
	Missing []string `json:"missing"`
	// Sweep is the measured response against the predicted one; null without a sweep.
	Sweep *board.Comparison `json:"sweep"`
	// Trimmers is where each trimmer stands by the measured corner, 0 to 1.
	Trimmers map[string]float64 `json:"trimmers"`
	CornerHz float64            `json:"cornerHz"` // that was measured, 0 for none
	// Advice names the part to change, and what to.
	Advice []string `json:"advice"`
}

// compareBody is the board that the signal came through.
type compareBody struct {
	Board board.Board `json:"board"`
}

func (s *Server) postBoardCompare(w http.ResponseWriter, r *http.Request) {
	var body compareBody
	if !s.channelThere(w, r) || !ReadJSON(w, r, &body) {
		return
	}
	b := &body.Board
	if err := b.Check(); err != nil {
		Fail(w, err)
		return
	}
	stretch, err := s.boardVolts(channelOf(r))
	if err != nil {
		Fail(w, err)
		return
	}
	report, err := s.session.Report(channelOf(r))
	if err != nil {
		Fail(w, err)
		return
	}
	c := boardComparison{Rows: []boardRow{}, Missing: []string{}, Trimmers: map[string]float64{}}
	c.meters(b, &report, stretch.Values, stretch.Gain)
	if row, why, ok := spectrumRow(b, &report, stretch.Values, stretch.RateHz); ok {
		c.Rows = append(c.Rows, row)
	} else {
		c.Missing = append(c.Missing, "spectrum: "+why)
	}
	if err := c.response(b, s); err != nil {
		Fail(w, err)
		return
	}
	if row, ok := cornerRow(b, c.CornerHz); ok {
		c.Rows = append(c.Rows, row)
	}
	c.Advice = append(swingAdvice(b, &report, stretch.Gain), s.humAdvice(r.Context(), channelOf(r), b, c.CornerHz)...)
	Answer(w, c)
}

// meters compares with what the meters measure; they stand before the scale's gain is
// taken back.
func (c *boardComparison) meters(b *board.Board, r *meter.Report, volts []float64, gain float64) {
	hz := []float64{1, 2}
	if r.Noise.Known {
		hz = []float64{math.Min(1, r.Noise.CentreHz/2), r.Noise.CentreHz}
	}
	f, err := b.Figures(hz)
	if err != nil {
		c.Missing = append(c.Missing, err.Error())
		return
	}
	gain = math.Abs(gain)
	mean := 0.0
	for _, v := range volts {
		mean += v / float64(len(volts))
	}
	c.Rows = append(c.Rows, restRow(b, f, mean))
	if r.Noise.Known {
		c.Rows = append(c.Rows, noiseRow(f, r.Noise.VoltsPerRootHz*gain, r.Noise.CentreHz))
	} else {
		c.Missing = append(c.Missing, "noise: "+r.Noise.Reason)
	}
	if r.Settling.Known && f.SettlingSeconds != nil {
		c.Rows = append(c.Rows, settlingRow(b, f, r.Settling.Seconds))
	} else {
		c.Missing = append(c.Missing, "settling: "+orElse(r.Settling.Reason, "the board never settles by its parts"))
	}
	if k := &r.Clipping; k.Known && (k.FlatHighShare > 0.002 || k.FlatLowShare > 0.002) {
		c.Rows = append(c.Rows, clipRow(f, k, gain))
	} else if row, beyond := beyondRow(f, volts); beyond {
		c.Rows = append(c.Rows, row)
	} else {
		c.Missing = append(c.Missing, "span: the signal reaches neither end, so the ends are not seen")
	}
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

func restRow(b *board.Board, f *board.Figures, mean float64) boardRow {
	row := boardRow{What: "rest at the output", Predicted: f.Span.RestVolts, Measured: mean, Unit: "V"}
	may := f.Stages[len(f.Stages)-1].Room.SpreadVolts + 0.03*b.SupplyVolts
	row.Agrees = math.Abs(mean-row.Predicted) <= may
	if row.Agrees {
		return row
	}
	row.Text = fmt.Sprintf("%+.2g V off, where parts allow %.2g V. ", mean-row.Predicted, may)
	if m := b.MidRail; m != nil {
		all := b.Components()
		row.Text += fmt.Sprintf("Suspect the divider of the mid-rail, %s and %s", all[0].Ref, all[1].Ref)
		if s := dcGain(b); s != "" {
			row.Text += ", or offset and bias through " + s
		}
		row.Text += "."
	} else {
		row.Text += "This board has no mid-rail."
	}
	return row
}

// dcGain names the stage that amplifies what is at rest.
func dcGain(b *board.Board) string {
	for i := range b.Stages {
		s := &b.Stages[i]
		_, leg := s.Parts["legCapacitor"]
		_, in := s.Parts["inCapacitor"]
		if (s.Kind == "non-inverting" && !leg) || (s.Kind == "inverting" && !in) {
			return s.Title()
		}
	}
	return ""
}

func noiseRow(f *board.Figures, measured, centreHz float64) boardRow {
	circuit, converter := f.Noise.VoltsPerRootHz[len(f.Noise.VoltsPerRootHz)-1], f.Noise.ConverterVoltsPerRootHz
	row := boardRow{What: fmt.Sprintf("noise at %.0f Hz", centreHz), Predicted: math.Hypot(circuit, converter), Measured: measured, Unit: "V/√Hz"}
	ratio := measured / row.Predicted
	row.Agrees = ratio < 2 && ratio > 0.5
	switch {
	case row.Agrees:
	case ratio > 1:
		row.Text = fmt.Sprintf("%.1f times what the parts make: it comes from outside. Suspect light, long wires, or the supply (bypass it near the op amp).", ratio)
	default:
		row.Text = fmt.Sprintf("Only %.2g of what the parts make: the converter's bits or rate are not as the board says.", ratio)
	}
	return row
}

func settlingRow(b *board.Board, f *board.Figures, measured float64) boardRow {
	row := boardRow{What: "settling to 5 %", Predicted: *f.SettlingSeconds, Measured: measured, Unit: "s"}
	ratio := measured / row.Predicted
	row.Agrees = ratio < 1.7 && ratio > 0.6
	if row.Agrees {
		return row
	}
	row.Text = fmt.Sprintf("%.1f times as predicted.", ratio)
	if ref, stage := slowest(b, f); ref != "" {
		how := "larger"
		if ratio < 1 {
			how = "smaller"
		}
		row.Text += fmt.Sprintf(" Suspect %s of %s, or the resistor beside it: %s than drawn.", ref, stage, how)
	}
	return row
}

// slowest names the capacitor of the stage with the highest lower corner.
func slowest(b *board.Board, f *board.Figures) (ref, stage string) {
	at, corner := -1, 0.0
	for i := range f.Stages {
		if low := f.Stages[i].Corners.LowHz; low != nil && *low > corner {
			at, corner = i, *low
		}
	}
	for _, c := range b.Components() {
		if c.Stage == at && c.Unit == "F" && c.Role != "feedbackCapacitor" {
			return c.Ref, b.Stages[at].Title()
		}
	}
	return "", ""
}

// beyondRow tells of a signal that goes where the board's parts would have cut it off;
// beyond is false while it stays within.
func beyondRow(f *board.Figures, volts []float64) (row boardRow, beyond bool) {
	if len(volts) == 0 {
		return row, false
	}
	row = boardRow{What: "upper end of the span", Predicted: f.Span.HighVolts, Measured: slices.Max(volts), Unit: "V"}
	if low := slices.Min(volts); f.Span.LowVolts-low > row.Measured-row.Predicted {
		row.What, row.Predicted, row.Measured = "lower end of the span", f.Span.LowVolts, low
	}
	row.Text = "The signal goes further than these parts let it: suspect the op amp's kind, the supply, the volts that a count is said to be, or that this is another board."
	return row, math.Abs(row.Measured-row.Predicted) > clipSlack && (row.Measured > f.Span.HighVolts || row.Measured < f.Span.LowVolts)
}

// clipSlack, in volts, is how far a measured end of the span may lie from the board's.
const clipSlack = 0.15

func clipRow(f *board.Figures, k *meter.Clipping, gain float64) boardRow {
	row := boardRow{What: "upper end of the span", Predicted: f.Span.HighVolts, Measured: k.FlatHighVolts * gain, Unit: "V"}
	if k.FlatLowShare > k.FlatHighShare {
		row.What, row.Predicted, row.Measured = "lower end of the span", f.Span.LowVolts, k.FlatLowVolts*gain
	}
	row.Agrees = math.Abs(row.Measured-row.Predicted) <= clipSlack
	if row.Agrees {
		return row
	}
	where := "the converter"
	if f.Span.ClipsFirst >= 0 {
		where = f.Stages[f.Span.ClipsFirst].Title
	}
	row.Text = fmt.Sprintf("It clips elsewhere than %s should: suspect the op amp's kind, the supply, or another stage that clips before.", where)
	return row
}

// cornerRow holds a measured upper corner against the board's; ok is false without one.
func cornerRow(b *board.Board, measuredHz float64) (row boardRow, ok bool) {
	f, err := b.Figures([]float64{1, 2})
	if err != nil || !(measuredHz > 0) || f.Corners.HighHz == nil {
		return row, false
	}
	row = boardRow{What: "upper corner", Predicted: *f.Corners.HighHz, Measured: measuredHz, Unit: "Hz"}
	times := row.Predicted / measuredHz // of the resistance or the capacitance
	row.Agrees = times < 1.25 && times > 0.8
	if row.Agrees {
		return row, true
	}
	row.Text = fmt.Sprintf("Suspect %s.", strings.Join(cornerSuspects(b, measuredHz, times), ", or "))
	return row, true
}

// cornerSuspects are what may have moved the upper corner: a trimmer, or the capacitor of
// the stage with the lowest one.
func cornerSuspects(b *board.Board, measuredHz, times float64) []string {
	var list []string
	places := b.MeasuredCorner(measuredHz)
	lowest, corner := -1, math.Inf(1)
	if f, err := b.Figures([]float64{1, 2}); err == nil {
		for i := range f.Stages {
			if high := f.Stages[i].Corners.HighHz; high != nil && *high < corner {
				lowest, corner = i, *high
			}
		}
	}
	for _, c := range b.Components() {
		if at, ok := places[c.Ref]; ok {
			list = append(list, fmt.Sprintf("%s at %.0f %% of its way", c.Ref, 100*at))
		}
		if c.Stage == lowest && c.Unit == "F" {
			list = append(list, fmt.Sprintf("%s %s instead of %s", c.Ref, board.Text(board.Nearest(c.Value*times, 24), "F"), board.Text(c.Value, "F")))
		}
	}
	if len(list) == 0 {
		return []string{"the wiring of the low-pass"}
	}
	return list
}

// response compares with the newest sweep, and reads the trimmers from a measured corner:
// of the sweep, or of the practice board, whose corner is known.
func (c *boardComparison) response(b *board.Board, s *Server) error {
	s.bench.mu.Lock()
	measured := s.bench.result
	s.bench.mu.Unlock()
	if measured == nil {
		c.Missing = append(c.Missing, "response: no sweep was made; Sound makes one, with nobody connected")
		if hz := s.session.State().TrimmerHz; hz != nil && *hz > 0 {
			c.CornerHz = *hz
			c.Trimmers = b.MeasuredCorner(*hz)
		}
		return nil
	}
	m := board.Measured{Shape: true} // a sweep passes dividers, so its level says nothing
	for i, hz := range measured.FreqHz {
		if hz >= measured.TrustedLowHz && hz <= measured.TrustedHighHz && len(m.FreqHz) < 500 {
			m.FreqHz, m.GainDB = append(m.FreqHz, hz), append(m.GainDB, measured.GainDB[i])
		}
	}
	if len(m.FreqHz) < 5 {
		c.Missing = append(c.Missing, "response: too little of the sweep can be trusted; measure again with less noise")
		return nil
	}
	for _, corner := range measured.Corners {
		if !corner.Rising {
			c.CornerHz = corner.FreqHz
			c.Trimmers = b.MeasuredCorner(corner.FreqHz)
		}
	}
	var err error
	c.Sweep, err = b.WithoutSensor().Compare(m)
	return err
}
