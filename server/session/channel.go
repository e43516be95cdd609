package session

import (
	"pulsewright/server/channel"
)

// worker is one channel of the session: its engine, and what it made for the frame under
// way. The session's goroutine owns it.
type worker struct {
	engine *channel.Engine
	from   channel.From // where its settings came from
	out    channel.Output
	floats [points][]float32 // the points of out, as a frame has them
	humHz  float64           // as told to the taps
	eras   []era             // back to what the history has
}

// era is from which point on settings held.
type era struct {
	from     int64
	settings channel.Settings
}

// began notes that settings hold from the next point on; what ended before oldest is forgotten.
func (w *worker) began(oldest int64) {
	w.eras = append(w.eras, era{w.engine.Point(), w.settings()})
	for len(w.eras) > 1 && w.eras[1].from <= oldest {
		w.eras = w.eras[1:]
	}
}

// settings are those that hold.
func (w *worker) settings() channel.Settings { return w.engine.Settings() }

// said notes that the user said something of the channel.
func (w *worker) said(old, now channel.Settings) {
	if old.Kind != now.Kind {
		w.from.Kind = channel.PlaceSaid
	}
	if old.Board != now.Board {
		w.from.Board = channel.PlaceSaid
	}
	w.from.Scale, w.from.Path = channel.PlaceSaid, channel.PlaceSaid
}

// round turns the points into a frame's.
func (w *worker) round() {
	for p := range w.floats {
		w.floats[p] = w.floats[p][:0]
		for _, v := range w.out.Series[p] {
			w.floats[p] = append(w.floats[p], float32(v))
		}
	}
}

func (w *worker) state() ChannelState {
	e := w.engine
	settings, c := e.Settings(), e.Described()
	low, high := settings.Ends(c)
	l := e.Linear()
	return ChannelState{Label: settings.Label, Kind: settings.Kind, Unit: l.Unit, Path: settings.Path, Scale: settings.Scale, Board: settings.Board, From: w.from,
		HumHz: e.Path().HumHz(), StepVolts: l.Step(), Printed: settings.Printed(c), LowVolts: low, HighVolts: high, Coupling: settings.Scale.Coupling(), LatencySeconds: e.LatencySeconds()}
}
