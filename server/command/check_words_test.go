package command

import (
	"strings"
	"testing"

	"pulsewright/dsp/meter"
)

// The swing in volts is known without the rails; its share is named after what is known.
func TestSwingShareWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		level meter.Level
		want  string
	}{
		{meter.Level{Known: true, SwingVolts: 1.846, RailKnown: true, RailShare: 0.369}, "1.846 V, 37 % of the supply"},
		{meter.Level{Known: true, SwingVolts: 1.846, RailKnown: true, RailShare: 0.369, RailReason: "the supply is unknown"}, "1.846 V, 37 % of the converter's range"},
		{meter.Level{Known: true, SwingVolts: 1.846, RailReason: "set the rails"}, "1.846 V, its share is not known: set the rails"},
	} {
		var out strings.Builder
		printReport(&out, meter.Report{Unit: "V", Level: c.level})
		if !strings.Contains(out.String(), c.want+"\n") {
			t.Errorf("report %q, want %q in it", out.String(), c.want)
		}
	}
}
