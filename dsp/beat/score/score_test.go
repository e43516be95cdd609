package score

import (
	"math"
	"slices"
	"testing"
)

// Cases worked by hand from the description of the method: 150 ms, one to one, nearest
// first. At 1000 Hz a sample is a millisecond.
func TestMatch(t *testing.T) {
	for _, c := range []struct {
		name       string
		ref        Reference
		test       []int64
		config     Config
		tp, fn, fp int
	}{
		{"all right", Reference{Samples: []int64{1000, 2000}}, []int64{1000, 2000}, Config{RateHz: 1000}, 2, 0, 0},
		{"exactly 150 ms is within", Reference{Samples: []int64{1000, 2000}}, []int64{850, 2150}, Config{RateHz: 1000}, 2, 0, 0},
		{"151 ms is not", Reference{Samples: []int64{1000, 2000}}, []int64{849, 2151}, Config{RateHz: 1000}, 0, 2, 2},
		{"exactly 54 samples at 360 Hz", Reference{Samples: []int64{360}}, []int64{414}, Config{RateHz: 360}, 1, 0, 0},
		{"two detections, one beat", Reference{Samples: []int64{1000}}, []int64{990, 1005}, Config{RateHz: 1000}, 1, 0, 1},
		{"two beats, one detection", Reference{Samples: []int64{1000, 1200}}, []int64{1110}, Config{RateHz: 1000}, 1, 1, 0},
		{"nearest first, though the others then are alone", Reference{Samples: []int64{1000, 1100}}, []int64{1090, 1240}, Config{RateHz: 1000}, 1, 1, 1},
		{"the nearer takes it", Reference{Samples: []int64{1000, 1200}}, []int64{1050, 1140, 1350}, Config{RateHz: 1000}, 2, 0, 1},
		{"any order", Reference{Samples: []int64{1000, 2000}}, []int64{2000, 1000}, Config{RateHz: 1000}, 2, 0, 0},
		{"nothing found", Reference{Samples: []int64{1000, 2000}}, nil, Config{RateHz: 1000}, 0, 2, 0},
		{"nothing there", Reference{}, []int64{5, 6}, Config{RateHz: 1000}, 0, 0, 2},
		{"learning period left out", Reference{Samples: []int64{100, 1500}}, []int64{100, 700, 1500}, Config{RateHz: 1000, LearningSeconds: 1}, 1, 0, 0},
		{"a pair across its end belongs to the beat", Reference{Samples: []int64{1010}}, []int64{950}, Config{RateHz: 1000, LearningSeconds: 1}, 1, 0, 0},
		{"flutter left out", Reference{Samples: []int64{100, 3000}, Excluded: []Span{{1000, 2000}}}, []int64{100, 1000, 1500, 2000, 2001, 3000}, Config{RateHz: 1000}, 2, 0, 1},
		{"an uncertain beat counts neither way", Reference{Samples: []int64{100}, Uncertain: []int64{1000, 2000}}, []int64{100, 1010, 1100}, Config{RateHz: 1000}, 1, 0, 0},
		{"wider window", Reference{Samples: []int64{1000}}, []int64{1180}, Config{RateHz: 1000, WindowSeconds: 0.2}, 1, 0, 0},
	} {
		r, err := Match(c.ref, c.test, c.config)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r.TP != c.tp || r.FN != c.fn || r.FP != c.fp {
			t.Errorf("%s: TP %d FN %d FP %d, want %d %d %d", c.name, r.TP, r.FN, r.FP, c.tp, c.fn, c.fp)
		}
		if len(r.Missed) != r.FN || len(r.Extra) != r.FP || len(r.Errors) != r.TP {
			t.Errorf("%s: lists of %d missed, %d extra, %d errors", c.name, len(r.Missed), len(r.Extra), len(r.Errors))
		}
	}
}

func TestBadConfig(t *testing.T) {
	for _, c := range []Config{{}, {RateHz: -1}, {RateHz: math.NaN()}, {RateHz: math.Inf(1)}, {RateHz: 1, WindowSeconds: -1}, {RateHz: 1, WindowSeconds: math.NaN()}, {RateHz: 1, LearningSeconds: -1}, {RateHz: 1, LearningSeconds: math.NaN()}} {
		if _, err := Match(Reference{}, nil, c); err == nil {
			t.Errorf("%+v: no error", c)
		}
	}
}

// Location errors of −3, 0, 4 and 5 ms: mean square (9 + 0 + 16 + 25)/4 = 12.5.
func TestLocation(t *testing.T) {
	r, err := Match(Reference{Samples: []int64{1000, 2000, 3000, 4000}}, []int64{997, 2000, 3004, 4005}, Config{RateHz: 1000})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"RMS", r.RMS(), math.Sqrt(12.5) / 1000},
		{"median of |error|", r.MedianAbs(), 0.0035},
		{"bias", r.Bias(), 0.002},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s %g, want %g", c.name, c.got, c.want)
		}
	}
}

// Gross sums, average means: 90 of 100 and 1 of 2 found are 91/102 gross, 70 % average.
func TestTotal(t *testing.T) {
	var total Total
	for _, r := range []Result{{TP: 90, FN: 10, FP: 10}, {TP: 1, FN: 1, FP: 0}, {}} {
		total.Add(r)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"gross Se", total.Gross.Se(), 91.0 / 102},
		{"gross +P", total.Gross.PPV(), 91.0 / 101},
		{"gross F1", total.Gross.F1(), 182.0 / (182 + 11 + 10)},
		{"average Se", total.AverageSe(), 0.7},
		{"average +P", total.AveragePPV(), 0.95},
		{"lowest Se", total.LowestSe(), 0.5},
		{"lowest +P", total.LowestPPV(), 0.9},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s %g, want %g", c.name, c.got, c.want)
		}
	}
	if total.Records != 3 {
		t.Errorf("%d records", total.Records)
	}
	var none Total
	if none.Add(Result{}); !math.IsNaN(none.AverageSe()) || !math.IsNaN(none.LowestSe()) || !math.IsNaN(Result{}.RMS()) {
		t.Error("a figure of nothing is a number")
	}
}

// Codes as the data's README lists them: beats, flutter's bounds, and marks that are
// neither.
func TestFromAnnotations(t *testing.T) {
	var list []Annotation
	var beats []int64
	for code := 1; code <= 41; code++ {
		at := int64(100 * code)
		list = append(list, Annotation{at, code})
		if slices.Contains([]int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 25, 30, 34, 35, 38, 41}, code) {
			beats = append(beats, at)
		}
	}
	r := FromAnnotations(list)
	if !slices.Equal(r.Samples, beats) {
		t.Errorf("beats at %v, want %v", r.Samples, beats)
	}
	if !slices.Equal(r.Excluded, []Span{{3200, 3300}}) {
		t.Errorf("flutter %v, want 3200 to 3300", r.Excluded)
	}
	r = FromAnnotations([]Annotation{{5, 32}, {9, 32}})
	if !slices.Equal(r.Excluded, []Span{{5, math.MaxInt64}}) {
		t.Errorf("flutter without an end: %v", r.Excluded)
	}
}
