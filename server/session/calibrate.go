package session

import (
	"context"
	"errors"
	"fmt"
	"math"

	"pulsewright/dsp/response"
	"pulsewright/server/channel"
)

// Calibration asks for a sound input's level, its coupling, or both to be measured
// and taken over. The source must be running with the stimulus on it.
type Calibration struct {
	// Method is "tone" (of a known level) or "step" (a direct voltage connected or
	// taken away once).
	Method string `json:"method"`
	// Volts is the tone's rms or the step's height at the input; 0 with a step
	// measures the coupling alone.
	Volts float64 `json:"volts"`
	// FreqHz is about the tone's frequency; 0 stands for 1000.
	FreqHz float64 `json:"freqHz"`
}

// Calibrated is what was measured and taken over.
type Calibrated struct {
	FullScaleVolts float64           `json:"fullScaleVolts"` // 0 when the level was not measured
	Tone           *response.ToneFit `json:"tone,omitempty"` // levels as shares of full scale
	Step           *response.StepFit `json:"step,omitempty"` // Height in the unit shown
	// ShareOfFullScale is the tone's peak or the step's height.
	ShareOfFullScale float64       `json:"shareOfFullScale"`
	Scale            channel.Scale `json:"scale"`
}

// ErrNoSound answers a tone's measurement at a source that is no sound input.
var ErrNoSound = errors.New("the source is no sound input: only there a tone is measured; set the scale by the converter's reference and bits")

// toneSeconds is how much of a tone is looked at.
const toneSeconds = 1.0

// leastShare of full scale is what a stimulus must have, so that a 16-bit input
// measures it to a part in a hundred.
const leastShare = 0.003

// Calibrate measures and takes over.
func (s *Session) Calibrate(ctx context.Context, n int, want Calibration) (out Calibrated, err error) {
	switch {
	case want.Method != "tone" && want.Method != "step":
		return out, fmt.Errorf("method %q: choose tone or step", want.Method)
	case !(math.Abs(want.Volts) <= 1000) || want.Method == "tone" && !(want.Volts > 0):
		return out, fmt.Errorf("level of %g V: give the volts at the input, above 0 and at most 1000", want.Volts)
	}
	if want.FreqHz == 0 {
		want.FreqHz = 1000
	}
	if want.Method == "tone" {
		out, err = s.measureTone(ctx, n, want)
	} else {
		out, err = s.measureStep(ctx, n, want)
	}
	if err != nil {
		return out, err
	}
	return out, s.SetScale(ctx, n, out.Scale)
}

func (s *Session) measureTone(ctx context.Context, n int, want Calibration) (out Calibrated, err error) {
	var values []float64
	var rateHz float64
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		full, ok := s.source.(interface {
			Recent(channel int, seconds float64) ([]float64, float64, error)
		})
		if !ok {
			err = ErrNoSound
			return
		}
		out.Scale = s.channels[n].settings().Scale
		values, rateHz, err = full.Recent(n, toneSeconds)
	})
	if err = errors.Join(doErr, err); err != nil {
		return out, err
	}
	for _, v := range values {
		if v <= -1 || v >= 0.99996 { // 32767/32768
			return out, errors.New("the tone reaches full scale: turn it or the input down, so that it is not clipped")
		}
	}
	tone, err := response.Tone(values, rateHz, want.FreqHz)
	if err != nil {
		return out, err
	}
	out.ShareOfFullScale = tone.RMS * math.Sqrt2
	if out.ShareOfFullScale < leastShare {
		return out, fmt.Errorf("the tone has %.2g %% of full scale: feed at least %.1f %%", 100*out.ShareOfFullScale, 100*leastShare)
	}
	out.Tone, out.FullScaleVolts = &tone, want.Volts/tone.RMS
	out.Scale.Source, out.Scale.FullScaleVolts = "fullscale", out.FullScaleVolts
	return out, out.Scale.Check()
}

func (s *Session) measureStep(ctx context.Context, n int, want Calibration) (out Calibrated, err error) {
	var values []float64
	var rateHz, perFull float64
	doErr := s.do(ctx, func() {
		if err = channelExists(n, len(s.channels)); err != nil {
			return
		}
		e := s.channels[n].engine
		out.Scale, values, rateHz, perFull = e.Settings().Scale, e.Recent(), e.RateHz(), math.Abs(e.Linear().Factor)*channel.FullCount(e.Described())
		if e.ClippedSeconds() < channel.RecentSeconds {
			err = errors.New("the step reached full scale: divide the voltage more, wait eight seconds and try again")
		}
	})
	if err = errors.Join(doErr, err); err != nil {
		return out, err
	}
	step, err := response.Step(values, rateHz)
	if err != nil {
		return out, err
	}
	out.Step, out.ShareOfFullScale = &step, math.Abs(step.Height)/perFull
	out.Scale.CouplingHz = step.CornerHz
	if want.Volts != 0 {
		if out.ShareOfFullScale < leastShare {
			return out, fmt.Errorf("the step has %.2g %% of full scale: feed at least %.1f %%", 100*out.ShareOfFullScale, 100*leastShare)
		}
		out.FullScaleVolts = math.Abs(want.Volts) / out.ShareOfFullScale
		out.Scale.Source, out.Scale.FullScaleVolts = "fullscale", out.FullScaleVolts
	}
	return out, out.Scale.Check()
}
