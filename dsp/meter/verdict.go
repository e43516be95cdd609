package meter

import (
	"fmt"
	"math"
	"strings"
)

// Limits of the grades, our own choice after common practice (no standard): what
// is good leaves a trace in which neither hum nor noise is seen at the height of
// the pulse; what is poor disturbs the finding of beats.
const (
	swingGood, swingFair       = 0.30, 0.08 // pulse height over the rails
	humGoodDB, humFairDB       = -40, -26   // 1 and 5 % of the pulse, peak to peak
	noiseGood, noiseFair       = 0.03, 0.15 // 6.6 × rms in the heartbeat's band over its height
	driftGood, driftFair       = 0.5, 2.0   // slow swing over the pulse height
	settleGood, settleFair     = 1.0, 3.0   // seconds
	clipFair                   = 0.001      // share of samples
	grainPoor                  = 20.0       // converter steps in the pulse
	humIsAllDB                 = -6         // hum over a height taken from the swing: it is the swing
	good, fair, poor, noAnswer = "good", "fair", "poor", "unknown"
)

// amount writes a value in the input's unit, volts with a prefix.
func amount(cfg Config, v float64) string {
	if cfg.Unit != "V" {
		return digits(v) + " " + cfg.Unit
	}
	switch a := math.Abs(v); {
	case a == 0:
		return "0 V"
	case a < 1e-3:
		return digits(v*1e6) + " µV"
	case a < 1:
		return digits(v*1e3) + " mV"
	}
	return digits(v) + " V"
}

// digits writes three significant digits, zeros too.
func digits(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%#.3g", v), ".") }

func grade(ok, middling bool) string {
	switch {
	case ok:
		return good
	case middling:
		return fair
	}
	return poor
}

// judge collects the verdicts on a report.
type judge struct {
	cfg Config
	r   *Report
	out []Verdict
}

func verdicts(cfg Config, r *Report) []Verdict {
	j := &judge{cfg: cfg, r: r}
	if r.Level.Stuck {
		j.stuck()
		return j.out
	}
	j.clipping()
	j.swing()
	j.hum()
	j.noise()
	j.drift()
	j.settling()
	j.polarity()
	return j.out
}

// add adds a verdict; what is good needs no remedy.
func (j *judge) add(topic, grade, text, remedy string) {
	if grade == good {
		remedy = ""
	}
	j.out = append(j.out, Verdict{topic, grade, text, remedy})
}

func (j *judge) stuck() {
	l, c := &j.r.Level, &j.r.Clipping
	where, remedy := fmt.Sprintf("The signal stands still at %s.", amount(j.cfg, l.MeanVolts)), "Check that the board has power, that its output reaches this input, and that the right pin is read."
	switch {
	case c.ConverterHighShare > 0.9:
		where, remedy = "The signal is stuck at the converter's upper end.", "Lower the gain or the level; measure the board's output with a voltmeter."
	case c.ConverterLowShare > 0.9:
		where, remedy = "The signal is stuck at the converter's lower end.", "Check power and mid-rail; measure the board's output with a voltmeter."
	case j.cfg.SupplyHigh-j.cfg.SupplyLow > 0 && l.MeanVolts > j.cfg.SupplyHigh-0.3*(j.cfg.SupplyHigh-j.cfg.SupplyLow):
		where, remedy = fmt.Sprintf("The signal is stuck near the upper rail, at %s.", amount(j.cfg, l.MeanVolts)), "An amplifier stage is saturated: check whether an offset is amplified too much, too much light, or an open electrode."
	case j.cfg.SupplyHigh-j.cfg.SupplyLow > 0 && l.MeanVolts < j.cfg.SupplyLow+0.1*(j.cfg.SupplyHigh-j.cfg.SupplyLow):
		where, remedy = fmt.Sprintf("The signal is stuck near the lower rail, at %s.", amount(j.cfg, l.MeanVolts)), "Check the mid-rail's two resistors and buffer, and the sensor's supply."
	}
	j.add("signal", poor, where, remedy)
}

func (j *judge) clipping() {
	c := &j.r.Clipping
	clip := c.ConverterLowShare + c.ConverterHighShare
	switch {
	case clip > 0:
		end := "both ends"
		if c.ConverterHighShare == 0 {
			end = "the lower end"
		} else if c.ConverterLowShare == 0 {
			end = "the upper end"
		}
		j.add("clipping", grade(false, clip < clipFair), fmt.Sprintf("%.2g %% of the samples lie at %s of the converter's range.", 100*clip, end), "Lower the gain, or bring the level to the middle of the converter's range.")
	case c.FlatHighShare > 0:
		j.add("clipping", poor, fmt.Sprintf("The tops are flat at %s: an amplifier runs into its limit there.", amount(j.cfg, c.FlatHighVolts)), "Lower the gain or the level; many op amps end 1.5 V below their supply.")
	case c.FlatLowShare > 0:
		j.add("clipping", poor, fmt.Sprintf("The bottoms are flat at %s: an amplifier runs into its limit there.", amount(j.cfg, c.FlatLowVolts)), "Lower the gain or raise the mid-rail.")
	case !c.ConverterKnown:
		j.add("clipping", good, "No flat tops are seen. Whether the converter's ends are reached is not known.", "")
	default:
		j.add("clipping", good, "Nothing is cut off.", "")
	}
}

func (j *judge) swing() {
	p, h := &j.r.Pulse, &j.r.Hum
	var rails float64
	railName := "supply"
	if v := j.cfg.SupplyHigh - j.cfg.SupplyLow; v > 0 {
		rails = v
	} else if v := j.cfg.ConverterHigh - j.cfg.ConverterLow; v > 0 {
		rails, railName = v, "converter's range"
	}
	steps := math.Inf(1)
	if j.cfg.VoltsPerCount > 0 {
		steps = p.HeightVolts / j.cfg.VoltsPerCount
	}
	switch {
	case !p.Known:
		j.add("swing", noAnswer, "The pulse's height is not known: "+p.Reason+".", "Wait for heartbeats, or improve the contact.")
	case h.Found && h.ToPulseKnown && (h.ToPulseDB > 0 || p.Beats == 0 && h.ToPulseDB > humIsAllDB):
		j.add("swing", noAnswer, fmt.Sprintf("Hum of %s rms is as large as what looks like the pulse, which may be no pulse. An input that hangs in the air looks like this.", amount(j.cfg, h.VoltsRMS)), "Leave the gain. Press Find the fault above.")
	case rails == 0:
		j.add("swing", noAnswer, fmt.Sprintf("The pulse is %s high. Whether that is much is not known without the supply.", amount(j.cfg, p.HeightVolts)), "Set the supply rails.")
	default:
		share := p.HeightVolts / rails
		g := grade(share >= swingGood && share <= 0.95, share >= swingFair)
		remedy := "Raise the gain: the pulse should fill a third of the supply or more."
		text := fmt.Sprintf("The pulse is %s high, %.2g %% of the %s.", amount(j.cfg, p.HeightVolts), 100*share, railName)
		if steps < grainPoor {
			g, text = poor, text+fmt.Sprintf(" It has only %.2g converter steps.", steps)
		}
		if share > 0.95 {
			remedy = "Lower the gain a little: there is no room left."
		}
		j.add("swing", g, text, remedy)
	}
}

func (j *judge) hum() {
	h := &j.r.Hum
	switch {
	case !h.Known:
		j.add("hum", noAnswer, "Hum could not be measured: "+h.Reason+".", "Sample faster, or keep still.")
	case !h.Found:
		j.add("hum", good, fmt.Sprintf("No hum is seen above %s rms.", amount(j.cfg, h.LimitVoltsRMS)), "")
	case !h.ToPulseKnown:
		j.add("hum", noAnswer, fmt.Sprintf("Hum at %.2f Hz is %s rms. How it compares with the pulse is not known.", h.FreqHz, amount(j.cfg, h.VoltsRMS)), "Wait for heartbeats.")
	case h.ToPulseDB > 0:
		j.add("hum", poor, fmt.Sprintf("Hum at %.2f Hz is %s rms, larger than the pulse.", h.FreqHz, amount(j.cfg, h.VoltsRMS)),
			"Press Find the fault above: an input that hangs in the air, or an electrode that is off, looks like this.")
	default:
		j.add("hum", grade(h.ToPulseDB <= humGoodDB, h.ToPulseDB <= humFairDB),
			fmt.Sprintf("Hum at %.2f Hz is %s rms: peak to peak %.3g %% of the pulse (%.0f dB).", h.FreqHz, amount(j.cfg, h.VoltsRMS), 100*math.Pow(10, h.ToPulseDB/20), h.ToPulseDB),
			"Turn the low-pass trimmer towards a lower corner, shorten and twist the sensor's leads, run from batteries, keep mains cables away.")
	}
}

func (j *judge) noise() {
	p := &j.r.Pulse
	n := &j.r.Noise
	switch {
	case !n.Known:
		j.add("noise", noAnswer, "Noise could not be measured: "+n.Reason+".", "")
	default:
		text := fmt.Sprintf("Noise is %s/√Hz about %.0f Hz", amount(j.cfg, n.VoltsPerRootHz), n.CentreHz)
		if n.ConverterKnown {
			steps := fmt.Sprintf("%.2g", n.RMSInSteps)
			if n.RMSInSteps >= 100 {
				steps = fmt.Sprintf("%.0f", n.RMSInSteps)
			}
			text += ", " + steps + " converter steps"
		}
		text += "."
		remedy := "Look at the first stage: resistor values, a quieter op amp, the sensor's light."
		if n.ConverterLimited {
			text += " That is the converter's own limit: the board is quieter."
			remedy = "More gain before the converter, or a converter with more bits, would show more."
		}
		if !p.Known {
			j.add("noise", noAnswer, text+" How it compares with the pulse is not known.", "Wait for heartbeats.")
			break
		}
		ratio := 6.6 * n.InHeartbeatBandVolts / p.HeightVolts
		j.add("noise", grade(ratio <= noiseGood, ratio <= noiseFair), text, remedy)
	}
}

func (j *judge) drift() {
	p := &j.r.Pulse
	d := &j.r.Drift
	switch {
	case !d.Known:
		j.add("drift", noAnswer, "Drift is not known yet: "+d.Reason+".", "")
	case !p.Known:
		j.add("drift", noAnswer, fmt.Sprintf("The level wanders by %s.", amount(j.cfg, d.SwingVolts)), "")
	default:
		ratio := d.SwingVolts / p.HeightVolts
		j.add("drift", grade(ratio <= driftGood, ratio <= driftFair), fmt.Sprintf("The level wanders by %s, %.2g times the pulse.", amount(j.cfg, d.SwingVolts), ratio),
			"Keep still, let the contact settle, and check the coupling capacitor's corner.")
	}
}

func (j *judge) settling() {
	s := &j.r.Settling
	if s.Known {
		j.add("settling", grade(s.Seconds <= settleGood, s.Seconds <= settleFair), fmt.Sprintf("After a movement of %s the signal was back in %.2g s.", amount(j.cfg, s.StepVolts), s.Seconds),
			"A smaller coupling capacitor or resistor settles sooner; keep its corner below 0.5 Hz for a pulse.")
	} else {
		j.add("settling", noAnswer, "Settling: not measured yet; "+s.Reason+".", "")
	}
}

func (j *judge) polarity() {
	o := &j.r.Polarity
	switch {
	case !o.Known:
		j.add("polarity", noAnswer, "Polarity is not known: "+o.Reason+".", "")
	case o.Upright:
		j.add("polarity", good, "The heartbeat stands upright.", "")
	default:
		j.add("polarity", fair, "The heartbeat is upside down.", "Turn the signal upside down under Set volts. Or, with nobody connected, swap the inputs or the electrodes.")
	}
}
