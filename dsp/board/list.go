package board

import (
	"fmt"
	"math"
)

// Cautions are what to mind before parts are bought or power is put on.
func (b *Board) Cautions() []string {
	var all []string
	say := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	switch first := &b.Stages[0]; first.Kind {
	case electrodes:
		say("Electrodes on a person: batteries only, and nothing else on the computer that leads to the mains. A learning aid, not a medical device.")
		series := first.Parts["series"].Value
		if amps := b.SupplyVolts / series; amps > 50e-6 {
			say("Each wire to a person needs at least %s in series: with %s a fault could drive %s through it, and 50 µA is what IEC 60601-1 allows for a single fault at the heart.", Text(math.Ceil(b.SupplyVolts/50e-6), "Ω"), Text(series, "Ω"), Text(amps, "A"))
		}
		if third := first.Parts["third"].Value; b.SupplyVolts/third > 50e-6 {
			say("The third electrode is a wire to a person too: %s lets %s through in a fault; take at least %s.", Text(third, "Ω"), Text(b.SupplyVolts/third, "A"), Text(math.Ceil(b.SupplyVolts/50e-6), "Ω"))
		}
	case phototransistor, photodiode:
		say("Do not stare into bright or infrared light: %s through the lamp. Enclose clip and wires, low voltage only.", Text(first.Parts["lamp"].Value, "A"))
		if first.Parts["lamp"].Value > 0.03 {
			say("%s is more than many small lamps bear all the time (common practice: 20 to 30 mA); read its data sheet.", Text(first.Parts["lamp"].Value, "A"))
		}
	}
	if b.MidRail == nil && b.usesMiddle() {
		say("There is no mid-rail: on a single supply everything below 0 V is cut off.")
	}
	if c := b.Converter; c != nil && c.ReferenceVolts < b.SupplyVolts {
		say("The supply of %s is above the converter's reference of %s: an output at its upper end may harm the converter's input. Put a divider or a series resistor with clamps before it.", Text(b.SupplyVolts, "V"), Text(c.ReferenceVolts, "V"))
	}
	for i, s := range b.Stages {
		for _, role := range []string{"capacitor", "legCapacitor", "inCapacitor"} {
			if p, ok := s.Parts[role]; ok && p.Value >= 1e-6 && s.Kind != lowPass && s.Kind != divider && s.Kind != sallenKey {
				say("Stage %d (%s): %s is usually an electrolytic: mind its plus, and that it leaks; its tolerance is often 20 %%.", i+1, s.Title(), Text(p.Value, "F"))
			}
		}
	}
	return all
}

func (b *Board) usesMiddle() bool {
	for _, s := range b.Stages {
		switch s.Kind {
		case coupling, inverting, electrodes, nonInverting:
			return true
		}
	}
	return false
}
