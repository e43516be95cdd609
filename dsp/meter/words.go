package meter

import "fmt"

// words are the verdicts' texts by their codes: what is said, and what helps where it is not good.
// They are formats of what the judge gives. Another language is another table.
var words = map[string]struct{ text, remedy string }{
	"signal.short":           {"There is not enough signal yet.", "Wait a second."},
	"signal.still":           {"The signal stands still at %s.", "Check that the board has power, that its output reaches this input, and that the right pin is read."},
	"signal.converter.upper": {"The signal is stuck at the converter's upper end.", "Lower the gain or the level; measure the board's output with a voltmeter."},
	"signal.converter.lower": {"The signal is stuck at the converter's lower end.", "Check power and mid-rail; measure the board's output with a voltmeter."},
	"signal.rail.upper":      {"The signal is stuck near the upper rail, at %s.", "An amplifier stage is saturated: check whether an offset is amplified too much, too much light, or an open electrode."},
	"signal.rail.lower":      {"The signal is stuck near the lower rail, at %s.", "Check the mid-rail's two resistors and buffer, and the sensor's supply."},

	"clipping.converter.both":  {"%.2g %% of the samples lie at both ends of the converter's range.", lessGain},
	"clipping.converter.upper": {"%.2g %% of the samples lie at the upper end of the converter's range.", lessGain},
	"clipping.converter.lower": {"%.2g %% of the samples lie at the lower end of the converter's range.", lessGain},
	"clipping.tops":            {"The tops are flat at %s: an amplifier runs into its limit there.", "Lower the gain or the level; many op amps end 1.5 V below their supply."},
	"clipping.bottoms":         {"The bottoms are flat at %s: an amplifier runs into its limit there.", "Lower the gain or raise the mid-rail."},
	"clipping.none.unsure":     {"No flat tops are seen. Whether the converter's ends are reached is not known.", ""},
	"clipping.none":            {"Nothing is cut off.", ""},

	"swing.unknown":            {"The pulse's height is not known: %s.", "Wait for heartbeats, or improve the contact."},
	"swing.none.pulse":         {"No pulse was found: is the finger on the sensor?", "Lay the finger on the sensor, press lightly, and keep still for ten seconds."},
	"swing.none.ecg":           {"No heartbeat was found: are the electrodes on?", "Press the electrodes on, wet the skin under them, and keep still for ten seconds."},
	"swing.none.other":         {"No heartbeat was found: is the sensor on?", "Say what the signal is, a pulse or an ECG. Is the sensor on the finger, or are the electrodes on? Keep still for ten seconds."},
	"swing.hum":                {"Hum of %s rms is as large as what looks like the pulse, which may be no pulse. An input that hangs in the air looks like this.", "Leave the gain. Put the sensor on, and see that its wires are joined to the board. If the hum stays, press Find the fault above: it asks for one action at a time."},
	"swing.rails.unknown":      {"The pulse is %s high. Whether that is much is not known without the supply.", "Set the supply rails."},
	"swing.supply":             {"The pulse is %s high, %.2g %% of the supply.", moreGain},
	"swing.converter":          {"The pulse is %s high, %.2g %% of the converter's range.", moreGain},
	"swing.supply.full":        {"The pulse is %s high, %.2g %% of the supply.", "Lower the gain a little: there is no room left."},
	"swing.converter.full":     {"The pulse is %s high, %.2g %% of the converter's range.", "Lower the gain a little: there is no room left."},
	"swing.supply.steps":       {"The pulse is %s high, %.2g %% of the supply. It has only %.2g converter steps.", moreGain},
	"swing.supply.decimals":    {"The pulse is %s high, %.2g %% of the supply. The last decimal printed parts it into only %.2g steps.", moreDecimals},
	"swing.converter.decimals": {"The pulse is %s high, %.2g %% of the converter's range. The last decimal printed parts it into only %.2g steps.", moreDecimals},
	"swing.converter.steps":    {"The pulse is %s high, %.2g %% of the converter's range. It has only %.2g converter steps.", moreGain},

	"hum.unknown":       {"Hum could not be measured: %s.", "Sample faster, or keep still."},
	"hum.none":          {"No hum is seen above %s rms.", ""},
	"hum.pulse.unknown": {"Hum at %.2f Hz is %s rms. How it compares with the pulse is not known.", "Wait for heartbeats."},
	"hum.larger":        {"Hum at %.2f Hz is %s rms, larger than the pulse.", "Shorten and twist the sensor's leads, run from batteries, keep mains cables away. An input that hangs in the air, or an electrode that is off, looks like this too: Find the fault above tells them apart."},
	"hum.aside":         {"Something at %.2f Hz is %s rms. It may be no hum: the mains stay within 1 Hz of 50 or 60 Hz.", "If it stays for a minute: check the sample rate, since a wrong one moves the frequency of the hum, and look for a motor or a charger nearby."},
	"hum.found":         {"Hum at %.2f Hz is %s rms: peak to peak %.3g %% of the pulse (%.0f dB).", "Turn the low-pass trimmer towards a lower corner, shorten and twist the sensor's leads, run from batteries, keep mains cables away."},

	"noise.unknown":                 {"Noise could not be measured: %s.", ""},
	"noise.found":                   {"Noise is %s/√Hz about %.0f Hz.", quieter},
	"noise.steps":                   {"Noise is %s/√Hz about %.0f Hz, %s converter steps.", quieter},
	"noise.converter":               {"Noise is %s/√Hz about %.0f Hz, %s converter steps. That is the converter's own limit: the board is quieter.", "More gain before the converter, or a converter with more bits, would show more."},
	"noise.decimals":                {"Noise is %s/√Hz about %.0f Hz. That is the rounding of the last decimal printed: the board may be quieter.", moreDecimals},
	"noise.decimals.pulse.unknown":  {"Noise is %s/√Hz about %.0f Hz. That is the rounding of the last decimal printed: the board may be quieter. How it compares with the pulse is not known.", "Wait for heartbeats."},
	"noise.found.pulse.unknown":     {"Noise is %s/√Hz about %.0f Hz. How it compares with the pulse is not known.", "Wait for heartbeats."},
	"noise.steps.pulse.unknown":     {"Noise is %s/√Hz about %.0f Hz, %s converter steps. How it compares with the pulse is not known.", "Wait for heartbeats."},
	"noise.converter.pulse.unknown": {"Noise is %s/√Hz about %.0f Hz, %s converter steps. That is the converter's own limit: the board is quieter. How it compares with the pulse is not known.", "Wait for heartbeats."},

	"drift.unknown":       {"Drift is not known yet: %s.", ""},
	"drift.pulse.unknown": {"The level wanders by %s.", ""},
	"drift.found":         {"The level wanders by %s, %.2g times the pulse.", "Keep still, let the contact settle, and check the coupling capacitor's corner."},

	"settling.found":   {"After a movement of %s the signal was back in %.2g s.", "A smaller coupling capacitor or resistor settles sooner; keep its corner below 0.5 Hz for a pulse."},
	"settling.unknown": {"Settling: not measured yet; %s.", ""},

	"polarity.unknown":    {"Polarity is not known: %s.", ""},
	"polarity.upright":    {"The heartbeat stands upright.", ""},
	"polarity.down.pulse": {"For a pulse, the heartbeat is upside down.", "If it is an ECG, set the channel's kind to ECG. If not, turn the signal upside down under Set volts."},
	"polarity.down.ecg":   {"The heartbeat is upside down.", "Turn the signal upside down under Set volts. Or, with nobody connected, swap the inputs or the electrodes."},
}

const (
	lessGain     = "Lower the gain, or bring the level to the middle of the converter's range."
	moreGain     = "Raise the gain: the pulse should fill a third of the supply or more."
	moreDecimals = "Print or save more decimals, or the converter's counts."
	quieter      = "Look at the first stage: resistor values, a quieter op amp, the sensor's light."
)

// Why a figure is not known.
const (
	whyRails       = "the supply rails are unknown: set them"
	whyShare       = "the supply is unknown: share of the converter's range"
	whyRange       = "the converter's range is unknown: set bits and reference"
	whyStep        = "the converter's step is unknown: set bits and reference"
	whyPrinted     = "the values are printed in a unit, and their last decimal is no converter step"
	whyStill       = "the signal does not move"
	whyTwoSeconds  = "it needs two seconds of signal; wait"
	whyFourSeconds = "it needs four seconds of signal; wait"
	whySixSeconds  = "it needs six seconds of signal; wait"
	whyKind        = "set the channel's kind to pulse or ECG"
	whyFewBeats    = "fewer than three heartbeats in the window"
	whyBothWays    = "some beats point up and some down"
	whySteep       = "rise and fall are equally steep"
	whyNoBeats     = "no heartbeats were found: the swing of each two seconds"
	whyNoise       = "what moves is as small as the noise"
	whyTouch       = "with nobody connected, touch the sensor's input once and let go"
	whyUnsettled   = "the signal has not settled yet"
)

// whyNoBand says why noise cannot be measured at a rate in hertz.
func whyNoBand(rateHz float64) string {
	return fmt.Sprintf("at %.4g Hz there is no band free of heartbeat and hum; sample at 125 Hz or more", rateHz)
}
