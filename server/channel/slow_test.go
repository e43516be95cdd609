package channel

import (
	"math"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// TestSlowChannel: at rates too low for filters, meters or beats the trace comes out all
// the same, and the reading says what is needed.
func TestSlowChannel(t *testing.T) {
	for _, c := range []struct {
		kind string
		hz   float64
		says string
	}{
		{acquire.KindPulse, 1, "25 samples a second"}, {acquire.KindPulse, 10.049231051508318, "25 samples a second"},
		{acquire.KindECG, 24.9, "100 samples a second"}, {acquire.KindECG, 50, "100 samples a second"}, {acquire.KindPulse, 25, ""}, {acquire.KindOther, 2, ""},
	} {
		described := acquire.Channel{Label: "slow", Kind: c.kind}
		settings := Resolve(Places{Described: described, RateHz: c.hz}).Settings
		e, err := New(Config{Described: described, Settings: settings, RateHz: c.hz, Parts: All})
		if err != nil {
			t.Errorf("%s at %g Hz: %v", c.kind, c.hz, err)
			continue
		}
		var out Output
		counts := []int32{5, 7, 6, 8, 5, 7}
		e.Process(&out, counts)
		if out.Len() != len(counts) {
			t.Fatalf("%s at %g Hz: %d points", c.kind, c.hz, out.Len())
		}
		for i, n := range counts {
			for p := range out.Series {
				if v := out.Series[p][i]; math.IsNaN(v) || c.hz < 25 && v != float64(n) {
					t.Errorf("%s at %g Hz: point %d of series %d is %g, want %d", c.kind, c.hz, i, p, v, n)
				}
			}
		}
		r := e.Reading()
		if c.says != "" && (r.State != "off" || !strings.Contains(r.Reason, c.says)) || c.says == "" && strings.Contains(r.Reason, "needed") {
			t.Errorf("%s at %g Hz: %+v", c.kind, c.hz, r)
		}
		if _, ok := e.Report(); ok && c.hz < 25 {
			t.Errorf("%g Hz: meters", c.hz)
		}
		if err := e.Set(settings); err != nil {
			t.Errorf("%g Hz: setting the settings: %v", c.hz, err)
		}
		if err := settings.CheckAt(c.hz); err != nil {
			t.Errorf("%g Hz: %v", c.hz, err)
		}
	}
}
