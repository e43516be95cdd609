//go:build portaudio && linux

package soundcard

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"os/exec"
	"testing"
	"time"

	"pulsewright/dsp/filter"
	"pulsewright/dsp/response"
)

// TestBenchMeasuresThroughPulseAudio plays a sweep into PulseAudio's null sink and
// records its monitor; an RC low-pass of 16 Hz, solved exactly, and a 50 Hz notch of
// 10 Hz width stand before the output in the second run. A busy computer loses
// sound; what notices it is under test as well, and the runs are made again.
func TestBenchMeasuresThroughPulseAudio(t *testing.T) {
	s := newSound(t)
	_ = s
	for _, args := range [][]string{{"load-module", "module-null-sink", "sink_name=loop", "rate=44100", "channels=1"}, {"set-default-sink", "loop"}, {"set-default-source", "loop.monitor"}} {
		if text, err := exec.Command("pactl", args...).CombinedOutput(); err != nil {
			t.Fatalf("pactl %v: %v: %s", args, err, text)
		}
	}
	b, err := OpenBench("default", "default", 44100)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	sweep := response.Sweep{RateHz: 44100, Seconds: 5}
	x := sweep.Samples()
	through := make([]float64, sweep.Total())
	a := 2 * math.Pi * 16 / 44100
	decay, gain := math.Exp(-a), -math.Expm1(-a)/a
	r, last := 0.0, 0.0
	for i := range through {
		v := 0.0
		if i < len(x) {
			x[i] *= 0.7
			v = x[i]
		}
		r = r*decay + (v-last)*gain
		last = v
		through[i] = v - r
	}
	sections, err := filter.Notch(44100, 50, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	notch, err := filter.NewCascade(sections, 44100)
	if err != nil {
		t.Fatal(err)
	}
	notch.Process(through, through)
	run := func(play []float64) ([]float64, error) {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		y, err := b.Run(ctx, play, sweep.Total())
		if err == nil {
			err = response.Lost(y, 44100)
		}
		return y, err
	}
	for range 5 {
		loop, err1 := run(x)
		board, err2 := run(through)
		var lost *response.LostError
		if err := errors.Join(err1, err2); err != nil {
			if !errors.Is(err, ErrLost) && !errors.As(err, &lost) {
				t.Fatal(err)
			}
			t.Log(err)
			continue
		}
		got, err := response.Measure(sweep, loop, board)
		if errors.Is(err, response.ErrMoved) {
			t.Log(err)
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		worst, turn := 0.0, 0.0
		for i, f := range got.FreqHz {
			n := complex(50*50-f*f, 0)
			want := 1 / complex(1, f/16) * n / (n + complex(0, 10*f))
			if f < 5 || f > 1000 || cmplx.Abs(want) < 0.005 {
				continue
			}
			worst = math.Max(worst, math.Abs(got.GainDB[i]-20*math.Log10(cmplx.Abs(want))))
			turn = math.Max(turn, math.Abs(math.Remainder(got.PhaseDegrees[i]-cmplx.Phase(want)*180/math.Pi, 360)))
		}
		t.Logf("from 5 Hz to 1 kHz within %.3f dB and %.2f°", worst, turn)
		if worst > 0.2 || turn > 2 {
			t.Errorf("off by %.3f dB and %.2f° between 5 Hz and 1 kHz", worst, turn)
		}
		return
	}
	t.Skip("this computer is too busy to play and record 8 s without a loss")
}
