package meter

import (
	"fmt"
	"math"
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
	good, fair, poor, noAnswer = "good", "fair", "poor", "unknown"
)

// amount writes a value in the input's unit, volts with a prefix.
func amount(cfg Config, v float64) string {
	if cfg.Unit != "V" {
		return fmt.Sprintf("%.3g %s", v, cfg.Unit)
	}
	switch a := math.Abs(v); {
	case a == 0:
		return "0 V"
	case a < 1e-3:
		return fmt.Sprintf("%.3g µV", v*1e6)
	case a < 1:
		return fmt.Sprintf("%.3g mV", v*1e3)
	}
	return fmt.Sprintf("%.3g V", v)
}

func grade(ok, middling bool) string {
	switch {
	case ok:
		return good
	case middling:
		return fair
	}
	return poor
}

func verdicts(cfg Config, r *Report) []Verdict {
	var out []Verdict
	add := func(topic, grade, text, remedy string) {
		if grade == good {
			remedy = ""
		}
		out = append(out, Verdict{topic, grade, text, remedy})
	}
	l, c := &r.Level, &r.Clipping

	if l.Stuck {
		where, remedy := fmt.Sprintf("The signal stands still at %s.", amount(cfg, l.MeanVolts)), "Check that the board has power, that its output reaches this input, and that the right pin is read."
		switch {
		case c.ConverterHighShare > 0.9:
			where, remedy = "The signal is stuck at the converter's upper end.", "Lower the gain or the level; measure the board's output with a voltmeter."
		case c.ConverterLowShare > 0.9:
			where, remedy = "The signal is stuck at the converter's lower end.", "Check power and mid-rail; measure the board's output with a voltmeter."
		case cfg.SupplyHigh-cfg.SupplyLow > 0 && l.MeanVolts > cfg.SupplyHigh-0.3*(cfg.SupplyHigh-cfg.SupplyLow):
			where, remedy = fmt.Sprintf("The signal is stuck near the upper rail, at %s.", amount(cfg, l.MeanVolts)), "An amplifier stage is saturated: look for offset times gain, too much light, or an open electrode."
		case cfg.SupplyHigh-cfg.SupplyLow > 0 && l.MeanVolts < cfg.SupplyLow+0.1*(cfg.SupplyHigh-cfg.SupplyLow):
			where, remedy = fmt.Sprintf("The signal is stuck near the lower rail, at %s.", amount(cfg, l.MeanVolts)), "Check the mid-rail's two resistors and buffer, and the sensor's supply."
		}
		add("signal", poor, where, remedy)
		return out
	}

	clip := c.ConverterLowShare + c.ConverterHighShare
	switch {
	case clip > 0:
		end := "both ends"
		if c.ConverterHighShare == 0 {
			end = "the lower end"
		} else if c.ConverterLowShare == 0 {
			end = "the upper end"
		}
		add("clipping", grade(false, clip < clipFair), fmt.Sprintf("%.2g %% of the samples lie at %s of the converter's range.", 100*clip, end), "Lower the gain, or bring the level to the middle of the converter's range.")
	case c.FlatHighShare > 0:
		add("clipping", poor, fmt.Sprintf("The tops are flat at %s: an amplifier runs into its limit there.", amount(cfg, c.FlatHighVolts)), "Lower the gain or the level; many op amps end 1.5 V below their supply.")
	case c.FlatLowShare > 0:
		add("clipping", poor, fmt.Sprintf("The bottoms are flat at %s: an amplifier runs into its limit there.", amount(cfg, c.FlatLowVolts)), "Lower the gain or raise the mid-rail.")
	case !c.ConverterKnown:
		add("clipping", good, "No flat tops are seen. Whether the converter's ends are reached is not known.", "")
	default:
		add("clipping", good, "Nothing is cut off.", "")
	}

	p := &r.Pulse
	var rails float64
	railName := "supply"
	if v := cfg.SupplyHigh - cfg.SupplyLow; v > 0 {
		rails = v
	} else if v := cfg.ConverterHigh - cfg.ConverterLow; v > 0 {
		rails, railName = v, "converter's range"
	}
	steps := math.Inf(1)
	if cfg.VoltsPerCount > 0 {
		steps = p.HeightVolts / cfg.VoltsPerCount
	}
	switch {
	case !p.Known:
		add("swing", noAnswer, "The pulse's height is not known: "+p.Reason+".", "Wait for heartbeats, or improve the contact.")
	case rails == 0:
		add("swing", noAnswer, fmt.Sprintf("The pulse is %s high. Whether that is much is not known without the supply.", amount(cfg, p.HeightVolts)), "Set the supply rails.")
	default:
		share := p.HeightVolts / rails
		g := grade(share >= swingGood && share <= 0.95, share >= swingFair)
		remedy := "Raise the gain: the pulse should fill a third of the supply or more."
		text := fmt.Sprintf("The pulse is %s high, %.2g %% of the %s.", amount(cfg, p.HeightVolts), 100*share, railName)
		if steps < grainPoor {
			g, text = poor, text+fmt.Sprintf(" It has only %.2g converter steps.", steps)
		}
		if share > 0.95 {
			remedy = "Lower the gain a little: there is no room left."
		}
		add("swing", g, text, remedy)
	}

	h := &r.Hum
	switch {
	case !h.Known:
		add("hum", noAnswer, "Hum could not be measured: "+h.Reason+".", "Sample faster, or keep still.")
	case !h.Found:
		add("hum", good, fmt.Sprintf("No hum is seen above %s rms.", amount(cfg, h.LimitVoltsRMS)), "")
	case !h.ToPulseKnown:
		add("hum", noAnswer, fmt.Sprintf("Hum at %.2f Hz is %s rms. How it compares with the pulse is not known.", h.FreqHz, amount(cfg, h.VoltsRMS)), "Wait for heartbeats.")
	default:
		add("hum", grade(h.ToPulseDB <= humGoodDB, h.ToPulseDB <= humFairDB),
			fmt.Sprintf("Hum at %.2f Hz is %s rms: peak to peak %.3g %% of the pulse (%.0f dB).", h.FreqHz, amount(cfg, h.VoltsRMS), 100*math.Pow(10, h.ToPulseDB/20), h.ToPulseDB),
			"Turn the low-pass trimmer towards a lower corner, shorten and twist the sensor's leads, run from batteries, keep mains cables away.")
	}

	n := &r.Noise
	switch {
	case !n.Known:
		add("noise", noAnswer, "Noise could not be measured: "+n.Reason+".", "")
	default:
		text := fmt.Sprintf("Noise is %s/√Hz about %.0f Hz", amount(cfg, n.VoltsPerRootHz), n.CentreHz)
		if n.ConverterKnown {
			text += fmt.Sprintf(", %.2g converter steps", n.RMSInSteps)
		}
		text += "."
		remedy := "Look at the first stage: resistor values, a quieter op amp, the sensor's light."
		if n.ConverterLimited {
			text += " That is the converter's own limit: the board is quieter."
			remedy = "More gain before the converter, or a converter with more bits, would show more."
		}
		if !p.Known {
			add("noise", noAnswer, text+" How it compares with the pulse is not known.", "Wait for heartbeats.")
			break
		}
		ratio := 6.6 * n.InHeartbeatBandVolts / p.HeightVolts
		add("noise", grade(ratio <= noiseGood, ratio <= noiseFair), text, remedy)
	}

	d := &r.Drift
	switch {
	case !d.Known:
		add("drift", noAnswer, "Drift is not known yet: "+d.Reason+".", "")
	case !p.Known:
		add("drift", noAnswer, fmt.Sprintf("The level wanders by %s.", amount(cfg, d.SwingVolts)), "")
	default:
		ratio := d.SwingVolts / p.HeightVolts
		add("drift", grade(ratio <= driftGood, ratio <= driftFair), fmt.Sprintf("The level wanders by %s, %.2g times the pulse.", amount(cfg, d.SwingVolts), ratio),
			"Keep still, let the contact settle, and check the coupling capacitor's corner.")
	}

	s := &r.Settling
	if s.Known {
		add("settling", grade(s.Seconds <= settleGood, s.Seconds <= settleFair), fmt.Sprintf("After a movement of %s the signal was back in %.2g s.", amount(cfg, s.StepVolts), s.Seconds),
			"A smaller coupling capacitor or resistor settles sooner; keep its corner below 0.5 Hz for a pulse.")
	} else {
		add("settling", noAnswer, "Settling is not known: "+s.Reason+".", "")
	}

	o := &r.Polarity
	switch {
	case !o.Known:
		add("polarity", noAnswer, "Polarity is not known: "+o.Reason+".", "")
	case o.Upright:
		add("polarity", good, "The heartbeat stands upright.", "")
	default:
		add("polarity", fair, "The heartbeat is upside down.", "Swap the inputs or the electrodes, or switch on invert.")
	}
	return out
}
