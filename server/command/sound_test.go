package command

import (
	"context"
	"encoding/binary"
	"math"
	"testing"
	"time"

	"pulsewright/acquire/soundcard"
	"pulsewright/server/hub"
	"pulsewright/server/session"
)

// TestSoundInputIsMeasuredAndUndone: a page's sound at 48 kHz, first a 1 kHz tone of
// known level, then a step behind 8 Hz, goes the whole way through the program.
func TestSoundInputIsMeasuredAndUndone(t *testing.T) {
	pages := soundcard.NewBrowser()
	feed, err := pages.Attach(soundcard.Hello{Device: "lamp clip", RateHz: 48000, Channels: 1})
	if err != nil {
		t.Fatal(err)
	}
	live := session.New(session.Config{Openers: openers(pages, nil, nil), Hub: hub.New(1000)})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = live.Run(ctx) }()
	defer func() { cancel(); <-done }()
	if err := live.Open(ctx, "sound:browser/lamp clip?kind=other"); err != nil {
		t.Fatal(err)
	}
	at := 0
	play := func(seconds float64, value func(i int) float64) {
		t.Helper()
		for end := at + int(seconds*48000); at < end; at += 480 {
			b := append([]byte{'P', 'A', 1, 1}, make([]byte, 28+4*480)...)
			binary.LittleEndian.PutUint32(b[4:], uint32(at/480))
			binary.LittleEndian.PutUint64(b[8:], uint64(at))
			binary.LittleEndian.PutUint64(b[16:], math.Float64bits(48000))
			binary.LittleEndian.PutUint32(b[24:], 480)
			for i := range 480 {
				binary.LittleEndian.PutUint32(b[32+4*i:], math.Float32bits(float32(math.Round(32768*value(at+i))/32768)))
			}
			if err := feed.Push(b, time.Now()); err != nil {
				t.Fatal(err)
			}
			if at/480%50 == 49 {
				time.Sleep(20 * time.Millisecond) // so that the queue of 4 s does not run over
			}
		}
		deadline := time.Now().Add(10 * time.Second)
		for live.State().LastIndex < int64(at/48-40) {
			if time.Now().After(deadline) {
				t.Fatalf("%d of %d points arrived", live.State().LastIndex, at/48)
			}
			time.Sleep(10 * time.Millisecond)
		}
	}
	// 0.2 of full scale rms, said to be 0.3 V: full scale is 1.5 V.
	play(1.5, func(i int) float64 { return 0.2 * math.Sqrt2 * math.Sin(2*math.Pi*1000*float64(i)/48000) })
	got, err := live.Calibrate(ctx, 0, session.Calibration{Method: "tone", Volts: 0.3})
	if err != nil || math.Abs(got.FullScaleVolts-1.5) > 0.002 {
		t.Fatalf("full scale %g V, %v; want 1.5 V", got.FullScaleVolts, err)
	}
	// A step of 0.6 V = 0.4 of full scale behind an 8 Hz capacitor.
	step := at + 2*48000
	play(6, func(i int) float64 {
		if i < step {
			return 0
		}
		return 0.4 * math.Exp(-2*math.Pi*8*float64(i-step)/48000)
	})
	got, err = live.Calibrate(ctx, 0, session.Calibration{Method: "step"})
	if err != nil || math.Abs(got.Step.CornerHz-8) > 0.1 || math.Abs(got.Step.Height-0.6) > 0.01 {
		t.Fatalf("step %+v, %v; want 0.6 V behind 8 Hz", got.Step, err)
	}
	state := live.State()
	if c := state.Channels[0]; c.Unit != "V" || c.Coupling == nil || math.Abs(c.Coupling.CornerHz-8) > 0.1 || state.Source.Device != "lamp clip" || state.SourceRateHz < 990 || state.SourceRateHz > 1010 {
		t.Errorf("state: unit %s, coupling %+v, device %q, %g Hz", c.Unit, c.Coupling, state.Source.Device, state.SourceRateHz)
	}
}
