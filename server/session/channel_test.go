package session

import (
	"math"
	"testing"

	"pulsewright/acquire"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/hub"
)

// TestHolesDoNotDependOnBlocks: what a channel makes of samples without a value is the
// same however they are cut into blocks, a hole that is bridged and one that is not.
func TestHolesDoNotDependOnBlocks(t *testing.T) {
	const rate, n, bridge = 1000, 4000, 50
	values := make([]float64, n)
	for i := range values {
		values[i] = 2.5 + 0.5*math.Sin(2*math.Pi*1.2*float64(i)/rate) + 0.1*math.Sin(2*math.Pi*50*float64(i)/rate)
	}
	for _, hole := range [][2]int{{0, 5}, {1000, 20}, {2000, 50}, {2500, 51}, {3000, 300}} {
		for i := range hole[1] {
			values[hole[0]+i] = math.NaN()
		}
	}
	run := func(piece int) *channel {
		c, err := newChannel(acquire.Channel{Label: "a", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 1}, rate)
		if err != nil {
			t.Fatal(err)
		}
		for at := 0; at < n; at += piece {
			part := append([]float64(nil), values[at:min(at+piece, n)]...)
			c.process(int64(at), part, bridge)
		}
		return c
	}
	whole := run(n)
	for _, piece := range []int{1, 7, 25, 49, 333} {
		c := run(piece)
		for p := range c.out {
			if len(c.out[p]) != n {
				t.Fatalf("blocks of %d: %d values at point %d, want %d", piece, len(c.out[p]), p, n)
			}
			for i, v := range c.out[p] {
				if w := whole.out[p][i]; v != w && !(v != v && w != w) {
					t.Fatalf("blocks of %d: point %d at sample %d is %g, in one block %g", piece, p, i, v, w)
				}
			}
		}
	}
}

// TestInvertedBehindAnAmplifier: the mid-rail is told in volts at the converter and stands,
// like every value, before the amplifier: v becomes 2·2.5 V/4 − v.
func TestInvertedBehindAnAmplifier(t *testing.T) {
	c, err := newChannel(acquire.Channel{Label: "a", Kind: acquire.KindOther}, 250)
	if err != nil {
		t.Fatal(err)
	}
	mid := 2.5
	c.scale = ScaleSettings{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 4, Invert: true, MidRailVolts: &mid}
	if err := c.rescale(); err != nil {
		t.Fatal(err)
	}
	for count, want := range map[float64]float64{0: 1.25, 512: 0.625, 1024: 0} {
		if got := c.offset + count*c.factor; math.Abs(got-want) > 1e-12 {
			t.Errorf("count %g is %g V, want %g", count, got, want)
		}
	}
	if low, high := c.ends(); math.Abs(low-1.25/1024) > 1e-12 || high != 1.25 {
		t.Errorf("the converter's ends are %g and %g V", low, high)
	}
}

// TestSeriesEndsAtAGap: the newest values of a series reach back to the newest gap, also
// to a jump of a recording, where the index goes on.
func TestSeriesEndsAtAGap(t *testing.T) {
	for _, c := range []struct {
		second int64
		gap    bool
		want   int
	}{{100, false, 150}, {100, true, 50}, {120, false, 50}, {120, true, 50}} {
		h := newHistory(1, 100_000)
		row := make([]float32, 100)
		value := func(int) []float32 { return row }
		h.add(0, 100, false, value)
		h.add(c.second, 50, c.gap, value)
		if got := h.copySeries(make([]float64, 1000), 0); len(got) != c.want {
			t.Errorf("%+v: %d values", c, len(got))
		}
	}
}

// TestDecibelsOfNothing: JSON has no word for minus infinity, a notch's gain.
func TestDecibelsOfNothing(t *testing.T) {
	for gain, want := range map[complex128]float64{0: -200, 1: 0, 10i: 20, complex(math.NaN(), 0): -200, 1e-30: -200} {
		if got := decibels(gain); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g: %g dB, want %g", gain, got, want)
		}
	}
}

// TestRescaledHistory: what is remembered of a channel goes over to its new scale, 3·v + 1
// here; behind a high-pass, and where the coupling is undone, no offset comes through.
func TestRescaledHistory(t *testing.T) {
	for _, drift := range []bool{false, true} {
		for _, coupled := range []bool{false, true} {
			c, err := newChannel(acquire.Channel{Label: "a", Kind: acquire.KindOther}, 250)
			if err != nil {
				t.Fatal(err)
			}
			if err := c.path.Set(signalpath.Settings{Drift: signalpath.Drift{On: drift, CutoffHz: 0.5}}); err != nil {
				t.Fatal(err)
			}
			if coupled {
				if c.undo, err = (ScaleSettings{CouplingHz: 2}).uncouple(250); err != nil {
					t.Fatal(err)
				}
			}
			s := New(Config{Hub: hub.New(1)})
			s.history = newHistory(points, 1000)
			s.history.add(0, 1, false, func(int) []float32 { return []float32{2} })
			c.factor, c.offset = 6, 1
			s.rescaleHistory(0, c, 2, 0)
			for p := range points {
				want := 7.0
				if coupled || p == pointBeats || drift && p > 0 {
					want = 6
				}
				if got := s.history.copySeries(make([]float64, 1), p); got[0] != want {
					t.Errorf("drift %v, coupling undone %v, point %d: 2 became %g, want %g", drift, coupled, p, got[0], want)
				}
			}
		}
	}
}
