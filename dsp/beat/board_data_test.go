package beat

import (
	"math"
	"slices"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
	"pulsewright/dsp/firmware"
)

// The board's beat finder (dsp/firmware) on the open records, as a converter of 10
// bits would see them 250 times a second. Its C gives the same, bit for bit.

const boardHz = 250.0

// converted is x, taken at rateHz, as counts of a 10-bit converter at boardHz: count =
// offset + gain·x, straight between samples, clipped at both ends.
func converted(x []float64, rateHz, gain, offset float64) []int32 {
	y := make([]int32, int(float64(len(x))*boardHz/rateHz))
	for i := range y {
		p := float64(i) * rateHz / boardHz
		k := int(p)
		v := x[k]
		if k+1 < len(x) {
			v += (x[k+1] - x[k]) * (p - float64(k))
		}
		y[i] = int32(min(max(math.Round(offset+gain*v), 0), 1023))
	}
	return y
}

// onBoard gives the beats and the rate at the end of each second, 0 for none.
func onBoard(t *testing.T, kind firmware.Kind, counts []int32) (beats []int64, bpm []float64) {
	t.Helper()
	f, err := firmware.NewFinder(kind, firmware.Config{RateHz: boardHz, Bits: 10})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range counts {
		r := f.Push(v)
		if r.Ago > 0 {
			beats = append(beats, int64(i-r.Ago))
		}
		if (i+1)%int(boardHz) == 0 {
			bpm = append(bpm, float64(r.Rate16)/16)
		}
	}
	return beats, bpm
}

// boardRates counts the seconds with a rate, those that can be judged, and those in
// which it is right: within 10 % or 5 bpm of the true mean of any of the last 4 to 12
// intervals (EC13, FACTS.md B).
type boardRates struct{ seconds, shown, judged, right int }

func (c *boardRates) add(bpm []float64, truth []int64) {
	c.seconds += len(bpm)
	for i, v := range bpm {
		if v == 0 {
			continue
		}
		c.shown++
		j, _ := slices.BinarySearch(truth, int64((float64(i+1)-0.5)*boardHz))
		if j < 6 {
			continue
		}
		c.judged++
		low, high := math.Inf(1), math.Inf(-1)
		for k := 4; k <= min(12, j-1); k++ {
			r := 60 * float64(k) * boardHz / float64(truth[j-1]-truth[j-1-k])
			low, high = min(low, r), max(high, r)
		}
		if v >= low-max(5, 0.1*low) && v <= high+max(5, 0.1*high) {
			c.right++
		}
	}
}

// report fails below what the board must reach.
func (c *boardRates) report(t *testing.T, kind string, total score.Total, leastF1 float64) {
	t.Helper()
	f1, right := 100*total.Gross.F1(), 100*float64(c.right)/float64(c.judged)
	t.Logf("%s: F1 %.2f %% (Se %.2f, +P %.2f) of %d beats; a rate in %.1f %% of the seconds, right in %.2f %% of them", kind,
		f1, 100*total.Gross.Se(), 100*total.Gross.PPV(), total.Gross.Beats(), 100*float64(c.shown)/float64(c.seconds), right)
	if f1 < leastF1 || right < 99 || 100*c.shown < 80*c.seconds {
		t.Errorf("%s: F1 %.2f %%, right %.2f %%, shown in %d of %d s; want %g, 99 and 80 %% at least", kind, f1, right, c.shown, c.seconds, leastF1)
	}
}

func TestBoardFinderOnMIT(t *testing.T) {
	t.Parallel()
	var total score.Total
	var rates boardRates
	scaled := func(s int64) int64 { return int64(math.Round(float64(s) * boardHz / mitdata.RateHz)) }
	for _, r := range mitRecords(t) {
		ref := score.Reference{}
		for _, s := range r.ref.Samples {
			ref.Samples = append(ref.Samples, scaled(s))
		}
		for _, e := range r.ref.Excluded {
			ref.Excluded = append(ref.Excluded, score.Span{First: scaled(e.First), Last: scaled(e.Last)})
		}
		counts := converted(r.x, mitdata.RateHz, 0.5, 0) // 10 bits over 10 mV
		beats, bpm := onBoard(t, firmware.ECG, counts)
		res, err := score.Match(ref, beats, score.Config{RateHz: boardHz})
		if err != nil {
			t.Fatal(err)
		}
		total.Add(res)
		rates.add(bpm, ref.Samples)
	}
	rates.report(t, "16 MIT-BIH first leads", total, 99.5)
}

func TestBoardFinderOnPulses(t *testing.T) {
	t.Parallel()
	var total score.Total
	var rates boardRates
	for _, name := range present(t, pulseRecords) {
		r := readRecord(t, name)
		sorted := slices.Sorted(slices.Values(r.x))
		low, high := sorted[len(sorted)/1000], sorted[len(sorted)-1-len(sorted)/1000]
		gain := 700 / (high - low) // the trimmer's: most of the converter's range
		counts := converted(r.x, r.rateHz, gain, 160-gain*low)
		found, bpm := onBoard(t, firmware.Pulse, counts)
		var beats []Beat
		for _, s := range found {
			beats = append(beats, Beat{Sample: int64(float64(s) * r.rateHz / boardHz)})
		}
		res, delay := scorePulse(t, r, beats)
		total.Add(res)
		truth := slices.Sorted(slices.Values(append(slices.Clone(r.sure), r.unsure...)))
		for i := range truth {
			truth[i] = int64((float64(truth[i]) + delay*r.rateHz) * boardHz / r.rateHz)
		}
		rates.add(bpm, truth)
	}
	rates.report(t, "20 finger pulses", total, 98.5)
}
