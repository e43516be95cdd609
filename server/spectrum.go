package server

import (
	"fmt"
	"math"
	"net/http"

	"pulsewright/dsp/meter"
	"pulsewright/server/analysis"
)

// Spectrum is what GET /channels/{n}/spectrum answers.
type Spectrum struct {
	analysis.Spectrum
	Unit    string  `json:"unit"`
	Seconds float64 `json:"seconds"` // of signal that went in
	HumHz   float64 `json:"humHz"`   // 0 when none is known
	Point   int     `json:"point"`
	// DensityLimitVoltsPerRootHz is the converter's own noise, 0 when unknown.
	DensityLimitVoltsPerRootHz float64 `json:"densityLimitVoltsPerRootHz"`
}

// getSpectrum answers the Welch density of the newest seconds of one point.
func (s *Server) getSpectrum(w http.ResponseWriter, r *http.Request) {
	point, ok := asked{"point", 0, 0, 4}.read(w, r)
	if !ok {
		return
	}
	seconds, ok := asked{"seconds", 8, 1, 120}.read(w, r)
	if !ok {
		return
	}
	channel := channelOf(r)
	values, rateHz, unit, err := s.session.Recent(channel, int(point), seconds)
	if err != nil {
		Fail(w, err)
		return
	}
	if len(values) < analysis.LeastSamples {
		fail(w, http.StatusConflict, fmt.Sprintf("only %d samples without a gap: a spectrum needs %d or more, so wait a moment", len(values), analysis.LeastSamples))
		return
	}
	out := Spectrum{Unit: unit, Seconds: float64(len(values)) / rateHz, Point: int(point)}
	if out.Spectrum, err = analysis.SpectrumOf(values, rateHz); err != nil {
		Fail(w, err)
		return
	}
	if state := s.session.State(); channel < len(state.Channels) {
		c := state.Channels[channel]
		out.HumHz = c.HumHz
		if report, err := s.session.Report(channel); err == nil && out.HumHz == 0 && report.Hum.Found {
			out.HumHz = report.Hum.FreqHz // of the meters, while the path takes none out
		}
		if !c.Printed {
			out.DensityLimitVoltsPerRootHz = converterLimit(c.StepVolts, rateHz)
		}
	}
	Answer(w, out)
}

// converterLimit is the amplitude density of an ideal converter's rounding: a
// variance of step²/12 spread evenly up to half the rate.
func converterLimit(step, rateHz float64) float64 {
	return step * math.Sqrt(1/(6*rateHz))
}

// getTrimmer answers advice on a single-pole low-pass.
func (s *Server) getTrimmer(w http.ResponseWriter, r *http.Request) {
	var t meter.TrimmerConfig
	for _, q := range []struct {
		name string
		into *float64
		low  float64
		high float64
		part float64 // the smallest that is built, 0 for what is no part
	}{
		{"presentOhms", &t.PresentOhms, 0, 1e9, 1e-3}, {"presentFarads", &t.PresentFarads, 0, 1, 1e-15}, {"capacitorFarads", &t.CapacitorFarads, 0, 1, 1e-15},
		{"trimmerOhms", &t.TrimmerOhms, 0, 1e9, 1e-3}, {"targetDb", &t.TargetDB, -120, 0, 0},
	} {
		x, ok := asked{q.name, 0, q.low, q.high}.read(w, r)
		if !ok {
			return
		}
		if x > 0 && x < q.part {
			fail(w, http.StatusBadRequest, fmt.Sprintf("%s=%g: no part is that small: give %g or more, or leave it out", q.name, x, q.part))
			return
		}
		*q.into = x
	}
	advice, err := s.session.Trimmer(r.Context(), channelOf(r), t)
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, advice)
}
