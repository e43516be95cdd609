package command

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"pulsewright/dsp/meter"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// mostCheckedSeconds is how much of a recording check looks at.
const mostCheckedSeconds = 3600

func check(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("check", "FILE", "Judges the board behind a recording: swing, clipping, pulse, hum, noise, drift, settling, polarity.", stderr)
	asJSON := f.Bool("json", false, "print the report as JSON")
	kind := f.String("kind", "", "`pulse, ecg or other` (default: what the recording says)")
	number := f.Int("channel", 0, "`number` of the channel, from 1 (default: the first of the kind, else the first)")
	file := newFileFlags(f)
	supply := f.String("supply", "", "the board's supply rails in volts, as `0:5`")
	midRail := f.String("midrail", "", "the board's mid-rail in `volts`")
	mains := f.Float64("mains", 0, "mains frequency in `Hz`, 50 or 60 (default: found)")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() != 1 {
		return fmt.Errorf("%w: name one recording, as in: pulsewright check walk.edf", errMisused)
	}
	if *mains != 0 && *mains != 50 && *mains != 60 {
		return fmt.Errorf("%w: -mains %g: give 50 or 60, or leave it out", errMisused, *mains)
	}
	low, high, middle, err := rails(*supply, *midRail)
	if err != nil {
		return err
	}
	if *kind != "" && channel.CheckKind(*kind) != nil {
		return fmt.Errorf("%w: -kind %q: choose pulse, ecg or other", errMisused, *kind)
	}
	said, err := file.options()
	if err != nil {
		return err
	}
	rec, n, err := openAny(f.Arg(0), *number, *kind, said)
	if err != nil {
		return err
	}
	defer rec.File.Close()
	if _, err := file.tell(rec.File, f.Arg(0), stderr); err != nil {
		return err
	}
	if l := rec.Channels[n].Linear(rec.Info.Channels[n]); *supply != "" && l.Unit != "V" {
		return fmt.Errorf("-supply %s: the channel is in %s, not in volts: say what a value is, as with -unit V, or set the volts on the page", *supply, l.Unit)
	}
	part := analysis.All(rec, n)
	run, err := analysis.Longest(ctx, part, mostCheckedSeconds)
	if err != nil {
		return err
	}
	report, beats, err := analysis.Report(ctx, part, run, func(c *meter.Config) {
		c.MainsHz = *mains
		if *supply != "" {
			c.SupplyLow, c.SupplyHigh = low, high
		}
		if *midRail != "" {
			c.MidRail = middle
		}
	})
	if err != nil {
		return err
	}
	c, hz := rec.Channels[n], rec.Info.ClaimedRateHz
	if *asJSON {
		e := json.NewEncoder(stdout)
		e.SetIndent("", "  ")
		return e.Encode(struct {
			File         string  `json:"file"`
			Channel      string  `json:"channel"`
			RateHz       float64 `json:"rateHz"`
			StartSeconds float64 `json:"startSeconds"`
			meter.Report
		}{f.Arg(0), c.Label, hz, float64(run.Start) / hz, report})
	}
	if judged, whole := float64(len(run.Values))/run.RateHz, float64(rec.File.Len())/hz; judged < 0.99*whole && judged < mostCheckedSeconds {
		fmt.Fprintf(stderr, "%s: judged is the longest part without a missing sample, %.1f s from %.1f s on, of %.1f s\n", f.Arg(0), judged, float64(run.Start)/hz, whole)
	}
	fmt.Fprintf(stdout, "%s, channel %d (%s), %s at %.5g Hz, %d beats\n\n", f.Arg(0), n+1, c.Label, fmt.Sprintf("%.1f s", float64(len(run.Values))/run.RateHz), hz, len(beats))
	printReport(stdout, report)
	return nil
}

// rails reads a supply as 0:5 and a mid-rail; NaN stands for what is not told.
func rails(supply, midRail string) (low, high, middle float64, err error) {
	low, high, middle = math.NaN(), math.NaN(), math.NaN()
	if supply != "" {
		l, h, ok := strings.Cut(supply, ":")
		var errLow, errHigh error
		low, errLow = strconv.ParseFloat(l, 64)
		high, errHigh = strconv.ParseFloat(h, 64)
		if !ok || errLow != nil || errHigh != nil || !(low < high) {
			return low, high, middle, fmt.Errorf("%w: -supply %q: give the lower and the upper rail in volts, as in 0:5", errMisused, supply)
		}
	}
	if midRail != "" {
		if middle, err = strconv.ParseFloat(midRail, 64); err != nil {
			return low, high, middle, fmt.Errorf("%w: -midrail %q: give volts, as in 2.5", errMisused, midRail)
		}
	}
	return low, high, middle, nil
}

// swingShare says how much of what the signal has it uses, or why that is not known.
func swingShare(l *meter.Level) string {
	switch {
	case !l.RailKnown:
		return "its share is not known: " + l.RailReason
	case l.RailReason != "":
		return fmt.Sprintf("%.0f %% of the converter's range", 100*l.RailShare)
	}
	return fmt.Sprintf("%.0f %% of the supply", 100*l.RailShare)
}

// printReport prints a report for a person.
func printReport(w io.Writer, r meter.Report) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	row := func(name string, known bool, reason, format string, args ...any) {
		if known {
			fmt.Fprintf(t, "%s\t%s\n", name, fmt.Sprintf(format, args...))
		} else {
			fmt.Fprintf(t, "%s\tnot known: %s\n", name, reason)
		}
	}
	u := r.Unit
	row("level", r.Level.Known, r.Level.Reason, "%.4g %s, from %.4g to %.4g", r.Level.MeanVolts, u, r.Level.LowVolts, r.Level.HighVolts)
	row("swing", r.Level.Known, r.Level.Reason, "%.4g %s, %s", r.Level.SwingVolts, u, swingShare(&r.Level))
	row("clipping", r.Clipping.Known, r.Clipping.Reason, "flat tops %.2f %%, flat bottoms %.2f %% of the samples", 100*r.Clipping.FlatHighShare, 100*r.Clipping.FlatLowShare)
	row("converter's ends", r.Clipping.ConverterKnown, r.Clipping.ConverterReason, "lowest %.2f %%, highest %.2f %% of the samples", 100*r.Clipping.ConverterLowShare, 100*r.Clipping.ConverterHighShare)
	row("pulse", r.Pulse.Known, r.Pulse.Reason, "%.4g %s", r.Pulse.HeightVolts, u)
	hum := fmt.Sprintf("%.4g %s rms at %.2f Hz", r.Hum.VoltsRMS, u, r.Hum.FreqHz)
	if !r.Hum.Found {
		hum = fmt.Sprintf("none found, below %.3g %s rms", r.Hum.LimitVoltsRMS, u)
	} else if r.Hum.ToPulseKnown {
		hum += fmt.Sprintf(", %.1f dB against the pulse", r.Hum.ToPulseDB)
	}
	row("hum", r.Hum.Known, r.Hum.Reason, "%s", hum)
	row("noise", r.Noise.Known, r.Noise.Reason, "%.3g %s/√Hz at %.0f Hz", r.Noise.VoltsPerRootHz, u, r.Noise.CentreHz)
	row("converter's noise", r.Noise.ConverterKnown, r.Noise.ConverterReason, "%.3g %s/√Hz", r.Noise.LimitVoltsPerRootHz, u)
	slope, every := r.Drift.VoltsPerMinute, "minute"
	if r.Seconds < 60 { // breathing is no drift of minutes
		slope, every = slope/60, "second"
	}
	row("drift", r.Drift.Known, r.Drift.Reason, "%.3g %s a %s over %.3g s, %.3g %s peak to peak", slope, u, every, r.Seconds, r.Drift.SwingVolts, u)
	row("settling", r.Settling.Known, r.Settling.Reason, "%.2f s after a step of %.3g %s", r.Settling.Seconds, r.Settling.StepVolts, u)
	upright := "upright"
	if !r.Polarity.Upright {
		upright = "upside down"
	}
	row("polarity", r.Polarity.Known, r.Polarity.Reason, "%s", upright)
	fmt.Fprintln(t)
	for _, v := range r.Verdicts {
		text := v.Text
		if v.Remedy != "" {
			text += " " + v.Remedy
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", v.Topic, v.Grade, text)
	}
	t.Flush()
}
