package channel

import (
	"fmt"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/signalpath"
)

// slow tells that a rate is too low for filters and meters: the trace alone is shown.
func slow(rateHz float64) bool { return rateHz < filter.MinRateHz }

// leastHz is the rate that beats of a kind need.
func leastHz(kind string) float64 {
	if kind == acquire.KindECG {
		return beat.ECGMinRateHz
	}
	return filter.MinRateHz
}

// tooSlow is why no beats are looked for at a rate, "" when they are.
func (s Settings) tooSlow(rateHz float64) string {
	if least := leastHz(s.Kind); s.hasBeats() && rateHz < least {
		return fmt.Sprintf("%.0f samples a second are needed for the beats of this kind, and %.3g come: only the trace is shown; let the board sample faster", least, rateHz)
	}
	return ""
}

// pathAt is a path for a rate. One that is too low for filters has none, whatever the
// settings say.
func pathAt(s signalpath.Settings, rateHz float64) (*signalpath.Path, error) {
	if !slow(rateHz) {
		return signalpath.New(s, rateHz)
	}
	return signalpath.New(signalpath.Settings{}, filter.MinRateHz)
}
