package wire

import (
	"fmt"
	"math"
)

// Action is what somebody did before a look.
type Action string

// The actions that are asked for. Touch and join are for an input with nobody connected.
const (
	AsItIs  Action = "as it is"
	Cover   Action = "cover"   // the sensor, against all light
	Touch   Action = "touch"   // the input, with a finger
	Join    Action = "join"    // the electrode leads
	Lamp    Action = "lamp"    // the lamps unplugged
	Charger Action = "charger" // the computer's charger pulled
)

// Ask is what a person is asked to do.
var Ask = map[Action]string{
	AsItIs:  "Leave the board as it is, and keep still.",
	Cover:   "Cover the sensor against all light, a dark cloth over it, no finger in it. Hold it so.",
	Touch:   "Let go of everything, take electrodes off first: nobody may be connected. Then touch the bare wire of the input with one finger, and hold it.",
	Join:    "Take the electrodes off, nobody may be connected. Clip the ends of all leads together.",
	Lamp:    "Let go of everything. Unplug the lamps near the board, or switch the light off.",
	Charger: "Let go of everything. Pull the charger out of the computer, so that it runs from its battery; unplug a second screen too.",
}

// Fault is what was found.
type Fault string

// The faults told apart, and the ends without one.
const (
	Floating   Fault = "floating"
	Shorted    Fault = "shorted"
	StuckHigh  Fault = "stuck high"
	StuckLow   Fault = "stuck low"
	LEDOff     Fault = "LED off"
	Daylight   Fault = "daylight"
	LampLight  Fault = "lamp"
	Electrode  Fault = "electrode off"
	SupplyHum  Fault = "supply hum"
	GroundLoop Fault = "ground loop"
	FirstStage Fault = "first stage clips"
	NoPulse    Fault = "no pulse"
	SmallHum   Fault = "small hum"
	Nothing    Fault = "nothing found"
	NotYet     Fault = ""
)

// Answer is a fault with what it was recognised by, or the action to ask for next.
type Answer struct {
	Fault  Fault    `json:"fault"` // "" while something is asked
	Ask    Action   `json:"ask"`   // "" when a fault is told
	Text   string   `json:"text"`
	By     []string `json:"by"` // what it was recognised by
	Remedy string   `json:"remedy"`
}

// told is what is said of each fault.
var told = map[Fault][2]string{
	Floating:   {"The input hangs in the air: nothing drives it.", "Follow the wire from the pin to the board's output: a broken wire, the wrong pin, or a board without power. More gain does not help."},
	Shorted:    {"The input is joined to a fixed voltage: ground, mid-rail or supply.", "Look for a bridge of solder, a wire in the wrong row, or an output that is not the one meant. Measure the pin with a voltmeter."},
	StuckHigh:  {"The signal is stuck at the upper end.", "Measure the board's output with a voltmeter: an amplifier at its upper rail amplifies an offset too much, or its feedback is open."},
	StuckLow:   {"The signal is stuck at the lower end.", "Check the board's supply, its mid-rail's two resistors and buffer, and that the output reaches the pin."},
	LEDOff:     {"The sensor sees the room's light, but no light of its own: its LED is off.", "Check the LED's polarity, its resistor and its supply: 1.2 to 3 V should lie across it."},
	Daylight:   {"Too much light: the sensor is saturated.", "Shade the sensor, or take a smaller resistor at the photodiode or phototransistor."},
	LampLight:  {"The sensor sees a lamp flicker.", "Shade the sensor; lamps on the mains flicker at twice its frequency."},
	Electrode:  {"An electrode is off, or its lead is broken.", "With everything on batteries: press the electrodes on, wet the skin under them, and try another lead."},
	SupplyHum:  {"Hum comes with the supply.", "Run the board from batteries, or put a regulator and a capacitor of 100 µF or more at its supply."},
	GroundLoop: {"The hum comes through the computer's charger: a ground loop.", "Run the computer from its battery, and connect the board's ground at one place only."},
	FirstStage: {"An early stage is cut off: flat tops that stand inside the range.", "Lower the gain of the stage before, or its offset; more gain or less gain behind it changes only how high the flat tops stand."},
	NoPulse:    {"The wire brings the sensor's signal, but no pulse was found in it: is the finger on the sensor?", "Lay the finger on the sensor, press lightly, keep still for ten seconds, and look again. If the finger lay there: warm it, or try another."},
	SmallHum:   {"The wire brings a signal, and hum is most of it, but little hum.", "Put the sensor on, shorten and twist its leads, keep mains cables away, and look again."},
	Nothing:    {"Nothing wrong with the wire was found.", "The wire needs no work. If there is no rate: keep still for ten seconds, with the sensor on. If the trace is small or noisy: do what stands under the first cross below."},
}

// noHeartbeat is what is told of NoPulse where electrodes are the sensor.
var noHeartbeat = [2]string{"The wire brings a signal, but no heartbeat was found in it: are the electrodes on?", "Press the electrodes on, wet the skin under them, keep still for ten seconds, and look again. If they were on: try another lead."}

const (
	stuckShare  = 0.9 // of the values at an end of the converter
	stillSteps  = 3.0 // counts that a still signal may move
	stillShare  = 0.003
	humShare    = 0.6  // of the power: hum rules
	humWidth    = 0.02 // rms over the range: hum that is worth a search
	flatShare   = 0.08 // of the values at a flat top: a sine's has 0.064 within a hundredth of its swing
	flatFoot    = 0.25 // at a flat bottom of a pulse
	inside      = 0.06 // of the range away from its ends
	levelMoves  = 0.05 // of the range
	halves      = 0.5  // what an action must leave of a hum that it explains
	grows       = 2.0  // times, by a finger on an input that hangs in the air
	seen2to1    = 1.5  // second harmonic over the fundamental: light or a rectifier
	touchChange = 0.15 // of the range: a finger moves an open input's level
)

// case of the looks so far.
type finder struct {
	cfg        Config
	now        Look
	after      map[Action]Look
	low, width float64
	by         []string
}

// Decide tells what is wrong, or what to ask next, from the look at the signal as it is
// and those after actions.
func Decide(cfg Config, now Look, after map[Action]Look) Answer {
	f := &finder{cfg: cfg, now: now, after: after}
	f.low, f.width = cfg.span()
	if f.width == 0 { // nothing known: what was seen so far
		f.low, f.width = now.Low, now.Swing()
		for _, l := range after {
			f.low, f.width = min(f.low, l.Low), max(f.width, max(now.High, l.High)-min(now.Low, l.Low))
		}
	}
	switch {
	case now.AtHigh > stuckShare, f.still() && f.place() > 1-inside:
		f.say("%.0f %% of the values lie at the upper end", 100*max(now.AtHigh, now.FlatHigh))
		return f.stuck(StuckHigh)
	case now.AtLow > stuckShare, f.still() && f.place() < inside && f.width > 0:
		f.say("%.0f %% of the values lie at the lower end", 100*max(now.AtLow, now.FlatLow))
		return f.stuck(StuckLow)
	case f.still():
		f.say("the signal stands still at %s of the range", percent(f.place()))
		return f.stillInside()
	case now.HumShare() > humShare && now.HumRMS > humWidth*f.width:
		f.say("%s of what moves is hum of %g Hz", percent(now.HumShare()), now.MainsHz)
		return f.hum()
	case f.firstStage(): // after hum: a few samples a period of it stand as if cut
		return f.found(FirstStage)
	}
	return f.moves()
}

func percent(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) }

// say notes what something was recognised by.
func (f *finder) say(format string, args ...any) { f.by = append(f.by, fmt.Sprintf(format, args...)) }

func (f *finder) found(x Fault) Answer {
	return Answer{Fault: x, Text: told[x][0], Remedy: told[x][1], By: f.by}
}

func (f *finder) ask(a Action) Answer { return Answer{Ask: a, Text: Ask[a], By: f.by} }

// place is where the level lies in the range, 0 to 1.
func (f *finder) place() float64 {
	if f.width == 0 {
		return 0.5
	}
	return (f.now.Mean - f.low) / f.width
}

func (f *finder) still() bool { return still(f.cfg, f.width, f.now) }

func still(cfg Config, width float64, l Look) bool {
	return l.Swing() <= max(stillSteps*cfg.Step, stillShare*width)
}

// moved tells by how much of the range an action moved the level.
func (f *finder) moved(l Look) float64 {
	if f.width == 0 {
		return 0
	}
	return math.Abs(l.Mean-f.now.Mean) / f.width
}

// stuck finds why a signal lies at an end.
func (f *finder) stuck(end Fault) Answer {
	switch f.cfg.Kind {
	case "pulse":
		l, ok := f.after[Cover]
		if !ok {
			return f.ask(Cover)
		}
		if f.moved(l) > levelMoves {
			f.say("covering the sensor moves the level by %s of the range", percent(f.moved(l)))
			return f.found(Daylight)
		}
		f.say("covering the sensor changes nothing")
	case "ecg":
		l, ok := f.after[Join]
		if !ok {
			return f.ask(Join)
		}
		if f.moved(l) > levelMoves {
			f.say("with the leads joined the level comes back by %s of the range", percent(f.moved(l)))
			return f.found(Electrode)
		}
		f.say("joining the leads changes nothing")
	}
	return f.found(end)
}

// stillInside finds why a signal stands still inside the range.
func (f *finder) stillInside() Answer {
	if f.cfg.Kind == "pulse" {
		l, ok := f.after[Cover]
		if !ok {
			return f.ask(Cover)
		}
		if f.moved(l) > levelMoves {
			f.say("covering the sensor moves the level by %s of the range, so it sees light", percent(f.moved(l)))
			f.say("without a finger's pulse")
			return f.found(LEDOff)
		}
		f.say("covering the sensor changes nothing")
	}
	l, ok := f.after[Touch]
	if !ok {
		return f.ask(Touch)
	}
	if !still(f.cfg, f.width, l) || f.moved(l) > touchChange {
		f.say("a finger on the input moves it")
		return f.found(Floating)
	}
	f.say("a finger on the input changes nothing")
	return f.found(Shorted)
}

// firstStage tells flat tops that stand inside the range.
func (f *finder) firstStage() bool {
	l := f.now
	top, bottom := l.FlatHigh > flatShare, l.FlatLow > flatShare
	if f.width == 0 || !f.cfg.ends() && !(f.cfg.SupplyHigh > f.cfg.SupplyLow) || !top && !bottom {
		return false
	}
	// A rail that is known is the last stage's, and Check tells of it.
	away := func(v, end float64) bool { return math.Abs(v-end) > inside*f.width }
	high, low := f.low+f.width, f.low
	if top && away(l.High, high) && (math.IsNaN(f.cfg.SupplyHigh) || f.cfg.SupplyHigh == 0 || away(l.High, f.cfg.SupplyHigh)) && l.FlatHigh > 2*l.FlatLow {
		f.say("%s of the values stand at a flat top, at %s of the range", percent(l.FlatHigh), percent((l.High-f.low)/f.width))
		return true
	}
	// A pulse rests on a foot that is nearly flat, an ECG on its baseline.
	if bottom && f.cfg.Kind == "pulse" && l.FlatLow > flatFoot && away(l.Low, low) && (math.IsNaN(f.cfg.SupplyLow) || away(l.Low, f.cfg.SupplyLow)) {
		f.say("%s of the values stand at a flat bottom, at %s of the range", percent(l.FlatLow), percent((l.Low-f.low)/f.width))
		return true
	}
	return top && bottom && away(l.High, high) && away(l.Low, low) && f.flatBoth()
}

func (f *finder) flatBoth() bool {
	f.say("%s and %s of the values stand at flat tops and bottoms inside the range", percent(f.now.FlatHigh), percent(f.now.FlatLow))
	return true
}

// explains tells whether an action takes at least half of the hum away.
func (f *finder) explains(l Look) bool { return l.HumRMS < halves*f.now.HumRMS }

// hum finds where a hum that rules comes from.
func (f *finder) hum() Answer {
	if f.now.SecondRMS > seen2to1*f.now.FirstRMS {
		f.say("most of it at twice that: light, or a rectifier")
		if f.cfg.Kind == "pulse" {
			l, ok := f.after[Cover]
			if !ok {
				return f.ask(Cover)
			}
			if f.explains(l) {
				f.say("covering the sensor leaves %s of it", percent(l.HumRMS/f.now.HumRMS))
				return f.found(LampLight)
			}
			f.say("covering the sensor leaves it")
		}
		return f.found(SupplyHum)
	}
	if f.cfg.Kind == "ecg" {
		l, ok := f.after[Join]
		if !ok {
			return f.ask(Join)
		}
		if f.explains(l) {
			f.say("with the leads joined %s of it is left", percent(l.HumRMS/f.now.HumRMS))
			return f.found(Electrode)
		}
		f.say("joining the leads leaves it")
	}
	l, ok := f.after[Touch]
	if !ok {
		return f.ask(Touch)
	}
	if l.HumRMS > grows*f.now.HumRMS || f.moved(l) > touchChange || clipped(l) && !clipped(f.now) {
		f.say("a finger on the input makes it %.1f times as large", l.HumRMS/f.now.HumRMS)
		return f.found(Floating)
	}
	f.say("a finger on the input hardly changes it")
	for _, next := range []struct {
		do    Action
		fault Fault
		words string
	}{{Charger, GroundLoop, "pulling the charger"}, {Lamp, LampLight, "unplugging the lamps"}} {
		l, ok := f.after[next.do]
		if !ok {
			return f.ask(next.do)
		}
		if f.explains(l) {
			f.say("%s leaves %s of it", next.words, percent(l.HumRMS/f.now.HumRMS))
			return f.found(next.fault)
		}
		f.say("%s leaves it", next.words)
	}
	return f.found(SupplyHum)
}

// clipped tells a hum that reaches both ends.
func clipped(l Look) bool { return l.AtLow > 0.02 && l.AtHigh > 0.02 }

// moves finds whether a signal that moves comes from the sensor.
func (f *finder) moves() Answer {
	switch {
	case f.now.HumShare() > humShare:
		f.say("%s of what moves is hum of %g Hz, but it is small, %.2g %% of the range", percent(f.now.HumShare()), f.now.MainsHz, 100*f.now.HumRMS/f.width)
		return f.found(SmallHum)
	case f.cfg.NoPulse:
		f.say("the signal moves, hum is not most of it, and no heartbeat is in it")
		a := f.found(NoPulse)
		if f.cfg.Kind == "ecg" {
			a.Text, a.Remedy = noHeartbeat[0], noHeartbeat[1]
		}
		return a
	}
	f.say("the signal moves, and hum is not most of it")
	return f.found(Nothing)
}
