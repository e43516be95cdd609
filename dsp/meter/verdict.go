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
	gridHz                     = 1.0        // so far from 50 or 60 Hz no grid runs for long
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

// add adds the verdict of a code, whose topic is the code's first word; what is good needs no
// remedy. values fill in its words.
func (j *judge) add(grade, code string, values ...any) {
	j.out = append(j.out, said(grade, code, values...))
}

func said(grade, code string, values ...any) Verdict {
	topic, _, _ := strings.Cut(code, ".")
	v := Verdict{Topic: topic, Grade: grade, Code: code, Text: fmt.Sprintf(words[code].text, values...), Remedy: words[code].remedy}
	if grade == good {
		v.Remedy = ""
	}
	return v
}

func (j *judge) stuck() {
	l, c := &j.r.Level, &j.r.Clipping
	supply := j.cfg.SupplyHigh - j.cfg.SupplyLow
	switch {
	case c.ConverterHighShare > 0.9:
		j.add(poor, "signal.converter.upper")
	case c.ConverterLowShare > 0.9:
		j.add(poor, "signal.converter.lower")
	case supply > 0 && l.MeanVolts > j.cfg.SupplyHigh-0.3*supply:
		j.add(poor, "signal.rail.upper", amount(j.cfg, l.MeanVolts))
	case supply > 0 && l.MeanVolts < j.cfg.SupplyLow+0.1*supply:
		j.add(poor, "signal.rail.lower", amount(j.cfg, l.MeanVolts))
	default:
		j.add(poor, "signal.still", amount(j.cfg, l.MeanVolts))
	}
}

func (j *judge) clipping() {
	c := &j.r.Clipping
	clip := c.ConverterLowShare + c.ConverterHighShare
	switch {
	case clip > 0:
		end := "both"
		if c.ConverterHighShare == 0 {
			end = "lower"
		} else if c.ConverterLowShare == 0 {
			end = "upper"
		}
		j.add(grade(false, clip < clipFair), "clipping.converter."+end, 100*clip)
	case c.FlatHighShare > 0:
		j.add(poor, "clipping.tops", amount(j.cfg, c.FlatHighVolts))
	case c.FlatLowShare > 0:
		j.add(poor, "clipping.bottoms", amount(j.cfg, c.FlatLowVolts))
	case !c.ConverterKnown:
		j.add(good, "clipping.none.unsure")
	default:
		j.add(good, "clipping.none")
	}
}

func (j *judge) swing() {
	p, h := &j.r.Pulse, &j.r.Hum
	rails, of := j.cfg.SupplyHigh-j.cfg.SupplyLow, "swing.supply"
	if !(rails > 0) {
		rails, of = j.cfg.ConverterHigh-j.cfg.ConverterLow, "swing.converter"
	}
	steps := math.Inf(1)
	if j.cfg.VoltsPerCount > 0 {
		steps = p.HeightVolts / j.cfg.VoltsPerCount
	}
	share := p.HeightVolts / rails
	height := amount(j.cfg, p.HeightVolts)
	switch {
	case p.None:
		j.add(noAnswer, "swing.none."+j.cfg.Kind)
	case !p.Known:
		j.add(noAnswer, "swing.unknown", p.Reason)
	case h.Found && h.ToPulseKnown && (h.ToPulseDB > 0 || p.Beats == 0 && h.ToPulseDB > humIsAllDB):
		j.add(noAnswer, "swing.hum", amount(j.cfg, h.VoltsRMS))
	case !(rails > 0): // NaN too
		j.add(noAnswer, "swing.rails.unknown", height)
	case share > 0.95:
		j.add(grade(false, true), of+".full", height, 100*share)
	case steps < grainPoor && j.cfg.Printed:
		j.add(poor, of+".decimals", height, 100*share, steps)
	case steps < grainPoor:
		j.add(poor, of+".steps", height, 100*share, steps)
	default:
		j.add(grade(share >= swingGood, share >= swingFair), of, height, 100*share)
	}
}

func (j *judge) hum() {
	h := &j.r.Hum
	rms := amount(j.cfg, h.VoltsRMS)
	aside := math.Abs(h.FreqHz-h.NominalHz) > gridHz
	switch {
	case !h.Known:
		j.add(noAnswer, "hum.unknown", h.Reason)
	case !h.Found:
		j.add(good, "hum.none", amount(j.cfg, h.LimitVoltsRMS))
	case !h.ToPulseKnown && aside:
		j.add(noAnswer, "hum.aside", h.FreqHz, rms)
	case !h.ToPulseKnown:
		j.add(noAnswer, "hum.pulse.unknown", h.FreqHz, rms)
	case h.ToPulseDB > 0:
		j.add(poor, "hum.larger", h.FreqHz, rms)
	case aside:
		j.add(grade(h.ToPulseDB <= humGoodDB, h.ToPulseDB <= humFairDB), "hum.aside", h.FreqHz, rms)
	default:
		j.add(grade(h.ToPulseDB <= humGoodDB, h.ToPulseDB <= humFairDB), "hum.found", h.FreqHz, rms, 100*math.Pow(10, h.ToPulseDB/20), h.ToPulseDB)
	}
}

func (j *judge) noise() {
	p := &j.r.Pulse
	n := &j.r.Noise
	if !n.Known {
		j.add(noAnswer, "noise.unknown", n.Reason)
		return
	}
	code, values := "noise.found", []any{amount(j.cfg, n.VoltsPerRootHz), n.CentreHz}
	if n.DecimalsLimited {
		code = "noise.decimals"
	}
	if n.ConverterKnown {
		steps := fmt.Sprintf("%.2g", n.RMSInSteps)
		if n.RMSInSteps >= 100 {
			steps = fmt.Sprintf("%.0f", n.RMSInSteps)
		}
		code, values = "noise.steps", append(values, steps)
		if n.ConverterLimited {
			code = "noise.converter"
		}
	}
	if !p.Known {
		j.add(noAnswer, code+".pulse.unknown", values...)
		return
	}
	ratio := 6.6 * n.InHeartbeatBandVolts / p.HeightVolts
	j.add(grade(ratio <= noiseGood, ratio <= noiseFair), code, values...)
}

func (j *judge) drift() {
	p := &j.r.Pulse
	d := &j.r.Drift
	switch {
	case !d.Known:
		j.add(noAnswer, "drift.unknown", d.Reason)
	case !p.Known:
		j.add(noAnswer, "drift.pulse.unknown", amount(j.cfg, d.SwingVolts))
	default:
		ratio := d.SwingVolts / p.HeightVolts
		j.add(grade(ratio <= driftGood, ratio <= driftFair), "drift.found", amount(j.cfg, d.SwingVolts), ratio)
	}
}

func (j *judge) settling() {
	s := &j.r.Settling
	if s.Known {
		j.add(grade(s.Seconds <= settleGood, s.Seconds <= settleFair), "settling.found", amount(j.cfg, s.StepVolts), s.Seconds)
	} else {
		j.add(noAnswer, "settling.unknown", s.Reason)
	}
}

func (j *judge) polarity() {
	o := &j.r.Polarity
	switch {
	case !o.Known:
		j.add(noAnswer, "polarity.unknown", o.Reason)
	case o.Upright:
		j.add(good, "polarity.upright")
	case j.cfg.Kind == "ecg":
		j.add(fair, "polarity.down.ecg")
	default:
		j.add(fair, "polarity.down.pulse")
	}
}
