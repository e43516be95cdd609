package server

import (
	"fmt"
	"math"
	"net/http"

	"pulsewright/acquire"
	"pulsewright/dsp/wire"
)

// wireAnswer is what POST /channels/{n}/wire answers: the newest look, and what it means.
type wireAnswer struct {
	Look   wire.Look   `json:"look"`
	Answer wire.Answer `json:"answer"`
}

// wireBody is what was done, and what was seen before.
type wireBody struct {
	Action wire.Action               `json:"action"`
	Before map[wire.Action]wire.Look `json:"before"`
}

// postWire looks at the newest seconds of a channel after an action, and says what is
// wrong with the wire or what to do next. The looks before it are the page's to keep.
func (s *Server) postWire(w http.ResponseWriter, r *http.Request) {
	var body wireBody
	if !s.channelThere(w, r) || !ReadJSON(w, r, &body) {
		return
	}
	if wire.Ask[body.Action] == "" {
		fail(w, http.StatusBadRequest, fmt.Sprintf("action %q: there is none of that name; begin with %q", body.Action, wire.AsItIs))
		return
	}
	n := channelOf(r)
	values, rateHz, _, err := s.session.Recent(n, 0, wire.Seconds)
	if err != nil {
		Fail(w, err)
		return
	}
	report, err := s.session.Report(n)
	if err != nil {
		Fail(w, err)
		return
	}
	c := s.session.State().Channels[n]
	cfg := wire.Config{RateHz: rateHz, Low: c.LowVolts, High: c.HighVolts, Step: c.StepVolts, Kind: c.Kind, NoPulse: report.Pulse.None && c.Kind != acquire.KindOther,
		SupplyLow: inGain(c.Scale.SupplyLowVolts, c.Scale.Gain), SupplyHigh: inGain(c.Scale.SupplyHighVolts, c.Scale.Gain)}
	look, err := wire.LookAt(cfg, values)
	if err != nil {
		Fail(w, err)
		return
	}
	after := map[wire.Action]wire.Look{}
	for a, l := range body.Before {
		after[a] = l
	}
	after[body.Action] = look
	now, ok := after[wire.AsItIs]
	if !ok {
		fail(w, http.StatusBadRequest, fmt.Sprintf("no look at the signal as it is; begin with %q", wire.AsItIs))
		return
	}
	Answer(w, wireAnswer{look, wire.Decide(cfg, now, after)})
}

// inGain is a voltage of the board in the unit of the values; NaN where it is not told.
func inGain(volts *float64, gain float64) float64 {
	if volts == nil || gain == 0 {
		return math.NaN()
	}
	return *volts / gain
}
