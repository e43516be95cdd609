package server

import (
	"context"
	"fmt"
	"math"

	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
)

// A pulse should fill so much of the span (the Check's own rule is a third or more).
const (
	swingLeast, swingMost = 0.33, 0.9
	swingAim              = 0.55
)

// swingAdvice names the resistor that brings the pulse to a good share of the board's span.
func swingAdvice(b *board.Board, r *meter.Report, gain float64) []string {
	span := b.Span()
	height := r.Pulse.HeightVolts * math.Abs(gain)
	room := span.HighVolts - span.LowVolts
	if !r.Pulse.Known || !(height > 0) || !(room > 0) {
		return nil
	}
	share := height / room
	if share >= swingLeast && share <= swingMost {
		return nil
	}
	how := "fills only"
	if share > swingMost {
		how = "fills"
	}
	text := fmt.Sprintf("The pulse %s %.0f %% of the board's span.", how, 100*share)
	ref, now, value := gainResistor(b, swingAim/share)
	if ref == "" {
		return []string{text}
	}
	changed, err := b.With(ref, value)
	if err != nil { // beyond what a part can be
		return []string{text + " One stage alone cannot mend that: add a gain stage, or more light."}
	}
	factor := peakGain(changed) / peakGain(b)
	return []string{fmt.Sprintf("%s With %s %s instead of %s it would fill %.0f %%.", text, ref, board.Text(value, "Ω"), board.Text(now, "Ω"), 100*share*factor)}
}

func peakGain(b *board.Board) float64 {
	f, err := b.Figures([]float64{1, 2})
	if err != nil {
		return math.NaN()
	}
	return math.Pow(10, f.Corners.PeakDB/20)
}

// gainResistor is the resistor of the last stage with a gain, or the sensor's load, and its
// E24 value for a gain that many times as large.
func gainResistor(b *board.Board, times float64) (ref string, now, value float64) {
	for i := len(b.Stages) - 1; i >= 0; i-- {
		s := &b.Stages[i]
		role := "feedback"
		switch s.Kind {
		case "non-inverting", "inverting", "difference":
		case "phototransistor", "photodiode":
			role = "load"
		default:
			continue
		}
		for _, c := range b.Components() {
			if c.Stage != i || c.Role != role {
				continue
			}
			value = c.Value * times
			if s.Kind == "non-inverting" { // 1 + feedback/leg
				leg, trimmer := s.Parts["leg"].Value, trimmerOhms(s)
				value = ((1+(c.Value+trimmer)/leg)*times-1)*leg - trimmer
			}
			if s.Kind == "inverting" {
				trimmer := trimmerOhms(s)
				value = (c.Value+trimmer)*times - trimmer
			}
			if !(value > 0) {
				return "", 0, 0
			}
			return c.Ref, c.Value, board.Nearest(value, 24)
		}
	}
	return "", 0, 0
}

// trimmerOhms is what of a stage's trimmer is in the circuit.
func trimmerOhms(s *board.Stage) float64 {
	p, ok := s.Parts["trimmer"]
	if !ok {
		return 0
	}
	if p.At == nil {
		return p.Value / 2
	}
	return p.Value * *p.At
}

// humAdvice names where the trimmer, or which resistor, of the board's low-pass takes hum
// away and keeps the pulse. cornerHz is the low-pass as measured, 0 for as drawn.
func (s *Server) humAdvice(ctx context.Context, channel int, b *board.Board, cornerHz float64) []string {
	for i := range b.Stages {
		stage := &b.Stages[i]
		if stage.Kind != "low-pass" {
			continue
		}
		resistor, farads := stage.Parts["resistor"].Value, stage.Parts["capacitor"].Value
		present := resistor + trimmerOhms(stage)
		if cornerHz > 0 {
			present = 1 / (2 * math.Pi * cornerHz * farads)
		}
		advice, err := s.session.Trimmer(ctx, channel, meter.TrimmerConfig{PresentOhms: present, PresentFarads: farads})
		if err != nil {
			return nil // no hum, or nothing known of it: nothing to advise
		}
		if !advice.Reached || advice.Low {
			return []string{advice.Text}
		}
		return []string{advice.Text + " " + lowPassWords(b, i, advice.ResistorOhms)}
	}
	return nil
}

// lowPassWords says how a low-pass of the board gets so many ohms.
func lowPassWords(b *board.Board, stage int, ohms float64) string {
	var resistor, trimmer *board.Component
	all := b.Components()
	for i := range all {
		if all[i].Stage != stage {
			continue
		}
		switch all[i].Role {
		case "resistor":
			resistor = &all[i]
		case "trimmer":
			trimmer = &all[i]
		}
	}
	if trimmer != nil {
		if at := (ohms - resistor.Value) / trimmer.Value; at >= 0 && at <= 1 {
			return fmt.Sprintf("Turn %s to %.0f %% of its way.", trimmer.Ref, 100*at)
		}
		ohms -= trimmer.Value * trimmer.At
	}
	if !(ohms > 0) {
		return fmt.Sprintf("Put a smaller resistor in place of %s.", resistor.Ref)
	}
	return fmt.Sprintf("Make %s %s instead of %s.", resistor.Ref, board.Text(board.Nearest(ohms, 24), "Ω"), board.Text(resistor.Value, "Ω"))
}
