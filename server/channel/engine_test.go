package channel_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pulsewright/acquire"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
)

// engine makes one of usual settings.
func engine(t *testing.T, c acquire.Channel, rateHz float64, parts channel.Parts) *channel.Engine {
	t.Helper()
	s := channel.Resolve(channel.Places{Described: c, RateHz: rateHz / float64(channel.Decimation(rateHz))}).Settings
	e, err := channel.New(channel.Config{Described: c, Settings: s, RateHz: rateHz, Parts: parts})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// pulseCounts is an invented pulse, 70 a minute with hum, with holes.
func pulseCounts(n int, rateHz float64, holes ...[2]int) []int32 {
	list := make([]int32, n)
	for i := range list {
		at := float64(i) / rateHz
		list[i] = int32(2000 + 300*math.Pow(math.Sin(math.Pi*at*70/60), 8) + 20*math.Sin(2*math.Pi*50*at))
	}
	for _, h := range holes {
		for i := range h[1] {
			list[h[0]+i] = acquire.MissingCount
		}
	}
	return list
}

var finger = acquire.Channel{Label: "clip", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 0.001, MaxCount: 4095}

func sameFloats(a, b []float64) int {
	if len(a) != len(b) {
		return min(len(a), len(b))
	}
	for i := range a {
		if math.Float64bits(a[i]) != math.Float64bits(b[i]) && !(a[i] != a[i] && b[i] != b[i]) {
			return i
		}
	}
	return -1
}

// TestPieces: what an engine makes of counts does not depend on how they are cut into
// calls, with holes of every length about the bridge's 0.1 s, plain and decimated; and a
// gap told by its length is the same as so many missing counts.
func TestPieces(t *testing.T) {
	for _, rate := range []float64{1000, 8000} {
		n := int(12 * rate)
		bridge := int(0.1 * rate)
		holes := [][2]int{{0, 5}, {n / 8, bridge / 2}, {n / 4, bridge}, {3 * n / 8, bridge + 1}, {n / 2, 6 * bridge}, {3 * n / 4, 1}}
		counts := pulseCounts(n, rate, holes...)
		run := func(piece func() int, gaps bool) (*channel.Engine, *channel.Output) {
			e := engine(t, finger, rate, channel.All)
			out := &channel.Output{}
			for at := 0; at < n; {
				if gaps && counts[at] == acquire.MissingCount {
					k := at
					for k < n && counts[k] == acquire.MissingCount {
						k++
					}
					// What Gap leaves out has no value.
					part := &channel.Output{}
					half := int64(k-at) / 2
					e.Gap(part, half, int64(k-at))
					e.Gap(part, int64(k-at)-half, int64(k-at))
					for p := range out.Series {
						out.Series[p] = append(out.Series[p], part.Series[p]...)
						for int64(len(out.Series[p])) < e.Point()-out.First {
							out.Series[p] = append(out.Series[p], math.NaN())
						}
					}
					out.Beats = append(out.Beats, part.Beats...)
					at = k
					continue
				}
				k := min(n-at, piece())
				if gaps {
					for i := range k {
						if counts[at+i] == acquire.MissingCount {
							k = i
							break
						}
					}
				}
				e.Process(out, counts[at:at+k])
				at += k
			}
			return e, out
		}
		whole, want := run(func() int { return n }, false)
		if len(want.Beats) < 3 || want.First != 0 {
			t.Fatalf("at %g Hz: %d beats, first point %d", rate, len(want.Beats), want.First)
		}
		random := rand.New(rand.NewPCG(1, 2))
		for name, piece := range map[string]func() int{"1": func() int { return 1 }, "7": func() int { return 7 }, "random": func() int { return 1 + random.IntN(3*bridge) }} {
			for _, gaps := range []bool{false, true} {
				e, got := run(piece, gaps)
				for p := range got.Series {
					if i := sameFloats(got.Series[p], want.Series[p]); i >= 0 {
						t.Fatalf("at %g Hz in pieces of %s, gaps told %v: point %d of %d and %d values differs at %d", rate, name, gaps, p, len(got.Series[p]), len(want.Series[p]), i)
					}
				}
				if len(got.Beats) != len(want.Beats) {
					t.Fatalf("at %g Hz in pieces of %s, gaps told %v: %d beats, want %d", rate, name, gaps, len(got.Beats), len(want.Beats))
				}
				for i := range got.Beats {
					if got.Beats[i] != want.Beats[i] {
						t.Errorf("at %g Hz: beat %+v, want %+v", rate, got.Beats[i], want.Beats[i])
					}
				}
				if e.Reading() != whole.Reading() || e.Point() != whole.Point() {
					t.Errorf("at %g Hz: %+v at %d, want %+v at %d", rate, e.Reading(), e.Point(), whole.Reading(), whole.Point())
				}
			}
		}
	}
}

// TestHoles: a hole of 0.1 s is bridged, one sample more begins everything anew; the
// points of both have no value. In recordings made when 50 ms were bridged it is so still.
func TestHoles(t *testing.T) {
	for _, c := range []struct {
		bridge       float64
		hole, breaks int
	}{{0, 1, 1}, {0, 100, 1}, {0, 101, 2}, {0.05, 50, 1}, {0.05, 51, 2}} {
		hole, breaks := c.hole, c.breaks
		start := channel.Start{RateHz: 1000, BridgeSeconds: c.bridge, Channels: []channel.Settings{channel.Resolve(channel.Places{Described: finger, RateHz: 1000}).Settings}}
		e, err := channel.New(start.Config(0, finger, 0, channel.All))
		if err != nil {
			t.Fatal(err)
		}
		out := &channel.Output{}
		e.Process(out, pulseCounts(3000, 1000, [2]int{1000, hole}))
		if len(out.Breaks) != breaks {
			t.Errorf("a hole of %d ms: begun %d times, want %d", hole, len(out.Breaks), breaks)
		}
		for p := range out.Series {
			for i, v := range out.Series[p] {
				if gone := i >= 1000 && i < 1000+hole; gone != math.IsNaN(v) {
					t.Fatalf("a hole of %d ms: point %d at %d is %v", hole, p, i, v)
				}
			}
		}
	}
}

// TestPointsKeepTheirPlace: point p of a decimated source shows sample p times the ratio,
// from wherever the engine begins and after a gap.
func TestPointsKeepTheirPlace(t *testing.T) {
	const rate, hz = 8000.0, 5.0
	c := acquire.Channel{Label: "a", Kind: acquire.KindOther, Unit: "V", VoltsPerCount: 1e-6}
	s := channel.Resolve(channel.Places{Described: c, RateHz: 1000}).Settings
	wave := func(i int64) float64 { return math.Sin(2 * math.Pi * hz * float64(i) / rate) }
	counts := func(from, n int64) []int32 {
		list := make([]int32, n)
		for i := range list {
			list[i] = int32(math.Round(1e6 * wave(from+int64(i))))
		}
		return list
	}
	for _, first := range []int64{0, 3, 8000} {
		e, err := channel.New(channel.Config{Described: c, Settings: s, RateHz: rate, First: first})
		if err != nil {
			t.Fatal(err)
		}
		out := &channel.Output{}
		e.Process(out, counts(first, 8000))
		check := func(from int) {
			t.Helper()
			good := 0
			for i := from; i < out.Len(); i++ {
				v := out.Series[channel.PointScale][i]
				if math.IsNaN(v) {
					continue
				}
				good++
				if want := wave(8 * (out.First + int64(i))); math.Abs(v-want) > 1e-3 {
					t.Fatalf("from sample %d: point %d is %v, want %v", first, out.First+int64(i), v, want)
				}
			}
			if good < 800 {
				t.Errorf("from sample %d: %d points", first, good)
			}
		}
		check(60)
		out.Clear()
		e.Gap(out, 4001, 4001)
		out.Clear()
		e.Process(out, counts(first+12001, 8000))
		check(90)
	}
}

// TestSet: a path is changed without a break, another scale or kind begins anew, and what
// is refused changes nothing.
func TestSet(t *testing.T) {
	e := engine(t, finger, 250, channel.All)
	out := &channel.Output{}
	e.Process(out, pulseCounts(2500, 250))
	broke := func() bool {
		out.Clear()
		e.Process(out, pulseCounts(250, 250))
		return len(out.Breaks) > 0
	}
	s := e.Settings()
	s.Path.Smooth.CutoffHz = 12
	if err := e.Set(s); err != nil || broke() || e.Settings().Path.Smooth.CutoffHz != 12 {
		t.Errorf("another path: %v", err)
	}
	bad := s
	bad.Path.Smooth.CutoffHz = 400
	if err := e.Set(bad); err == nil || broke() || e.Settings().Path.Smooth.CutoffHz != 12 {
		t.Errorf("a corner above half the rate: %v, %+v", err, e.Settings().Path)
	}
	bad.Kind = "ecg"
	if err := e.Set(bad); err == nil || broke() || e.Settings().Kind != "pulse" {
		t.Errorf("and another kind: %v, %+v", err, e.Settings())
	}
	s.Scale.Gain = 2
	if err := e.Set(s); err != nil || !broke() || e.Linear().Factor != 0.0005 {
		t.Errorf("a gain: %v, %+v", err, e.Linear())
	}
	s.Kind, s.Path = "ecg", signalpath.Preset("ecg", 250)
	if err := e.Set(s); err != nil || !broke() || !e.Watched() {
		t.Errorf("another kind: %v", err)
	}
	s.Kind = "other"
	if err := e.Set(s); err != nil || !broke() || e.Watched() || e.Reading().State != "off" {
		t.Errorf("no beats: %v, %+v", err, e.Reading())
	}
}

// TestChangeOf: what was computed in an old scale goes over to a new one, 3·v − 3 here, as if it had been computed in
// that, at all points of the path, while its drift is switched on and off on the way.
func TestChangeOf(t *testing.T) {
	const rate = 250
	mid := 0.5
	old := channel.Resolve(channel.Places{Described: finger, RateHz: rate}).Settings
	old.Scale = channel.Scale{Source: "board", Gain: 1}
	turned := channel.Scale{Source: "board", Gain: -1.0 / 3, Invert: true, MidRailVolts: &mid}
	made := func(s channel.Settings) *channel.Engine {
		e, err := channel.New(channel.Config{Described: finger, Settings: s, RateHz: rate, Parts: channel.Path})
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	want := old
	want.Scale = turned
	a, b, offset := made(old), made(want), channel.NewOffset(old, rate)
	var out, direct channel.Output
	counts := pulseCounts(10*rate, rate)
	for at, step := 0, 0; at < len(counts); step++ {
		n := []int{700, 20, 3, 500, 400}[step%5]
		n = min(n, len(counts)-at)
		out.Clear()
		direct.Clear()
		a.Process(&out, counts[at:at+n])
		b.Process(&direct, counts[at:at+n])
		c, shares := want.ChangeOf(finger, old), offset.Next(out.Len())
		if math.Abs(c.Factor-3) > 1e-12 || math.Abs(c.Shift+3) > 1e-12 {
			t.Fatalf("%+v, want 3·v − 3", c)
		}
		for p := range channel.PointBeats {
			for i, v := range out.Series[p] {
				if got := v*c.Factor + c.Shift*shares[p][i]; math.Abs(got-direct.Series[p][i]) > 1e-9 {
					t.Fatalf("point %d, %d: %g, want %g", p, at+i, got, direct.Series[p][i])
				}
			}
		}
		old.Path.Drift.On = !old.Path.Drift.On
		if step == 3 {
			old.Path.Smooth.CutoffHz = 10
		}
		want.Path = old.Path
		if err := errors.Join(a.Set(old), b.Set(want)); err != nil {
			t.Fatal(err)
		}
		offset.Set(old)
		at += n
	}
	for p, v := range channel.NewOffset(channel.Settings{Scale: channel.Scale{CouplingHz: 2}}, rate).Next(1) {
		if v[0] != 0 {
			t.Errorf("point %d: where the coupling is undone %g of an offset comes through", p, v[0])
		}
	}
}

// TestRailsOfABoard: where no rails were told the board's own span is what the meters
// judge by, and gain and rails stand in the same volts.
func TestRailsTold(t *testing.T) {
	low, high, mid := 0.0, 5.0, 2.5
	s := channel.Settings{Kind: "ecg", Scale: channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 100, SupplyLowVolts: &low, SupplyHighVolts: &high, MidRailVolts: &mid}}
	m := s.Meter(acquire.Channel{Label: "a"}, 250)
	if m.SupplyHigh != 0.05 || m.MidRail != 0.025 || m.Unit != "V" || m.Kind != "ecg" || math.Abs(m.VoltsPerCount-5.0/1024/100) > 1e-15 || math.Abs(m.ConverterHigh-5*1023.0/1024/100) > 1e-12 {
		t.Errorf("%+v", m)
	}
}
