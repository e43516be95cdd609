package server

import (
	"fmt"
	"math/bits"
	"net/http"

	"pulsewright/acquire"
	"pulsewright/dsp/firmware"
	"pulsewright/dsp/signalpath"
)

// Firmware is what GET /channels/{n}/path/firmware answers.
type Firmware struct {
	Form       firmware.Form `json:"form"`
	Bits       int           `json:"bits"`
	Signed     bool          `json:"signed"`
	RateHz     float64       `json:"rateHz"`
	Sections   int           `json:"sections"`
	Fraction   int           `json:"fraction"` // an output is counts times 2^fraction
	CyclesAVR  int           `json:"cyclesAvr"`
	StateBytes int           `json:"stateBytes"`
	ErrorDB    float64       `json:"errorDb"` // by rounding, at errorHz
	ErrorHz    float64       `json:"errorHz"`
	Code       string        `json:"code"`
}

// getFirmware answers a channel's path as C, within its costs and its rounding, or the C
// alone as a file.
func (s *Server) getFirmware(w http.ResponseWriter, r *http.Request) {
	n := channelOf(r)
	wide, signed := 10, false
	if channels := s.session.State().Source.Channels; n >= 0 && n < len(channels) {
		wide, signed = ConverterBits(channels[n])
	}
	asked, ok := queryNumber(w, r, "bits", float64(wide), 8, 24)
	if !ok {
		return
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
		return
	}
	sections, rateHz, settings, err := s.session.PathSections(r.Context(), n)
	if err != nil {
		Fail(w, err)
		return
	}
	config := firmware.Config{RateHz: rateHz, Bits: int(asked), Signed: signed, Form: firmware.Form(query.Get("form"))}
	if config.Form == "" {
		config.Form = firmware.Exact
	}
	f, err := firmware.New(sections, config)
	if err != nil {
		fail(w, http.StatusConflict, err.Error())
		return
	}
	out := Firmware{Form: config.Form, Bits: config.Bits, Signed: signed, RateHz: rateHz, Sections: len(sections), Fraction: f.Fraction(), CyclesAVR: f.Cycles(), StateBytes: f.StateBytes()}
	out.ErrorHz, out.ErrorDB = f.Error()
	out.Code = f.C(AboutPath(settings, rateHz))
	if query.Get("download") == "" {
		Answer(w, out)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="pulsewright_path.h"`)
	_, _ = w.Write([]byte(out.Code))
}

// ConverterBits is the width of the converter whose range a channel states; 10 bits,
// unsigned, when it states none.
func ConverterBits(c acquire.Channel) (width int, signed bool) {
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
