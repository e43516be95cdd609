// Package score compares detected beats with reference beats the way of ANSI/AAMI
// EC57 (later IEC 60601-2-47).
//
// A detection within 150 ms of a reference beat is a true positive, one to one,
// nearest first. A reference beat left over is a false negative, a detection left
// over a false positive. Sensitivity Se = TP/(TP+FN), positive predictivity
// +P = TP/(TP+FP). The first minutes can be left out as a learning period (5 min
// in EC57); ventricular flutter is not scored.
//
// Written from the description of the standard's method, not from its text.
// Positions are sample indices of one rate for reference and detections.
package score

import (
	"fmt"
	"math"
	"slices"
)

// Annotation codes that mean something to scoring (MIT format).
const (
	CodeFlutterStart = 32 // [
	CodeFlutterEnd   = 33 // ]
)

// Annotation is one mark of a reference: its sample and its MIT code.
type Annotation struct {
	Sample int64
	Code   int
}

// IsBeat says whether a MIT annotation code marks a QRS complex: N L R a V F J A S
// E j / Q (1 to 13), B (25), ? (30), e n f (34, 35, 38) and r (41).
func IsBeat(code int) bool {
	switch {
	case code >= 1 && code <= 13:
		return true
	case code == 25, code == 30, code == 34, code == 35, code == 38, code == 41:
		return true
	}
	return false
}

// Span is a stretch of samples, First and Last included.
type Span struct{ First, Last int64 }

func (s Span) holds(sample int64) bool { return sample >= s.First && sample <= s.Last }

// Reference is what a record truly holds.
type Reference struct {
	// Samples of the beats, rising.
	Samples []int64
	// Uncertain beats, rising: a detection within the window of one is neither
	// right nor wrong, and none is missed there.
	Uncertain []int64
	// Excluded stretches are not scored: a reference beat in one is not counted,
	// nor a detection that matches nothing.
	Excluded []Span
}

// FromAnnotations makes a reference of a record's annotations: beats by their
// code, stretches of flutter excluded. A stretch that is not ended lasts to the
// end of the record.
func FromAnnotations(list []Annotation) Reference {
	var r Reference
	open := int64(-1)
	for _, a := range list {
		switch {
		case IsBeat(a.Code):
			r.Samples = append(r.Samples, a.Sample)
		case a.Code == CodeFlutterStart && open < 0:
			open = a.Sample
		case a.Code == CodeFlutterEnd && open >= 0:
			r.Excluded = append(r.Excluded, Span{open, a.Sample})
			open = -1
		}
	}
	if open >= 0 {
		r.Excluded = append(r.Excluded, Span{open, math.MaxInt64})
	}
	slices.Sort(r.Samples)
	return r
}

// Config of a comparison.
type Config struct {
	// RateHz is the sample rate of both lists.
	RateHz float64
	// WindowSeconds is how far apart a pair may be; 0 is EC57's 0.150.
	WindowSeconds float64
	// LearningSeconds at the start are not scored; 0 scores all, EC57 says 300.
	LearningSeconds float64
}

// Learning is EC57's learning period.
const Learning = 300

// Result is one record's comparison.
type Result struct {
	TP int `json:"tp"`
	FN int `json:"fn"`
	FP int `json:"fp"`
	// Errors are the true positives' distances in seconds, detection minus
	// reference, in order of the reference.
	Errors []float64 `json:"-"`
	// Missed are the reference beats not found, Extra the detections that are no
	// beats, rising.
	Missed []int64 `json:"-"`
	Extra  []int64 `json:"-"`
}

// Beats is the number of reference beats scored.
func (r Result) Beats() int { return r.TP + r.FN }

// Se is the sensitivity, 0 to 1; NaN without reference beats.
func (r Result) Se() float64 { return float64(r.TP) / float64(r.TP+r.FN) }

// PPV is the positive predictivity +P, 0 to 1; NaN without detections.
func (r Result) PPV() float64 { return float64(r.TP) / float64(r.TP+r.FP) }

// F1 is the harmonic mean of Se and +P; NaN without beats and detections.
func (r Result) F1() float64 { return 2 * float64(r.TP) / float64(2*r.TP+r.FN+r.FP) }

// RMS is the root mean square location error in seconds; NaN without pairs.
func (r Result) RMS() float64 {
	sum := 0.0
	for _, e := range r.Errors {
		sum += e * e
	}
	return math.Sqrt(sum / float64(len(r.Errors)))
}

// MedianAbs is the median of the location error's absolute value in seconds; NaN
// without pairs.
func (r Result) MedianAbs() float64 {
	abs := make([]float64, len(r.Errors))
	for i, e := range r.Errors {
		abs[i] = math.Abs(e)
	}
	return median(abs)
}

// Bias is the median location error in seconds, positive when detections come
// after the reference; NaN without pairs.
func (r Result) Bias() float64 { return median(slices.Clone(r.Errors)) }

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}

// Match compares test detections (sample indices, any order) with a reference.
//
// All pairs within the window are taken nearest first, each beat and each
// detection once; of equal distances the earlier reference beat goes first, then
// the earlier detection. What is scored is decided afterwards, so that a pair across the
// learning period's end or the edge of an excluded stretch is not torn: the
// reference's sample decides for a pair, the detection's own for one left over.
func Match(ref Reference, test []int64, c Config) (Result, error) {
	if !(c.RateHz > 0) || math.IsInf(c.RateHz, 1) {
		return Result{}, fmt.Errorf("score: rate %g Hz: must be above 0; give the rate of the sample indices", c.RateHz)
	}
	window := c.WindowSeconds
	if window == 0 {
		window = 0.150
	}
	if !(window > 0) {
		return Result{}, fmt.Errorf("score: window %g s: must be above 0, or 0 for 0.150", window)
	}
	if !(c.LearningSeconds >= 0) {
		return Result{}, fmt.Errorf("score: learning period %g s: must be 0 or more", c.LearningSeconds)
	}
	// The tiny allowance keeps a distance of exactly the window inside.
	reach := int64(math.Floor(window*c.RateHz + 1e-9))
	start := int64(math.Ceil(c.LearningSeconds*c.RateHz - 1e-9))
	if !slices.IsSorted(test) {
		test = slices.Sorted(slices.Values(test))
	}

	// Certain and uncertain beats compete alike.
	type mark struct {
		sample    int64
		uncertain bool
		pair      int
	}
	beats := make([]mark, 0, len(ref.Samples)+len(ref.Uncertain))
	for _, s := range ref.Samples {
		beats = append(beats, mark{s, false, -1})
	}
	for _, s := range ref.Uncertain {
		beats = append(beats, mark{s, true, -1})
	}
	slices.SortStableFunc(beats, func(a, b mark) int { return cmp(a.sample, b.sample) })

	type pair struct {
		far  int64
		r, t int
	}
	var pairs []pair
	first := 0
	for i, b := range beats {
		for first < len(test) && test[first] < b.sample-reach {
			first++
		}
		for j := first; j < len(test) && test[j] <= b.sample+reach; j++ {
			pairs = append(pairs, pair{abs(test[j] - b.sample), i, j})
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		if a.far != b.far {
			return cmp(a.far, b.far)
		}
		if a.r != b.r {
			return a.r - b.r
		}
		return a.t - b.t
	})
	used := make([]bool, len(test))
	for _, p := range pairs {
		if beats[p.r].pair < 0 && !used[p.t] {
			beats[p.r].pair = p.t
			used[p.t] = true
		}
	}

	scored := func(sample int64) bool {
		if sample < start {
			return false
		}
		for _, s := range ref.Excluded {
			if s.holds(sample) {
				return false
			}
		}
		return true
	}
	var res Result
	for _, b := range beats {
		switch {
		case b.uncertain || !scored(b.sample):
		case b.pair < 0:
			res.FN++
			res.Missed = append(res.Missed, b.sample)
		default:
			res.TP++
			res.Errors = append(res.Errors, float64(test[b.pair]-b.sample)/c.RateHz)
		}
	}
	for j, s := range test {
		if used[j] || !scored(s) || near(ref.Uncertain, s, reach) {
			continue
		}
		res.FP++
		res.Extra = append(res.Extra, s)
	}
	return res, nil
}

// Delay is the median distance in samples from a reference beat to the first detection at or
// after it, those more than longest away left out; 0 without any. test rises. A pulse comes
// so much after its R peak.
func Delay(ref Reference, test []int64, longest int64) int64 {
	var delays []int64
	at := 0
	for _, beat := range ref.Samples {
		for at < len(test) && test[at] < beat {
			at++
		}
		if at < len(test) && test[at]-beat <= longest {
			delays = append(delays, test[at]-beat)
		}
	}
	if len(delays) == 0 {
		return 0
	}
	slices.Sort(delays)
	return delays[len(delays)/2]
}

func near(list []int64, s, reach int64) bool {
	i, _ := slices.BinarySearch(list, s-reach)
	return i < len(list) && list[i] <= s+reach
}

func cmp(a, b int64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func abs(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}

// Total gathers the results of several records.
type Total struct {
	// Gross sums the counts and gathers the location errors of all records.
	Gross   Result
	Records int

	se, ppv     float64
	nSe, nPPV   int
	lowSe, lowP float64
}

// Add takes one record's result in.
func (t *Total) Add(r Result) {
	if t.Records == 0 {
		t.lowSe, t.lowP = math.NaN(), math.NaN()
	}
	t.Records++
	t.Gross.TP += r.TP
	t.Gross.FN += r.FN
	t.Gross.FP += r.FP
	t.Gross.Errors = append(t.Gross.Errors, r.Errors...)
	if v := r.Se(); !math.IsNaN(v) {
		t.se += v
		t.nSe++
		if !(t.lowSe <= v) {
			t.lowSe = v
		}
	}
	if v := r.PPV(); !math.IsNaN(v) {
		t.ppv += v
		t.nPPV++
		if !(t.lowP <= v) {
			t.lowP = v
		}
	}
}

// AverageSe is the mean of the records' sensitivities, those without beats left
// out; NaN when there is none.
func (t *Total) AverageSe() float64 { return t.se / float64(t.nSe) }

// AveragePPV is the mean of the records' positive predictivities, those without
// detections left out; NaN when there is none.
func (t *Total) AveragePPV() float64 { return t.ppv / float64(t.nPPV) }

// LowestSe and LowestPPV are the worst record's figures; NaN when there is none.
func (t *Total) LowestSe() float64 {
	if t.nSe == 0 {
		return math.NaN()
	}
	return t.lowSe
}

// LowestPPV: see LowestSe.
func (t *Total) LowestPPV() float64 {
	if t.nPPV == 0 {
		return math.NaN()
	}
	return t.lowP
}
