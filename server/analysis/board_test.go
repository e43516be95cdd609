package analysis_test

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// record keeps seconds of a simulated board as a file and returns its counts.
func record(t *testing.T, c simulate.Config, seconds float64) (*recording.File, []int32, acquire.Channel) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "board.bdf")
	counts, g := simulatetest.Record(t, c, int64(seconds*c.RateHz), path)
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f, counts[0], g.Channels()[0]
}

// TestMetersOfASimulatedBoard: what a file of a simulated board is judged to be, from
// the beats the detector finds in it, against what the board was made of. True are:
// the pulse's height and the hum as configured, the noise's density with LSB²/12 of the
// converter added (closed form), the share of samples at a rail by counting.
func TestMetersOfASimulatedBoard(t *testing.T) {
	type point struct {
		name   string
		change func(*simulate.Config, *simulate.Channel)
		// Greatest errors: pulse, hum, noise, relative.
		pulse, hum, noise float64
	}
	set := func(name string, pulse, hum, noise float64, change func(*simulate.Config, *simulate.Channel)) point {
		return point{name, change, pulse, hum, noise}
	}
	points := []point{set("as it is", 0.02, 0.01, 0.1, func(*simulate.Config, *simulate.Channel) {})}
	for _, v := range []float64{0.05, 0.3, 2} {
		points = append(points, set(fmt.Sprintf("pulse %g V", v), 0.03, 0.01, 0.12, func(_ *simulate.Config, ch *simulate.Channel) { ch.SignalVolts = v }))
	}
	for _, v := range []float64{0.0005, 0.05, 0.5} {
		points = append(points, set(fmt.Sprintf("hum %g mV rms", v*1e3), 0.03, 0.01+0.05*0.0005/v, 0.12, func(_ *simulate.Config, ch *simulate.Channel) { ch.HumVolts = v }))
	}
	for _, v := range []float64{0, 0.001, 0.02} {
		points = append(points, set(fmt.Sprintf("noise %g mV rms", v*1e3), 0.05, 0.01+v, 0.12, func(_ *simulate.Config, ch *simulate.Channel) { ch.NoiseVolts = v }))
	}
	for _, bits := range []int{8, 10, 16, 24} {
		points = append(points, set(fmt.Sprintf("%d bits", bits), 0.03, 0.12, 0.25, func(c *simulate.Config, _ *simulate.Channel) { c.Bits = bits }))
	}
	for _, hz := range []float64{125, 250, 500, 4000, 48000} {
		points = append(points, set(fmt.Sprintf("%g Hz", hz), 0.03, 0.03, 0.12, func(c *simulate.Config, _ *simulate.Channel) {
			if c.RateHz = hz; hz < 500 {
				c.Harmonics = nil // which this board would fold down
			}
		}))
	}
	for _, v := range []float64{3, 2.9} {
		points = append(points, set(fmt.Sprintf("upper rail %g V", v), 0, 0.1, 0, func(c *simulate.Config, _ *simulate.Channel) { c.RailHighVolts = v }))
	}
	points = append(points,
		set("gain 6 into the converter's end", 0, 0.3, 0, func(c *simulate.Config, ch *simulate.Channel) { c.RailHighVolts, ch.Gain = 6, 6 }),
		set("60 Hz mains", 0.02, 0.01, 0.1, func(c *simulate.Config, _ *simulate.Channel) { c.MainsHz = 59.97 }),
		set("upside down", 0.02, 0.01, 0.1, func(_ *simulate.Config, ch *simulate.Channel) { ch.Invert = true }),
		set("150 per minute", 0.03, 0.01, 0.12, func(c *simulate.Config, _ *simulate.Channel) { c.BPM = 150 }),
		set("ECG", 0.04, 0.02, 0.2, func(c *simulate.Config, ch *simulate.Channel) { ch.Kind = acquire.KindECG }),
		set("ECG upside down, 250 Hz", 0.06, 0.03, 0.25, func(c *simulate.Config, ch *simulate.Channel) {
			ch.Kind, ch.Invert, c.RateHz, c.Harmonics = acquire.KindECG, true, 250, nil
		}))

	t.Log("| board | pulse V | error % | hum mV rms | error % | Hz off | noise µV/√Hz | error % | clipped % true | found | polarity |")
	t.Log("|---|---|---|---|---|---|---|---|---|---|---|")
	for _, p := range points {
		c := simulate.Finger().Clean()
		c.RateHz, c.Bits, c.Variation, c.MainsHz, c.RailLowVolts, c.RailHighVolts, c.Harmonics = 1000, 12, 0.02, 50.03, 0.02, 4.9, []float64{0.1, 0.3}
		ch := &c.Channels[0]
		ch.HumVolts, ch.NoiseVolts = 0.005, 0.0005
		p.change(&c, ch)
		file, counts, described := record(t, c, 14)
		s, err := analysis.Judge(context.Background(), analysis.Part{Rec: channel.Open(file, channel.Sidecar{}), From: 4 * int64(c.RateHz), To: file.Len()}, 10)
		if err != nil {
			t.Errorf("%s: %v", p.name, err)
			continue
		}
		r := s.Report

		hum := 1.0
		for i, share := range c.Harmonics {
			if float64(i+2)*c.MainsHz < c.RateHz/2 {
				hum += share * share
			}
		}
		hum = ch.HumVolts * ch.Gain * math.Sqrt(hum)
		lsb := described.VoltsPerCount
		density := math.Sqrt((ch.Gain*ch.Gain*ch.NoiseVolts*ch.NoiseVolts + lsb*lsb/12) * 2 / c.RateHz)
		// At a rail: within a step of it.
		clipped := 0
		from := 4 * int(c.RateHz)
		for _, count := range counts[from:] {
			if v := described.Value(count); v > math.Min(c.RailHighVolts, c.ReferenceVolts)-1.01*lsb || v < c.RailLowVolts+1.01*lsb {
				clipped++
			}
		}
		truth := float64(clipped) / float64(len(counts)-from)
		found := r.Clipping.ConverterHighShare + r.Clipping.ConverterLowShare + r.Clipping.FlatHighShare + r.Clipping.FlatLowShare

		ep := r.Pulse.HeightVolts/ch.SignalVolts - 1
		eh := r.Hum.VoltsRMS/hum - 1
		en := r.Noise.VoltsPerRootHz/density - 1
		t.Logf("| %s | %.4g | %+.2f | %.4g | %+.2f | %+.4f | %.3g | %+.1f | %.2f | %.2f | %v %v |", p.name, ch.SignalVolts, 100*ep, 1e3*hum, 100*eh, r.Hum.FreqHz-c.MainsHz, 1e6*density, 100*en, 100*truth, 100*found, r.Polarity.Known, r.Polarity.Upright)
		if p.pulse > 0 && !(r.Pulse.Known && math.Abs(ep) <= p.pulse) {
			t.Errorf("%s: pulse %+v, true %v V", p.name, r.Pulse, ch.SignalVolts)
		}
		if !(r.Hum.Found && math.Abs(eh) <= p.hum && math.Abs(r.Hum.FreqHz-c.MainsHz) <= 0.02+ch.NoiseVolts/ch.HumVolts*0.03) {
			t.Errorf("%s: hum %+v, true %v V rms at %v Hz", p.name, r.Hum, hum, c.MainsHz)
		}
		if p.noise > 0 && !(r.Noise.Known && math.Abs(en) <= p.noise) {
			t.Errorf("%s: noise %+v, true %v", p.name, r.Noise, density)
		}
		if math.Abs(found-truth) > 0.01+0.1*truth || (truth == 0) != (found == 0) {
			t.Errorf("%s: clipping %+v, true share %v", p.name, r.Clipping, truth)
		}
		if truth == 0 && (!r.Polarity.Known || r.Polarity.Upright == ch.Invert) {
			t.Errorf("%s: polarity %+v", p.name, r.Polarity)
		}
	}
}
