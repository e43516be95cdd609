package filter_test

import (
	"testing"

	"pulsewright/dsp/dsptest"
	"pulsewright/dsp/filter"
)

// must is for designs the test knows to be valid.
func must(s filter.Sections, err error) filter.Sections {
	if err != nil {
		panic(err)
	}
	return s
}

func cascade(s filter.Sections, rateHz float64) *filter.Cascade {
	c, err := filter.NewCascade(s, rateHz)
	if err != nil {
		panic(err)
	}
	return c
}

// TestConformance runs every kind of filter, and every number of sections that the
// kernels tell apart, through the contract.
func TestConformance(t *testing.T) {
	lp, hp, notch := filter.ButterworthLowPass, filter.ButterworthHighPass, filter.Notch
	for _, c := range []struct {
		name     string
		rateHz   float64
		sections filter.Sections
		at       []float64
		delayAt  []float64
	}{
		{"nothing", 250, nil, []float64{10}, []float64{10}},
		{"rc low-pass", 250, must(filter.RCLowPass(250, 15)), []float64{3, 15, 60}, []float64{3, 15}},
		{"rc high-pass", 250, must(filter.RCHighPass(250, 0.5)), []float64{0.2, 0.5, 5}, []float64{0.5, 5}},
		{"low-pass 2", 1000, must(lp(1000, 40, 2)), []float64{10, 40, 100}, []float64{10, 40}},
		{"low-pass 3", 1000, must(lp(1000, 40, 3)), []float64{10, 40, 100}, []float64{10, 40}},
		{"low-pass 4", 25, must(lp(25, 10, 4)), []float64{1, 10, 12}, []float64{1, 10}},
		{"low-pass 5", 1000, must(lp(1000, 40, 5)), []float64{10, 40, 100}, []float64{10, 40}},
		{"low-pass 6", 1000, must(lp(1000, 40, 6)), []float64{10, 40, 100}, []float64{10, 40}},
		{"low-pass 7", 1000, must(lp(1000, 40, 7)), []float64{10, 40, 100}, []float64{10, 40}},
		{"low-pass 8", 192000, must(lp(192000, 1000, 8)), []float64{100, 1000, 3000}, []float64{100, 1000}},
		{"high-pass 2", 250, must(hp(250, 0.5, 2)), []float64{0.25, 0.5, 5}, []float64{0.5, 5}},
		{"high-pass 5", 250, must(hp(250, 5, 5)), []float64{2, 5, 50}, []float64{5, 50}},
		{"high-pass 8", 250, must(hp(250, 5, 8)), []float64{2, 5, 50}, []float64{5, 50}},
		{"notch", 250, must(notch(250, 50, 5, 1)), []float64{10, 48, 50, 52}, []float64{10, 48}},
		{"notch 3", 1000, must(notch(1000, 60, 2, 3)), []float64{10, 60, 120, 179}, []float64{10, 59}},
		{"notch 8", 1000, must(notch(1000, 50, 10, 8)), []float64{10, 50, 250, 399}, []float64{10, 60}},
		{"mixed", 500, filter.Join(must(hp(500, 0.5, 1)), must(notch(500, 50, 5, 3)), must(lp(500, 40, 3))), []float64{0.5, 5, 30, 50}, []float64{5, 30}},
		{"by hand", 500, filter.Sections{filter.NewSection([3]float64{0.2, 0.5, 0.1}, [2]float64{-0.9, 0.4}), filter.NewSection([3]float64{0, 1, 0}, [2]float64{-0.5, 0}), filter.NewSection([3]float64{0, 0, 1}, [2]float64{0.2, 0.1})}, []float64{5, 100}, []float64{5, 100}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dsptest.Filter(t, func() filter.Filter { return cascade(c.sections, c.rateHz) },
				dsptest.Options{AtHz: c.at, DelayAtHz: c.delayAt})
		})
	}
}
