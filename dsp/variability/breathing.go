package variability

import (
	"fmt"
	"math"
)

// Breathing is how fast the person breathes, as seen in the heartbeats: breathing
// changes their height, shifts their baseline and speeds the heart up and down.
type Breathing struct {
	// PerMinute is nil when it cannot be told; Absent then says why.
	PerMinute *float64 `json:"perMinute"`
	Absent    string   `json:"absent,omitempty"`
	// Quality is how clearly, and how much alike, the signs show it, 0 to 1.
	Quality float64 `json:"quality"`
	// HighestPerMinute is half of the heart rate: each beat is one look at the
	// breath, so that faster breathing would show as a slower one that is not there.
	HighestPerMinute float64 `json:"highestPerMinute"`
	// Signs are amplitude, baseline and interval.
	Signs []Sign `json:"signs"`
}

// Sign is what one of them says by itself.
type Sign struct {
	Name      string  `json:"name"`
	PerMinute float64 `json:"perMinute"` // of its highest peak, 0 when it has none
	// Clarity is the share of the breathing band's power near that peak, 0 to 1.
	Clarity float64 `json:"clarity"`
}

const (
	breathSeconds  = 60   // of beats that are looked at
	breathNeeded   = 50   // least
	breathLow      = 5.0  // breaths per minute
	breathHigh     = 45.0 // and at most breathNyquist of half the heart rate
	breathNyquist  = 0.9
	breathStep     = 0.25
	breathWide     = 2.0  // half width of a peak, breaths per minute
	breathAway     = 3.0  // from a peak: another one
	breathSupport  = 0.25 // share of a sign's power at the breath, for it to speak for it
	breathHarmonic = 0.5  // weight of the power at twice the rate
	breathRival    = 0.85 // weight of the next highest peak
	// Height and baseline sway and ripple together without the breath too: a slow
	// rhythm must show in the intervals, a fast one there and in another sign.
	breathSlow, breathFast = 9.0, 30.0

	breathScore    = 0.4 // what counts as full quality
	breathQuality  = 0.5 // from here on it is told
	breathOutliers = 4.0 // times the median distance from the median
)

// breathRow is one beat's signs.
type breathRow struct{ at, amplitude, level, interval float64 }

// breathRows copies the newest beats' signs, back to the newest gap at most.
func (t *Tracker) breathRows(seconds float64) []breathRow {
	var rows []breathRow
	for i := len(t.intervals) - 1; i >= 0 && t.at-t.intervals[i].AtSeconds <= seconds; i-- {
		iv, s := t.intervals[i], t.signs[i]
		r := breathRow{iv.AtSeconds, s.amplitude, s.level, iv.Seconds}
		if iv.Mark != Normal {
			r.interval = math.NaN()
		}
		if iv.Quality < unsureQuality {
			r.amplitude = math.NaN()
		}
		rows = append(rows, r)
		if iv.Mark == Gap {
			break // what lies before a hole is another stretch
		}
	}
	for i, j := 0, len(rows)-1; i < j; i, j = i+1, j-1 {
		rows[i], rows[j] = rows[j], rows[i]
	}
	return rows
}

// Breathing looks at the last minute of beats.
//
// Each sign is a series with a value a beat. Its spectrum, as in the frequency
// measures but over these seconds and times the frequency, since slow sway falls with
// it, is looked at from 5 per minute to nearly half of the heart rate. The spectra, each
// as shares of its own power and weighted by its clarity squared, are added; half of
// what stands at twice a rate speaks for that rate. The highest peak is the breath. It
// is told when it is clear, without a rival and shown by at least one sign, the surer
// the more do.
//
// Modulations and fusing: after Karlen et al. 2013, IEEE Trans. Biomed. Eng. 60:
// 1946–1953 (who average three estimates if they agree). Weights and limits are
// ours, chosen on the 18 open BIDMC records of the test.
func (t *Tracker) Breathing() Breathing {
	t.settle()
	return breathe(t.breathRows(breathSeconds), t.SinceSeconds())
}

func breathe(rows []breathRow, sinceSeconds float64) (b Breathing) {
	b.Signs = []Sign{}
	if len(rows) < 8 || sinceSeconds > 10 {
		b.Absent = "no beats in a row to see it in"
		return b
	}
	length := rows[len(rows)-1].at - rows[0].at
	if length < breathNeeded {
		b.Absent = fmt.Sprintf("needs %d s of beats; there are %s", breathNeeded, span(length))
		return b
	}
	b.HighestPerMinute = 30 * float64(len(rows)-1) / length
	top := min(breathHigh, breathNyquist*b.HighestPerMinute)
	n := int((top-breathLow)/breathStep) + 1
	if n < 8 {
		b.Absent = fmt.Sprintf("the heart beats %.0f times a minute: breathing above %.0f per minute cannot be seen, and below %.0f it is not looked for", 2*b.HighestPerMinute, top, breathLow)
		return b
	}
	f := fuse(rows, n)
	b.Signs = f.signs
	if f.weight == 0 {
		b.Absent = "the beats do not change with the breath"
		return b
	}
	best, score, rival := f.peak()
	rate := breathLow + breathStep*refine(f.spectrum, best)
	alike, ofInterval := f.support(best)
	score *= (1 - breathRival*rival) * [4]float64{0.3, 0.6, 0.9, 1}[alike]
	b.Quality = min(1, score/breathScore)
	switch {
	case best == 0 || best == n-1:
		b.Quality = 0
		b.Absent = fmt.Sprintf("no peak between %.0f and %.0f breaths a minute: slower, or too fast for this heart rate", breathLow, top)
	case rate < breathSlow && !ofInterval:
		b.Quality = 0
		b.Absent = "only a slow sway of height and baseline, which need not be the breath"
	case rate > breathFast && (alike < 2 || !ofInterval):
		b.Quality = 0
		b.Absent = "a fast ripple of height or baseline, which need not be the breath"
	case b.Quality < breathQuality:
		b.Absent = "no clear rhythm of the breath in the beats"
	default:
		b.PerMinute = &rate
	}
	return b
}

// fused are the signs' spectra, and their weighted mean: lines breathStep apart from breathLow on.
type fused struct {
	signs    []Sign
	spectra  [3][]float64 // nil where a sign shows nothing
	spectrum []float64
	weight   float64 // 0 when none shows anything
}

// fuse joins the spectra, of n lines each.
func fuse(rows []breathRow, n int) fused {
	f := fused{spectrum: make([]float64, n)}
	for k, name := range [3]string{"amplitude", "baseline", "interval"} {
		var sign Sign
		sign, f.spectra[k] = breathSign(rows, k, n)
		sign.Name = name
		f.signs = append(f.signs, sign)
		w := sign.Clarity * sign.Clarity
		for i := range f.spectra[k] {
			f.spectrum[i] += w * f.spectra[k][i]
		}
		f.weight += w
	}
	if f.weight > 0 {
		for i := range f.spectrum {
			f.spectrum[i] /= f.weight
		}
	}
	return f
}

// peak is the line of the highest peak, its score, and the next highest peak beside it.
func (f fused) peak() (best int, score, rival float64) {
	// Line i stands for twice its rate at line 2i + twice.
	const twice = int(breathLow / breathStep)
	n := len(f.spectrum)
	height := make([]float64, n)
	for i, v := range f.spectrum {
		if height[i] = v; 2*i+twice < n {
			height[i] += breathHarmonic * f.spectrum[2*i+twice]
		}
		if height[i] > height[best] {
			best = i
		}
	}
	score = near(f.spectrum, best)
	if d := 2*best + twice; d < n {
		score += breathHarmonic * near(f.spectrum, d)
	}
	for i, v := range height {
		if away(i, best) && away(i, 2*best+twice) {
			rival = max(rival, v/height[best])
		}
	}
	return best, score, rival
}

// support is how many signs speak for the breath at a line, and whether the interval does.
func (f fused) support(best int) (alike int, ofInterval bool) {
	for k, spectrum := range f.spectra {
		if spectrum != nil && near(spectrum, best) > breathSupport {
			alike++
			ofInterval = ofInterval || k == 2
		}
	}
	return alike, ofInterval
}

// away tells whether two lines are no part of one peak.
func away(i, j int) bool {
	return math.Abs(float64(i-j)) > breathAway/breathStep
}

// breathSign gives a sign's own peak and its spectrum from breathLow on, n lines
// whose sum is 1.
func breathSign(rows []breathRow, k, n int) (s Sign, spectrum []float64) {
	var at, x []float64
	for _, r := range rows {
		v := [3]float64{r.amplitude, r.level, r.interval}[k]
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			at, x = append(at, r.at), append(x, v)
		}
	}
	if 4*len(x) < 3*len(rows) {
		return s, nil
	}
	smoothed(at, x)
	p := newPeriodogram(at, x)
	spectrum = make([]float64, n)
	total := 0.0
	best := 0
	for i := range spectrum {
		f := (breathLow + breathStep*float64(i)) / 60
		spectrum[i] = f * p.density(f)
		total += spectrum[i]
		if spectrum[i] > spectrum[best] {
			best = i
		}
	}
	if !(total > 0) {
		return s, nil
	}
	for i := range spectrum {
		spectrum[i] /= total
	}
	s.Clarity = near(spectrum, best)
	if best > 0 && best < n-1 {
		s.PerMinute = breathLow + breathStep*refine(spectrum, best)
	}
	return s, spectrum
}

// smoothed takes the slow course off x, a running mean over 15 s, and pulls in
// outliers.
func smoothed(at, x []float64) {
	slow := make([]float64, len(x))
	from, to, sum := 0, 0, 0.0
	for i := range x {
		for to < len(x) && at[to] <= at[i]+7.5 {
			sum += x[to]
			to++
		}
		for at[from] < at[i]-7.5 {
			sum -= x[from]
			from++
		}
		slow[i] = sum / float64(to-from)
	}
	far := make([]float64, len(x))
	for i := range x {
		x[i] -= slow[i]
		far[i] = math.Abs(x[i])
	}
	limit := breathOutliers * median(far)
	for i := range x {
		x[i] = max(-limit, min(limit, x[i]))
	}
}

// near is the share of a spectrum's sum within breathWide of line i.
func near(spectrum []float64, i int) float64 {
	w := int(breathWide / breathStep)
	in, all := 0.0, 0.0
	for j, v := range spectrum {
		all += v
		if j >= i-w && j <= i+w {
			in += v
		}
	}
	return in / all
}

// refine gives the place of a peak at line i between the lines, by a parabola
// through its neighbours.
func refine(v []float64, i int) float64 {
	if i == 0 || i == len(v)-1 {
		return float64(i)
	}
	a, b, c := v[i-1], v[i], v[i+1]
	if d := a - 2*b + c; d < 0 {
		return float64(i) + 0.5*(a-c)/d
	}
	return float64(i)
}
