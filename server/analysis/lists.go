package analysis

import (
	"cmp"
	"encoding/csv"
	"io"
	"strconv"

	"pulsewright/dsp/beat"
)

// CSV is a table written row by row, RFC 4180 with LF.
type CSV struct {
	w   *csv.Writer
	row []string
}

// NewCSV begins a table with the names of its columns.
func NewCSV(w io.Writer, names ...string) *CSV {
	t := &CSV{w: csv.NewWriter(w)}
	_ = t.w.Write(names) // told by End
	return t
}

func (t *CSV) text(s string) *CSV { t.row = append(t.row, s); return t }
func (t *CSV) whole(n int64) *CSV { return t.text(strconv.FormatInt(n, 10)) }

// number writes so many decimals, −1 as many as tell the number from every other.
func (t *CSV) number(x float64, decimals int) *CSV {
	if decimals < 0 {
		return t.text(strconv.FormatFloat(x, 'g', -1, 64))
	}
	return t.text(strconv.FormatFloat(x, 'f', decimals, 64))
}

func (t *CSV) end() {
	_ = t.w.Write(t.row)
	t.row = t.row[:0]
}

// End ends the table and returns what went wrong in the writing.
func (t *CSV) End() error {
	t.w.Flush()
	return t.w.Error()
}

// BeatsCSV begins a table of a part's beats; add adds one. by_hand says of a beat that it was added or
// moved by hand.
func BeatsCSV(w io.Writer, p Part) (t *CSV, add func(beat.Beat)) {
	t = NewCSV(w, "sample", "time_s", "kind", "amplitude", "quality", "by_hand")
	rateHz, ratio, by := p.Rec.Info.ClaimedRateHz, int64(p.Rec.Start.Ratio), map[int64]string{}
	for _, e := range p.Edits[p.Channel] {
		switch {
		case e.At == nil:
		case e.Was == nil:
			by[*e.At/ratio] = "added"
		default:
			by[*e.At/ratio] = "moved"
		}
	}
	return t, func(b beat.Beat) {
		t.whole(b.Sample).number(float64(b.Sample)/rateHz, 4).text(string(b.Kind)).text(strconv.FormatFloat(b.Amplitude, 'g', 6, 64)).number(b.Quality, 3).text(by[b.Sample/ratio]).end()
	}
}

// WriteList writes every interval that is listed: the sample of the beat that ends it, when that
// was, its length, whether it is used, the lower quality of its two beats, and whether (1) one of them, or one
// between them, was edited by hand.
func (v Intervals) WriteList(w io.Writer) error {
	t := NewCSV(w, "sample", "time_s", "interval_s", "mark", "quality", "by_hand")
	reach := EditReachSeconds / 2 * v.RateHz
	for _, i := range v.Intervals {
		byHand := int64(0)
		for _, e := range v.edits {
			if at := float64(e.Place() - i.Sample); at <= reach && at >= -i.Seconds*v.RateHz-reach {
				byHand = 1
			}
		}
		t.whole(i.Sample).number(i.AtSeconds, 4).number(i.Seconds, 4).text(string(i.Mark)).number(i.Quality, 3).whole(byHand).end()
	}
	return t.End()
}

// WriteMeasures writes the measures; value is empty where there is none, and absent says why.
func (v Intervals) WriteMeasures(w io.Writer) error {
	t := NewCSV(w, "id", "name", "value", "unit", "needed_s", "absent", "caveat")
	for _, m := range v.Report.Measures {
		t.text(m.ID).text(m.Name)
		if m.Value == nil {
			t.text("")
		} else {
			t.number(*m.Value, -1)
		}
		t.text(m.Unit).number(m.NeededSeconds, 0).text(m.Absent).text(m.Caveat).end()
	}
	return t.End()
}

// WriteSpectrum writes the density at each frequency, per root of a hertz in the unit of the values.
func (s Stretch) WriteSpectrum(w io.Writer) error {
	t := NewCSV(w, "freq_hz", "density_per_root_hz ["+s.Unit+"]")
	for i, f := range s.Spectrum.FreqHz {
		t.number(f, -1).number(s.Spectrum.DensityVoltsPerRootHz[i], -1).end()
	}
	return t.End()
}

// WriteTypical writes the typical beat: time from the R peak or the pulse's foot, the median
// and what a tenth of the beats stay below and above.
func (s Stretch) WriteTypical(w io.Writer) error {
	u := " [" + s.Unit + "]"
	t := NewCSV(w, "time_s", "median"+u, "tenth_below"+u, "tenth_above"+u)
	a := s.Average
	for i := range a.Median {
		t.number(a.FromSeconds+float64(i)*a.StepSeconds, 6).number(a.Median[i], -1).number(a.Low[i], -1).number(a.High[i], -1).end()
	}
	return t.End()
}

// WriteFigures writes the meters' figures, one in a row; value is empty where it is not known, and
// reason says why.
func (s Stretch) WriteFigures(w io.Writer) error {
	t := NewCSV(w, "figure", "value", "unit", "reason")
	row := func(name string, value float64, unit string, known bool, reason string) {
		if t.text(name); known {
			t.number(value, -1).text(unit).text("").end()
			return
		}
		t.text("").text(unit).text(reason).end()
	}
	r, u := s.Report, s.Unit
	row("from", float64(s.From), "sample", true, "")
	row("to", float64(s.To), "sample", true, "")
	row("median rate", s.MedianBPM, "1/min", s.MedianBPM > 0, "fewer than two beats follow each other")
	row("mean", r.Level.MeanVolts, u, r.Level.Known, r.Level.Reason)
	row("lowest", r.Level.LowVolts, u, r.Level.Known, r.Level.Reason)
	row("highest", r.Level.HighVolts, u, r.Level.Known, r.Level.Reason)
	row("swing", r.Level.SwingVolts, u, r.Level.Known, r.Level.Reason)
	row("flat tops", 100*r.Clipping.FlatHighShare, "%", r.Clipping.Known, r.Clipping.Reason)
	row("flat bottoms", 100*r.Clipping.FlatLowShare, "%", r.Clipping.Known, r.Clipping.Reason)
	row("pulse height", r.Pulse.HeightVolts, u, r.Pulse.Known, r.Pulse.Reason)
	row("hum rms", r.Hum.VoltsRMS, u, r.Hum.Known && r.Hum.Found, cmp.Or(r.Hum.Reason, "none found"))
	row("hum frequency", r.Hum.FreqHz, "Hz", r.Hum.Known && r.Hum.Found, cmp.Or(r.Hum.Reason, "none found"))
	row("noise per root hertz", r.Noise.VoltsPerRootHz, u+"/√Hz", r.Noise.Known, r.Noise.Reason)
	row("drift in a minute", r.Drift.VoltsPerMinute, u, r.Drift.Known, r.Drift.Reason)
	row("settling", r.Settling.Seconds, "s", r.Settling.Known, r.Settling.Reason)
	return t.End()
}
