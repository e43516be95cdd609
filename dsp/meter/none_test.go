package meter

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pulsewright/dsp/beat"
)

// judged runs finder and meter over a signal as the program does, and returns the reports of each second from
// the twelfth on, with the finder's readings beside them.
func judged(t *testing.T, cfg Config, x []float64) (reports []Report, shown []bool) {
	t.Helper()
	finder, err := beat.NewMonitor(beat.MonitorConfig{RateHz: cfg.RateHz, Kind: beat.Kind(cfg.Kind), Step: cfg.VoltsPerCount})
	if err != nil {
		t.Fatal(err)
	}
	m, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	second := int(cfg.RateHz)
	for i := 0; i+second <= len(x); i += second {
		m.Beats(finder.Process(nil, x[i:i+second]))
		m.Process(x[i : i+second])
		if i >= 12*second {
			reports = append(reports, m.Report())
			shown = append(shown, finder.Reading().State == beat.StateReading)
		}
	}
	return reports, shown
}

// TestNoPulse: of a sensor without a finger, and of electrodes that are off, no pulse is spoken of, whether the noise is
// white or passed by the board's low-pass, and nothing is advised that rests on a pulse; a weak pulse is judged wherever
// a rate is shown.
func TestNoPulse(t *testing.T) {
	for _, c := range []struct {
		kind, question           string
		rateHz, counts, cornerHz float64
	}{
		{"pulse", "is the finger on the sensor?", 250, 2, 0},
		{"pulse", "is the finger on the sensor?", 100, 2, 0},
		{"pulse", "is the finger on the sensor?", 1000, 4, 0},
		{"pulse", "is the finger on the sensor?", 250, 6, 10}, {"pulse", "is the finger on the sensor?", 250, 12, 5}, {"pulse", "is the finger on the sensor?", 500, 20, 5}, {"pulse", "is the finger on the sensor?", 250, 12, 16},
		{"ecg", "are the electrodes on?", 250, 2, 0},
	} {
		b := plain()
		b.kind, b.rate, b.seconds, b.bits, b.hum, b.height = c.kind, c.rateHz, 60, 10, 0, 0
		x, _, cfg := b.run(1)
		r, slow := rand.New(rand.NewPCG(3, 3)), 0.0
		for i := range x {
			v := c.counts * r.NormFloat64()
			if slow += (v - slow) * (1 - math.Exp(-2*math.Pi*c.cornerHz/c.rateHz)); c.cornerHz > 0 {
				v = slow
			}
			x[i] = math.Round(512+v) * cfg.VoltsPerCount
		}
		reports, _ := judged(t, cfg, x)
		chance := 0
		for _, rep := range reports {
			v := verdict(rep, "swing")
			if !rep.Pulse.None {
				chance++
				continue
			}
			if v.Grade != noAnswer || !strings.Contains(v.Text, c.question) || rep.Polarity.Known {
				t.Errorf("%+v: %+v, %+v", c, rep.Pulse, v)
			}
			for _, v := range rep.Verdicts {
				if strings.Contains(v.Remedy, "gain") || strings.Contains(v.Remedy, "op amp") {
					t.Errorf("%+v: %+v", c, v)
				}
			}
		}
		if 10*chance > len(reports) {
			t.Errorf("%+v: a pulse in %d of %d seconds", c, chance, len(reports))
		}
	}
}

func TestWeakPulseIsJudged(t *testing.T) {
	some, missed := 0, 0
	for _, bpm := range []float64{70, 170} {
		for _, rateHz := range []float64{100, 250} {
			for _, height := range []float64{3, 5, 10, 20} { // times the noise in 15 Hz
				b := plain()
				b.rate, b.seconds, b.bits, b.hum, b.bpm = rateHz, 60, 10, 0, bpm
				b.noise = 0.02 / math.Sqrt(rateHz/2)
				b.height = height * b.noise * math.Sqrt(15)
				x, _, cfg := b.run(2)
				reports, shown := judged(t, cfg, x)
				for i, rep := range reports {
					if !shown[i] {
						continue
					}
					some++
					if rep.Pulse.None || !rep.Pulse.Known {
						missed++
					}
				}
			}
		}
	}
	if some < 250 || 50*missed > some {
		t.Errorf("of %d seconds with a rate shown, no pulse in %d", some, missed)
	}
}

// TestHumOfNoGrid: what is far from 50 and 60 Hz is not told to be hum.
func TestHumOfNoGrid(t *testing.T) {
	for hz, code := range map[float64]string{50.4: "hum.found", 59.2: "hum.found", 56.36: "hum.aside", 47.5: "hum.aside"} {
		b := plain()
		b.humHz, b.hum = hz, 0.02
		if v := verdict(b.report(t, 3), "hum"); v.Code != code || v.Grade != fair {
			t.Errorf("%g Hz: %+v, want %s", hz, v, code)
		}
	}
}
