package session

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
)

// coupled is a 16-bit sound input at 1 kHz behind 8 Hz: 1.6 V are full scale.
var coupled = acquire.Info{Address: "test:x", Device: "lamp clip", ClaimedRateHz: 1000, ExactClock: true,
	Channels: []acquire.Channel{{Label: "left", Kind: acquire.KindOther, MinCount: -32768, MaxCount: 32767}}}

// feed puts values, as shares of full scale, into blocks of 100.
func feed(src *script, first int, shares []float64) {
	for i := 0; i < len(shares); i += 100 {
		b := ramp(int64(first+i), 0, 100, time.Now())
		for j := range 100 {
			b.Counts[0][j] = int32(math.Round(32768 * math.Max(-1, math.Min(32767.0/32768, shares[i+j]))))
		}
		src.blocks <- b
	}
}

// behind is what an 8 Hz coupling makes of a function of time, the circuit solved
// exactly between samples.
func behind(f func(seconds float64) float64, cornerHz float64, n int) []float64 {
	out := make([]float64, n)
	a := 2 * math.Pi * cornerHz / 1000
	y := 0.0
	for i := 1; i < n; i++ {
		y = y*math.Exp(-a) + (f(float64(i)/1000)-f(float64(i-1)/1000))*(1-math.Exp(-a))/a
		out[i] = y
	}
	return out
}

func TestCouplingIsMeasuredByAStepAndUndone(t *testing.T) {
	src := newScript(coupled)
	s := start(t, nil, src)
	p := watch(t, s)
	// 0.8 V connected at 2 s; full scale is 1.6 V.
	wave := func(at float64) float64 {
		if at < 2 {
			return 0
		}
		return 0.5
	}
	feed(src, 0, behind(wave, 8, 6000))
	p.until(func() bool { return len(p.values) == 6000 })
	got, err := s.Calibrate(context.Background(), 0, Calibration{Method: "step", Volts: 0.8})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.Step.CornerHz-8) > 0.1 || math.Abs(got.FullScaleVolts-1.6) > 0.03 {
		t.Errorf("measured %.4g Hz and %.4g V at full scale, want 8 Hz and 1.6 V", got.Step.CornerHz, got.FullScaleVolts)
	}
	state := s.State().Channels[0]
	if state.Unit != "V" || state.Coupling == nil || math.Abs(state.Coupling.GainDB-20*math.Log10(8/0.05)) > 0.2 {
		t.Errorf("state %+v, %+v", state, state.Coupling)
	}
	// A triangle of 0.4 V, 1 s long, comes out as one.
	triangle := func(at float64) float64 {
		if at < 1 || at > 2 {
			return 0
		}
		return 0.25 * (1 - math.Abs(at-1.5)*2)
	}
	feed(src, 6000, behind(triangle, 8, 4000))
	p.until(func() bool { return len(p.values) == 10000 })
	worst := 0.0
	left := behind(triangle, 0.05, 4000) // the 0.05 Hz that are left droop by 63 mV, its area of 0.2 Vs times 2π · 0.05
	for i := 900; i < 2100; i++ {
		worst = math.Max(worst, math.Abs(float64(p.values[int64(6000+i)]-p.values[6900])-1.6*left[i]))
	}
	if worst > 0.01 {
		t.Errorf("the triangle of 0.4 V comes out wrong by up to %.3f V", worst)
	}
	if as := behind(triangle, 8, 4000); math.Abs(1.6*as[1500]-0.4) < 0.3 {
		t.Errorf("the test shows nothing: its triangle passes the coupling")
	}
}

// TestUndoingBeginsFromNothing: set in the middle of a pulse, or after a gap, it does
// not take the value just there for one that stood since ever, 160 times itself.
func TestUndoingBeginsFromNothing(t *testing.T) {
	src := newScript(coupled)
	s := start(t, nil, src)
	p := watch(t, s)
	x := behind(func(at float64) float64 { return 0.3 * math.Sin(7.5*at) }, 8, 3000)
	feed(src, 0, x[:1300])
	p.until(func() bool { return len(p.values) == 1300 })
	scale := s.State().Channels[0].Scale
	scale.Source, scale.FullScaleVolts, scale.CouplingHz = "fullscale", 1, 8
	if err := s.SetScale(context.Background(), 0, scale); err != nil {
		t.Fatal(err)
	}
	feed(src, 1300, x[1300:2000])
	p.until(func() bool { return len(p.values) == 2000 })
	b := ramp(2150, 150, 850, time.Now())
	for i := range b.Counts[0] {
		b.Counts[0][i] = int32(32768 * x[2150+i])
	}
	src.blocks <- b
	p.until(func() bool { return len(p.values) == 2850 })
	for i := int64(1300); i < 3000; i++ {
		if v, ok := p.values[i]; ok && !(math.Abs(float64(v)) < 1) {
			t.Fatalf("sample %d of a sine of 0.3 V comes out as %g V", i, v)
		}
	}
}

func TestClippingIsToldThoughTheCouplingIsUndone(t *testing.T) {
	info := coupled
	info.Channels = []acquire.Channel{coupled.Channels[0]}
	info.Channels[0].Kind = acquire.KindPulse
	src := newScript(info)
	s := start(t, nil, src)
	p := watch(t, s)
	scale := s.State().Channels[0].Scale
	scale.CouplingHz = 8
	if err := s.SetScale(context.Background(), 0, scale); err != nil {
		t.Fatal(err)
	}
	x := behind(func(at float64) float64 { return 0.3 * math.Sin(7.5*at) }, 8, 3000)
	x[2500] = 1
	feed(src, 0, x)
	p.until(func() bool { return len(p.values) == 3000 })
	soonState := func(want bool) {
		t.Helper()
		src.blocks <- ramp(int64(len(p.values)), 0, 1, time.Now())
		p.until(func() bool { return len(p.values) > 3000 })
		s.mu.Lock()
		defer s.mu.Unlock()
		if got := s.reading[0].State == "clipping"; got != want {
			t.Errorf("reading %+v, clipping wanted: %v", s.reading[0], want)
		}
	}
	soonState(true)
	if _, err := s.Calibrate(context.Background(), 0, Calibration{Method: "step"}); err == nil || !strings.Contains(err.Error(), "full scale") {
		t.Errorf("a clipped step: %v", err)
	}
}

// toneScript also has sound at the full rate.
type toneScript struct {
	*script
	rms, hz float64
}

func (s *toneScript) Recent(channel int, seconds float64) ([]float64, float64, error) {
	v := make([]float64, int(seconds*48000))
	for i := range v {
		v[i] = s.rms * math.Sqrt2 * math.Sin(2*math.Pi*s.hz*float64(i)/48000)
	}
	return v, 48000, nil
}

func TestToneSetsFullScale(t *testing.T) {
	src := &toneScript{newScript(coupled), 0.2, 1003.4}
	s := start(t, nil, src)
	got, err := s.Calibrate(context.Background(), 0, Calibration{Method: "tone", Volts: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.FullScaleVolts-1.5) > 0.001 || math.Abs(got.Tone.FreqHz-1003.4) > 0.01 {
		t.Errorf("full scale %.5g V by a tone of %.5g Hz, want 0.3 V/0.2 = 1.5 V at 1003.4 Hz", got.FullScaleVolts, got.Tone.FreqHz)
	}
	if c := s.State().Channels[0]; c.Unit != "V" || math.Abs(c.HighVolts-1.5) > 0.001 || math.Abs(c.StepVolts-1.5/32768) > 1e-7 {
		t.Errorf("the channel reaches to %g %s in steps of %g, want 1.5 V", c.HighVolts, c.Unit, c.StepVolts)
	}
	for _, c := range []struct {
		rms  float64
		want Calibration
		says string
	}{
		{0.8, Calibration{Method: "tone", Volts: 1}, "full scale"},
		{0.0001, Calibration{Method: "tone", Volts: 1}, "at least"},
		{0.2, Calibration{Method: "tone", Volts: 1, FreqHz: 500}, "no clean tone"},
		{0.2, Calibration{Method: "tone"}, "volts"},
		{0.2, Calibration{Method: "ear", Volts: 1}, "tone or step"},
		{0.2, Calibration{Method: "tone", Volts: math.NaN()}, "volts"},
	} {
		src.rms = c.rms
		if _, err := s.Calibrate(context.Background(), 0, c.want); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v of a tone of %g: %v, want %q", c.want, c.rms, err, c.says)
		}
	}
}

// keptScript is a recording that says how its channel was scaled.
type keptScript struct {
	*script
	kept string
}

func (s keptScript) KeptSettings() []byte { return []byte(s.kept) }
func (s keptScript) KeptEvents() []string { return nil }

func TestReplayHasTheScaleItWasRecordedWith(t *testing.T) {
	for kept, want := range map[string]string{
		`{"channels":[{"label":"left","scale":{"source":"fullscale","fullScaleVolts":1.6,"gain":1,"couplingHz":8}}]}`: "V",
		`{"channels":[{"label":"left","scale":{"source":"fullscale","fullScaleVolts":-1,"gain":1}}]}`:                 "counts",
		`{"channels":[]}`: "counts",
		``:                "counts",
	} {
		s := start(t, nil, keptScript{newScript(coupled), kept})
		c := s.State().Channels[0]
		if c.Unit != want || (c.Coupling != nil) != (want == "V") || want == "V" && math.Abs(c.HighVolts-1.6) > 0.001 {
			t.Errorf("kept %s: unit %s up to %g, coupling %v", kept, c.Unit, c.HighVolts, c.Coupling)
		}
	}
}

// notebook is a Memory that notes under which address things were asked and kept.
type notebook struct{ asked, kept []string }

func (n *notebook) Load(address string, _ acquire.Info, _ int) (said channel.Said, ok bool) {
	n.asked = append(n.asked, address)
	return said, false
}
func (n *notebook) Save(address string, _ acquire.Info, _ []channel.Resolved) {
	n.kept = append(n.kept, address)
}

// TestSoundIsRememberedByTheDevice: "default" may be another device tomorrow.
func TestSoundIsRememberedByTheDevice(t *testing.T) {
	info := coupled
	info.Address = "sound:default?side=left"
	src := newScript(info)
	book := &notebook{}
	s := New(Config{Openers: acquire.Openers{"sound": func(context.Context, acquire.Address) (acquire.Source, error) { return src, nil }}, Hub: hub.New(100), Remember: book})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	defer func() { cancel(); <-done }()
	if err := s.Open(ctx, info.Address); err != nil {
		t.Fatal(err)
	}
	scale := s.State().Channels[0].Scale
	scale.CouplingHz = 8
	if err := s.SetScale(ctx, 0, scale); err != nil {
		t.Fatal(err)
	}
	cancel()
	<-done
	if len(book.asked) != 1 || book.asked[0] != "sound:lamp clip" || len(book.kept) != 1 || book.kept[0] != "sound:lamp clip" {
		t.Errorf("asked for %q and kept as %q, want sound:lamp clip", book.asked, book.kept)
	}
}
