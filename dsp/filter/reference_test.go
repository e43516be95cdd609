package filter_test

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"os"
	"testing"

	"pulsewright/dsp/filter"
)

type design struct {
	Kind                        string
	RateHz, FreqHz, BandwidthHz float64
	Order, Pad, Every           int
	AtHz, Re, Im                []float64
	Output, ZeroPhase           []float64
	Ratio                       int
	FirstTaps                   []float64
}

type reference struct {
	Scipy                           string
	Designs, Runs, Fine, Decimators []design
}

// load reads the vectors that testdata/reference.py has made with scipy.
func load(t *testing.T) reference {
	t.Helper()
	data, err := os.ReadFile("testdata/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var r reference
	if err := json.Unmarshal(data, &r); err != nil {
		t.Fatal(err)
	}
	if r.Scipy == "" || len(r.Designs) < 100 || len(r.Runs) == 0 || len(r.Fine) == 0 || len(r.Decimators) == 0 {
		t.Fatal("testdata/reference.json is incomplete; run reference.py")
	}
	return r
}

func (d design) sections(t *testing.T) filter.Sections {
	t.Helper()
	var s filter.Sections
	var err error
	switch d.Kind {
	case "lowpass":
		s, err = filter.ButterworthLowPass(d.RateHz, d.FreqHz, d.Order)
	case "highpass":
		s, err = filter.ButterworthHighPass(d.RateHz, d.FreqHz, d.Order)
	case "notch":
		s, err = filter.Notch(d.RateHz, d.FreqHz, d.BandwidthHz, d.Order)
	}
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// noise is Park and Miller's minimal standard generator of seed 1, as in
// reference.py, less a half.
func noise(n int) []float64 {
	x, s := make([]float64, n), uint64(1)
	for i := range x {
		s = s * 16807 % 2147483647
		x[i] = float64(s)/2147483647 - 0.5
	}
	return x
}

func offsetNoise(n int) []float64 {
	x := noise(n)
	for i := range x {
		x[i] += 2.5
	}
	return x
}

func TestResponseAgainstScipy(t *testing.T) {
	worst := 0.0
	for _, d := range load(t).Designs {
		s := d.sections(t)
		for i, hz := range d.AtHz {
			want := complex(d.Re[i], d.Im[i])
			diff := cmplx.Abs(s.Response(hz, d.RateHz) - want)
			worst = math.Max(worst, diff)
			// scipy's own b and a in double precision limit the agreement.
			if !(diff < 2e-9) {
				t.Errorf("%s %g Hz order %d at %g Hz: response at %g Hz is %v, scipy has %v",
					d.Kind, d.FreqHz, d.Order, d.RateHz, hz, s.Response(hz, d.RateHz), want)
			}
		}
	}
	t.Logf("largest difference %.2g", worst)
}

func TestOutputAgainstScipy(t *testing.T) {
	for _, d := range load(t).Runs {
		s, x := d.sections(t), offsetNoise(len(d.Output))
		y := make([]float64, len(x))
		cascade(s, d.RateHz).Process(y, x)
		compare(t, d, "sosfilt", y, d.Output, 1e-11)

		if pad := filter.ZeroPhasePad(s, len(x)); pad < d.Pad-1 || pad > d.Pad+1 {
			t.Errorf("%s %g Hz: pad %d, reference has %d", d.Kind, d.FreqHz, pad, d.Pad)
		}
		if err := filter.ZeroPhase(y, x, s); err != nil {
			t.Fatal(err)
		}
		compare(t, d, "sosfiltfilt", y, d.ZeroPhase, 1e-10)
		inPlace := append([]float64(nil), x...)
		if err := filter.ZeroPhase(inPlace, inPlace, s); err != nil {
			t.Fatal(err)
		}
		compare(t, d, "in place", inPlace, y, 0)
	}
}

// TestLowCornerAgainstLongDouble: a corner four million times below the rate,
// against the same filter run in 80-bit arithmetic.
func TestLowCornerAgainstLongDouble(t *testing.T) {
	x := offsetNoise(192000)
	y := make([]float64, len(x))
	for _, d := range load(t).Fine {
		cascade(d.sections(t), d.RateHz).Process(y, x)
		got := make([]float64, 0, len(d.Output))
		for i := d.Every - 1; i < len(y); i += d.Every {
			got = append(got, y[i])
		}
		compare(t, d, "long double", got, d.Output, 1e-9)
	}
}

func compare(t *testing.T, d design, what string, got, want []float64, tolerance float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d samples, reference has %d", len(got), len(want))
	}
	worst, at := 0.0, 0
	for i := range want {
		if e := math.Abs(got[i] - want[i]); !(e <= worst) {
			worst, at = e, i
		}
	}
	if !(worst <= tolerance) {
		t.Errorf("%s %g Hz order %d at %g Hz: sample %d is %v, %s has %v", d.Kind, d.FreqHz, d.Order, d.RateHz, at, got[at], what, want[at])
	}
}

func TestDecimatorTapsAgainstScipy(t *testing.T) {
	for _, d := range load(t).Decimators {
		dec, err := filter.NewDecimator(48000, d.Ratio)
		if err != nil {
			t.Fatal(err)
		}
		taps := dec.Taps()
		if len(taps) != 56*d.Ratio+1 {
			t.Errorf("ratio %d: %d taps", d.Ratio, len(taps))
		}
		for i, want := range d.FirstTaps {
			if got := taps[i*d.Every]; math.Abs(got-want) > 1e-14 {
				t.Errorf("ratio %d: tap %d is %v, firwin has %v", d.Ratio, i*d.Every, got, want)
			}
		}
	}
}
