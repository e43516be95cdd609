package server

import (
	"fmt"
	"math"
	"math/bits"
	"net/http"

	"pulsewright/acquire"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/firmware"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
	"pulsewright/server/session"
)

// Firmware is what GET /channels/{n}/path/firmware answers.
type Firmware struct {
	Form       firmware.Form `json:"form"`
	Bits       int           `json:"bits"`
	Signed     bool          `json:"signed"`
	RateHz     float64       `json:"rateHz"`
	Rate       FirmwareRate  `json:"rate"`
	Sections   int           `json:"sections"`
	Fraction   int           `json:"fraction"` // an output is counts times 2^fraction
	CyclesAVR  int           `json:"cyclesAvr"`
	StateBytes int           `json:"stateBytes"`
	ErrorDB    float64       `json:"errorDb"` // by rounded coefficients, at errorHz
	ErrorHz    float64       `json:"errorHz"`
	// NoiseCounts is how far the rounding of outputs moves one at most, NoiseOfBeat the
	// same as a share of an ordinary beat.
	NoiseCounts float64 `json:"noiseCounts"`
	NoiseOfBeat float64 `json:"noiseOfBeat"`
	// ConstantBytes of program memory hold the coefficients.
	ConstantBytes int    `json:"constantBytes"`
	Code          string `json:"code"`
	File          string `json:"file"`
	// Of a whole program: what it takes of an ATmega328P, and how late it tells a beat.
	Cost           *firmware.Cost `json:"cost"`
	LatencySeconds float64        `json:"latencySeconds"`
}

// Where a FirmwareRate is from.
const (
	rateExact    = "exact"    // the samples are the clock, or nothing was measured yet
	rateSaid     = "said"     // by the board or in its address; the measurement agrees
	rateUsual    = "usual"    // a usual rate; the measurement agrees
	rateMeasured = "measured" // neither agrees
)

// FirmwareRate is the rate that firmware is made for and which it is.
type FirmwareRate struct {
	Hz            float64 `json:"hz"`
	From          string  `json:"from"`       // exact, said, usual or measured
	MeasuredHz    float64 `json:"measuredHz"` // 0: nothing
	UncertaintyHz float64 `json:"uncertaintyHz"`
}

// usualHz are rates that boards usually have.
var usualHz = []float64{25, 50, 100, 125, 128, 150, 200, 250, 256, 300, 360, 400, 475, 500, 512, 600, 800, 860, 1000, 1024, 2000, 4000}

// firmwareRate chooses the rate for firmware of a path that was designed for designedHz: the one that is said or the
// nearest usual one, where it lies within what was measured, else designedHz.
func firmwareRate(designedHz float64, decimation int, c session.ClockState) FirmwareRate {
	r := FirmwareRate{Hz: designedHz, From: rateExact}
	if c.Exact || decimation > 1 || !(c.MeasuredRateHz > 0) {
		return r
	}
	r.From, r.MeasuredHz, r.UncertaintyHz = rateMeasured, c.MeasuredRateHz, c.UncertaintyHz
	off := c.UncertaintyHz
	for _, hz := range usualHz {
		if d := math.Abs(hz - c.MeasuredRateHz); d <= off {
			r.Hz, r.From, off = hz, rateUsual, d
		}
	}
	if said := c.ClaimedRateHz; said > 0 && math.Abs(said-c.MeasuredRateHz) <= c.UncertaintyHz {
		r.Hz, r.From = said, rateSaid
	}
	return r
}

// about says in a line which rate it is, "" where there is nothing to say.
func (r FirmwareRate) about() string {
	measured := fmt.Sprintf("%.6g ± %.1g", r.MeasuredHz, r.UncertaintyHz)
	switch r.From {
	case rateSaid:
		return fmt.Sprintf("  rate    %.6g samples a second, as said of the board; measured %s", r.Hz, measured)
	case rateUsual:
		return fmt.Sprintf("  rate    %.6g samples a second, a usual rate; measured %s", r.Hz, measured)
	case rateMeasured:
		return fmt.Sprintf("  rate    %.6g samples a second, as measured: now %s", r.Hz, measured)
	}
	return ""
}

// firmwareAsked is what firmware is asked for.
type firmwareAsked struct {
	sections filter.Sections
	config   firmware.Config
	rate     FirmwareRate
	about    []string
}

// firmwareOf reads what firmware is asked for: a channel's path as sections, and how the
// board computes. It answers itself and returns false when that cannot be.
func (s *Server) firmwareOf(w http.ResponseWriter, r *http.Request, n int) (a firmwareAsked, ok bool) {
	wide, signed := 10, false
	state := s.session.State()
	if n >= 0 && n < len(state.Channels) && n < len(state.Source.Channels) {
		wide, signed = ConverterBits(state.Source.Channels[n], state.Channels[n].Scale)
	}
	bits, ok := asked{"bits", float64(wide), 8, 24}.read(w, r)
	if !ok {
		return a, false
	}
	query := r.URL.Query()
	switch query.Get("signed") {
	case "":
	case "true":
		signed = true
	case "false":
		signed = false
	default:
		fail(w, http.StatusBadRequest, fmt.Sprintf("signed=%s: give true or false", quoteShort(query.Get("signed"))))
		return a, false
	}
	sections, rateHz, settings, err := s.session.PathSections(r.Context(), n)
	if err != nil {
		Fail(w, err)
		return a, false
	}
	a.rate = firmwareRate(rateHz, state.Decimation, state.Clock)
	if a.rate.Hz != rateHz {
		if sections, settings, err = channel.Sections(settings, a.rate.Hz); err != nil {
			Fail(w, err)
			return a, false
		}
	}
	a.sections = sections
	a.config = firmware.Config{RateHz: a.rate.Hz, Bits: int(bits), Signed: signed, Invert: s.session.State().Channels[n].Scale.Invert, Form: firmware.Form(query.Get("form"))}
	if a.config.Form == "" {
		a.config.Form = firmware.Exact
	}
	a.about = AboutPath(settings, a.rate.Hz)
	if line := a.rate.about(); line != "" {
		a.about = append(a.about, line)
	}
	return a, true
}

// getFirmware answers a channel's path as C, within its costs and its rounding, or the C
// alone as a file; with whole=ino, avr or c a whole program around it.
func (s *Server) getFirmware(w http.ResponseWriter, r *http.Request) {
	n := channelOf(r)
	a, ok := s.firmwareOf(w, r, n)
	if !ok {
		return
	}
	sections, config, about := a.sections, a.config, a.about
	f, err := firmware.New(sections, config)
	if err != nil {
		fail(w, http.StatusConflict, err.Error())
		return
	}
	out := Firmware{Form: config.Form, Bits: config.Bits, Signed: config.Signed, RateHz: config.RateHz, Rate: a.rate, Sections: len(sections), Fraction: f.Fraction(), CyclesAVR: f.Cycles(), StateBytes: f.StateBytes(), ConstantBytes: f.ConstantBytes()}
	out.ErrorHz, out.ErrorDB = f.Error()
	out.NoiseCounts, out.NoiseOfBeat = f.Noise(), f.NoiseOfBeat()
	out.Code, out.File = f.C(about), "pulsewright_path.h"
	if target := firmware.Target(r.URL.Query().Get("whole")); target != "" {
		board, err := firmware.NewBoard(sections, firmware.Kind(s.session.State().Channels[n].Kind), config)
		if err == nil {
			out.Code, err = board.Program(target, about)
		}
		if err != nil {
			fail(w, http.StatusConflict, err.Error())
			return
		}
		cost := board.Cost()
		out.Cost, out.LatencySeconds, out.RateHz = &cost, board.LatencySeconds(), board.RateHz()
		out.File = map[firmware.Target]string{firmware.Ino: "pulsewright_board.ino", firmware.AVR: "board.c", firmware.Plain: "board.c"}[target]
	}
	if r.URL.Query().Get("download") == "" {
		Answer(w, out)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+out.File+`"`)
	_, _ = w.Write([]byte(out.Code))
}

// ConverterBits is the width of a channel's converter as it was said, else by the range
// that the channel states; 10 bits, unsigned, when it states none.
func ConverterBits(c acquire.Channel, s channel.Scale) (width int, signed bool) {
	if s.Source == channel.ScaleConverter {
		return min(max(s.Bits, 8), 24), s.Signed
	}
	if c.MinCount >= c.MaxCount {
		return 10, false
	}
	signed = c.MinCount < 0
	width = bits.Len32(uint32(max(c.MaxCount, -(c.MinCount + 1))))
	if signed {
		width++
	}
	return min(max(width, 8), 24), signed
}

// AboutPath describes a path in the words of the page; its mains frequency is known.
func AboutPath(p signalpath.Settings, rateHz float64) []string {
	about := []string{fmt.Sprintf("Signal path for %.6g samples a second, set in Pulsewright:", rateHz)}
	if p.Drift.On {
		about = append(about, fmt.Sprintf("  drift   Butterworth high-pass, %g Hz, order %d", p.Drift.CutoffHz, p.Drift.Order))
	}
	if p.Hum.Mode == signalpath.Notch {
		about = append(about, fmt.Sprintf("  hum     notch, %g Hz × 1 to %d, %g Hz wide", p.Hum.FreqHz, p.Hum.Harmonics, p.Hum.BandwidthHz))
	}
	switch p.Smooth.Shape {
	case signalpath.RC:
		about = append(about, fmt.Sprintf("  smooth  single-pole low-pass, %g Hz", p.Smooth.CutoffHz))
	case signalpath.Butterworth:
		about = append(about, fmt.Sprintf("  smooth  Butterworth low-pass, %g Hz, order %d", p.Smooth.CutoffHz, p.Smooth.Order))
	}
	if len(about) == 1 {
		about = append(about, "  every stage is off")
	}
	return about
}
