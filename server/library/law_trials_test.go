package library

import (
	"context"

	"pulsewright/acquire"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
	"pulsewright/server/session"
)

func of[T any](v T) *T { return &v }

// trials are invented boards of the evening class: lamp clips and chest leads on 5 V.
func trials() []trial {
	volts := acquire.Channel{Label: "clip", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 5.0 / 1024, MaxCount: 1023}
	plain := acquire.Channel{Label: "A0"}
	ten := acquire.Channel{Label: "A1", MaxCount: 1023}
	lead := acquire.Channel{Label: "lead", Kind: acquire.KindECG, MinCount: -32768, MaxCount: 32767}
	odd := acquire.Channel{Label: "cuff", Kind: acquire.KindPulse, Unit: "mmHg", VoltsPerCount: 0.25, MaxCount: 1023}
	tenths := acquire.Channel{Label: "tenths", Digits: 1, MaxCount: 10230}
	rails := channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1, SupplyLowVolts: of(0.0), SupplyHighVolts: of(5.0), MidRailVolts: of(2.5)}
	amplified := rails
	amplified.Gain, amplified.Invert = 101, true
	full := channel.Scale{Source: "fullscale", FullScaleVolts: 1.6, Gain: 1}
	coupled := full
	coupled.CouplingHz = 2
	scale := func(s channel.Scale) channel.Said { return channel.Said{Scale: &s} }
	setScale := func(n int, sc channel.Scale) func(*session.Session) error {
		return func(s *session.Session) error { return s.SetScale(context.Background(), n, sc) }
	}
	return []trial{
		{name: "the board's volts", rateHz: 250, of: []acquire.Channel{volts}, said: []channel.Said{{}}},
		{name: "counts, a converter told in the middle", rateHz: 250, of: []acquire.Channel{plain}, said: []channel.Said{{}}, change: setScale(0, rails)},
		{name: "converter, gain, turned about the mid-rail, chest lead", rateHz: 250, of: []acquire.Channel{ten}, said: []channel.Said{{Scale: &amplified, Kind: of("ecg")}},
			volts: func(count float64) float64 { return (2*2.5 - count*5/1024) / 101 },
			change: func(s *session.Session) error {
				path := signalpath.Preset("ecg", 250)
				path.Smooth.CutoffHz, path.Hum.Mode = 30, signalpath.Cancel
				_, err := s.SetPath(context.Background(), 0, path)
				return err
			}},
		{name: "full scale, coupling undone", rateHz: 500, of: []acquire.Channel{lead}, said: []channel.Said{scale(coupled)}, change: setScale(0, full)},
		{name: "another unit, another kind in the middle", rateHz: 125, of: []acquire.Channel{odd}, said: []channel.Said{{}}, beats: 5, // a pulse told to be an ECG has none
			change: func(s *session.Session) error { return s.SetKind(context.Background(), 0, "ecg") }},
		{name: "three channels of a board whose clock is off", rateHz: 250, trueHz: 246.2, of: []acquire.Channel{volts, lead, tenths},
			said:   []channel.Said{{Kind: of("pulse")}, scale(full), scale(rails)},
			change: setScale(2, amplified)},
		{name: "decimated", rateHz: 8000, of: []acquire.Channel{volts}, said: []channel.Said{{}}, change: setScale(0, amplified)},
		{name: "three decimated ones", rateHz: 6000, of: []acquire.Channel{volts, ten, lead}, said: []channel.Said{{}, {}, scale(coupled)}},
		{name: "begun in the middle", rateHz: 250, of: []acquire.Channel{volts, ten}, said: []channel.Said{{}, scale(amplified)}, change: setScale(1, rails), late: true},
	}
}
