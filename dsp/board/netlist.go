package board

import (
	"fmt"
	"math"
	"strings"
)

// NetlistOptions say what the deck's analysis runs over.
type NetlistOptions struct {
	LowHz, HighHz float64
	PerDecade     int
}

// noiseResistor is what an op amp's noise is made from in a deck.
const noiseResistor = 1e3

// Netlist is the board as a SPICE deck: input source vin, output node out, one .ac line.
// Op amps are subcircuits with one pole, their noise and their bias currents; offsets and
// limits are not in it, since they are no part of a small signal. vin carries 1 V for
// .ac and a step of 1 mV after 1 ms for .tran.
func (b *Board) Netlist(o NetlistOptions) string {
	components := b.Components()
	k := b.build(components, nil)
	var w strings.Builder
	name := b.Name
	if name == "" {
		name = "board"
	}
	fmt.Fprintf(&w, "* %s\n* made by Pulsewright; a learning aid, not a medical device\n", name)
	fmt.Fprintf(&w, "* run it: ngspice -b FILE\n")
	if u := b.inputMeaning(); u != "" {
		fmt.Fprintf(&w, "* %s\n", u)
	}
	k.writeSources(&w)
	k.writeParts(&w, components)
	k.writeAmplifiers(&w, b)
	fmt.Fprintf(&w, ".ac dec %d %s %s\n.print ac vdb(out) vp(out)\n.end\n", o.PerDecade, spice(o.LowHz), spice(o.HighHz))
	return w.String()
}

func (b *Board) inputMeaning() string {
	switch b.Stages[0].Kind {
	case phototransistor, photodiode:
		return "vin: 1 V stands for all of the light in rest, 0.01 V is a pulse of 1 %"
	case electrodes:
		return "vin: volts between the two electrodes"
	}
	return ""
}

// spice writes a number that SPICE reads as it is meant.
func spice(v float64) string { return fmt.Sprintf("%.10g", v) }

func (k *circuit) writeSources(w *strings.Builder) {
	for _, s := range k.sources {
		if s.name == "vin" {
			fmt.Fprintf(w, "vin %s 0 dc 0 ac 1 pulse(0 1m 1m 1n 1n 1e9 2e9)\n", k.names[s.node])
		} else {
			fmt.Fprintf(w, "V%s %s 0 dc %s\n", s.name, k.names[s.node], spice(s.volts))
		}
	}
	for _, e := range k.controlled {
		fmt.Fprintf(w, "%s %s %s %s 0 %s\n", e.name, k.names[e.a], k.names[e.b], k.names[e.from], spice(e.gain))
	}
	for _, f := range k.flows {
		if f.name == "" {
			continue // an op amp's, within its subcircuit
		}
		fmt.Fprintf(w, "%s %s %s dc %s\n", f.name, k.names[f.a], k.names[f.b], spice(f.amps))
		if f.shot {
			times := math.Sqrt(2*charge*f.amps) / math.Sqrt(4*boltzmann*kelvin*noiseResistor)
			fmt.Fprintf(w, "* noise of the light's single charges, made from a resistor\nXcharges %s %s charges\n", k.names[f.a], k.names[f.b])
			fmt.Fprintf(w, ".subckt charges a b\nRn n 0 %g\nGn a b n 0 %s\n.ends\n", noiseResistor, spice(times))
		}
	}
}

func (k *circuit) writeParts(w *strings.Builder, components []Component) {
	for _, list := range [][]twoNode{k.resistors, k.capacitors} {
		for _, e := range list {
			c := &components[e.part]
			fmt.Fprintf(w, "%s %s %s %s", c.element(), k.names[e.a], k.names[e.b], spice(e.value))
			if c.Letter == "P" {
				fmt.Fprintf(w, " ; trimmer of %s at %g", spice(c.Value), c.At)
			}
			fmt.Fprintln(w)
		}
	}
}

// writeAmplifiers writes the op amps and one subcircuit for each kind of them.
func (k *circuit) writeAmplifiers(w *strings.Builder, b *Board) {
	var kinds []OpAmp
	for i, a := range k.amplifiers {
		n := 0
		for n < len(kinds) && kinds[n] != a.limits {
			n++
		}
		if n == len(kinds) {
			kinds = append(kinds, a.limits)
		}
		fmt.Fprintf(w, "XU%d %s %s %s opamp%d\n", i+1, k.names[a.plus], k.names[a.minus], k.names[a.out], n+1)
	}
	for i, o := range kinds {
		what := ClassOf(o)
		if what == "" {
			what = "by its limits"
		}
		white := 4 * boltzmann * kelvin * noiseResistor // V²/Hz
		fmt.Fprintf(w, "* op amp, %s: output from %g V to %g V, offset up to %g V, neither in this circuit\n", what, o.ToLowVolts, b.SupplyVolts-o.ToHighVolts, o.OffsetVolts)
		fmt.Fprintf(w, ".subckt opamp%d plus minus out\n", i+1)
		fmt.Fprintf(w, "Ga 0 a noisy minus 1\nGb a 0 a 0 %s\nCa a 0 %s\nEout out 0 a 0 1\n", spice(1/o.OpenLoopGain), spice(1/(2*math.Pi*o.GainBandwidthHz)))
		fmt.Fprintf(w, "Iplus 0 plus dc %s\nIminus 0 minus dc %s\n", spice(o.BiasAmps), spice(o.BiasAmps))
		// A resistor that carries 1 mA gives its own noise and, by its model, what
		// rises towards low frequencies; 1 V in rest is taken off again.
		fmt.Fprintf(w, ".model flicker R(kf=%s af=2)\nIn 0 n dc 1m\nRn n 0 %g flicker\nVn r 0 dc 1\n", spice(white*o.NoiseCornerHz), noiseResistor)
		fmt.Fprintf(w, "En noisy plus n r %s\n", spice(o.NoiseVoltsPerRootHz/math.Sqrt(white)))
		for _, input := range []string{"plus", "minus"} {
			fmt.Fprintf(w, "Ri%s i%s 0 %g\nGi%s 0 %s i%s 0 %s\n", input, input, noiseResistor, input, input, input, spice(o.NoiseAmpsPerRootHz/math.Sqrt(white)))
		}
		fmt.Fprintln(w, ".ends")
	}
}
