package beat

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pulsewright/dsp/beat/score"
)

// scoreCases scores a way of finding beats, two cases at a time.
func scoreCases(t testing.TB, list []ecgCase, find func(c ecgCase) []int64) score.Result {
	t.Helper()
	results := make([]score.Result, len(list))
	twoAtATime(len(list), func(i int) {
		c := list[i]
		r, err := score.Match(c.ref, find(c), score.Config{RateHz: c.rateHz, LearningSeconds: c.learning})
		if err != nil {
			t.Error(err)
		}
		results[i] = r
	})
	return sum(results).Gross
}

func f1(r score.Result) float64 { return 100 * r.F1() }

// ecgSet is a set of cases and by how much, points of F1, ours may be worse than the peer.
type ecgSet struct {
	name   string
	list   []ecgCase
	margin float64
}

// ecgSets are what both are fed: always the records as they are, one hum and one noise;
// all of them with PULSEWRIGHT_FIGURES set.
func ecgSets(t testing.TB, all bool) []ecgSet {
	first, second := mitCases(t, 0), mitCases(t, 1)
	unpaced, paced := ludbCases(t)
	sets := []ecgSet{
		{"MIT-BIH, first lead", first, 0.05},
		{"MIT-BIH and hum of 4 mV, 50.2 Hz", withHum(first, 50.2, 800), 0.05},
		{"MIT-BIH and electrode motion at 6 dB", withNoise(first, electrodeNoise(t, "em_first")[0], 6), 0},
		{"AD8232 in motion, degrees 1 to 3", motionCases(t), 0.05},
		{"wrist, chest lead", wristCases(t), 0},
		{"LUDB, all leads", unpaced, 0.05},
		{"LUDB, paced", paced, 0},
		{"bidmc and challenge2015", otherCases(t), 0},
		{"MIT-BIH, second lead", second, 0},
		{"MIT-BIH, early beats made small", withSmall(t, first, true, 0.3), 0},
		{"second lead, all but early ones made small", withSmall(t, second, false, 0.5), 0},
	}
	if !all {
		return sets
	}
	for _, h := range [][2]float64{{49.8, 200}, {50, 400}, {60, 800}} {
		sets = append(sets, ecgSet{fmt.Sprintf("MIT-BIH and hum of %g mV, %g Hz", h[1]/200, h[0]), withHum(first, h[0], h[1]), 0.05})
	}
	for _, k := range []string{"bw_first", "ma_first", "em_first"} {
		for _, snr := range []float64{24, 18, 12, 6, 0} {
			if k == "em_first" && snr == 6 {
				continue
			}
			sets = append(sets, ecgSet{fmt.Sprintf("MIT-BIH and %s at %g dB", k[:2], snr), withNoise(first, electrodeNoise(t, k)[0], snr), 0.1})
		}
	}
	return sets
}

// The textbook's way, which knows the whole record and does not tell in time, is fed what
// ours is fed. Where it is better by more than the margin that is a fault of ours.
func TestECGBesidePeer(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("short")
	}
	for _, s := range ecgSets(t, os.Getenv("PULSEWRIGHT_FIGURES") != "") {
		ours := scoreCases(t, s.list, func(c ecgCase) []int64 { return c.found(t) })
		peer := scoreCases(t, s.list, func(c ecgCase) []int64 { return twoAverages(t, c.x, c.rateHz) })
		t.Logf("%-38s beats %5d: ours FN %4d FP %4d Se %.2f +P %.2f F1 %.2f, R %.1f ms off in the middle; two averages FN %4d FP %4d F1 %.2f", s.name, ours.Beats(), ours.FN, ours.FP,
			100*ours.Se(), 100*ours.PPV(), f1(ours), 1000*ours.MedianAbs(), peer.FN, peer.FP, f1(peer))
		if !(f1(ours) >= f1(peer)-s.margin) {
			t.Errorf("%s: F1 %.2f %%, the two moving averages have %.2f %%", s.name, f1(ours), f1(peer))
		}
	}
}

// pWaveECG is an ECG of one rhythm with a sharp P wave, a raised cosine 90 ms long, before
// each triangular QRS of 80 ms; a biphasic one has an S wave of 0.8 of R.
type pWaveECG struct {
	interval, height, pr, volts float64
	biphasic                    bool
}

func (p pWaveECG) make(rate, seconds float64) made {
	times := steady(60/p.interval, 0.7, seconds)
	m := makeECG(rate, times, seconds, func(int) qrs { return qrs{p.volts, 0.08, 0.2 * p.volts, 0.18, 0.38} })
	bump := func(at, half, v float64) {
		for k := max(int((at-half)*rate), 0); k < min(int((at+half)*rate)+1, len(m.x)); k++ {
			if u := math.Abs(float64(k)/rate-at) / half; u < 1 {
				m.x[k] += v * 0.5 * (1 + math.Cos(math.Pi*u))
			}
		}
	}
	for _, s := range times {
		if p.biphasic {
			bump(s+0.05, 0.03, -0.8*p.volts)
		}
		bump(s-p.pr, 0.045, p.height*p.volts)
	}
	noise(m.x, 5e-6, 31)
	return m
}

// pCells is the table of P waves.
func pCells() (list []pWaveECG) {
	for _, interval := range []float64{1, 0.8, 0.6} {
		for _, height := range []float64{0.2, 0.3, 0.5, 0.7, 0.9} {
			for _, pr := range []float64{0.12, 0.16, 0.20, 0.24, 0.28} {
				for _, volts := range []float64{0.3e-3, 2e-3} {
					for _, biphasic := range []bool{false, true} {
						list = append(list, pWaveECG{interval, height, pr, volts, biphasic})
					}
				}
			}
		}
	}
	return list
}

// pTable counts the cells of the table of P waves in which from 10 s on there is not one
// beat to an interval, and lists them. A P wave that is as sharp as this QRS and as high
// may be the one that is marked, but then always.
func pTable(t testing.TB, p ecgParams) (bad, cells int, list []string) {
	for _, c := range pCells() {
		m := c.make(360, 60)
		beats, first, last := 0, int64(0), int64(0)
		for _, s := range runECG(t, m.x, 360, p) {
			if s > 10*360 && s < 59*360 {
				if beats == 0 {
					first = s
				}
				beats++
				last = s
			}
		}
		cells++
		want := math.Round(float64(last-first)/360/c.interval) + 1
		if beats < 40 || math.Abs(float64(beats)-want) > 1 {
			bad++
			list = append(list, fmt.Sprintf("%+v: %d beats, want %g", c, beats, want))
		}
	}
	return bad, cells, list
}

// The same table through the monitor, from the first beat on: the rate is right, or there is
// none.
func TestMonitorSharpP(t *testing.T) {
	t.Parallel()
	silent, shown, wrong := 0, 0, 0
	for _, c := range pCells() {
		m := c.make(360, 60)
		w := watch(t, MonitorConfig{Kind: ECG, RateHz: 360, Low: math.NaN(), High: math.NaN(), Volts: true})
		right, off := 0, 0
		var first Reading
		w.hear(m.x, func(at float64, r Reading) {
			switch {
			case r.State != StateReading:
			case near(r.RateBPM, 60/c.interval):
				right++
			default:
				if off == 0 {
					first = r
				}
				off++
			}
		})
		shown += right + off
		wrong += off
		if right == 0 {
			silent++
		}
		if off > 0 {
			t.Errorf("%+v: %d of %d readings wrong, the first %v", c, off, right+off, first)
		}
	}
	t.Logf("%d readings, %d wrong; no rate at all in %d cells", shown, wrong, silent)
	if shown < 150000 {
		t.Errorf("%d readings; want 150 000 at least", shown)
	}
}

// Sharp P waves of 0.2 to 0.9 of R, PR 120 to 280 ms, before a mono- or biphasic QRS of 0.3
// or 2 mV, at 60, 75 and 100 bpm: one beat to each. The bound is what is reached today.
func TestECGSharpP(t *testing.T) {
	t.Parallel()
	bad, cells, list := pTable(t, defaultECGParams())
	t.Logf("%d of %d cells wrong\n%s", bad, cells, strings.Join(list, "\n"))
	if bad > sharpPMost {
		t.Errorf("%d of %d cells are wrong, want %d at most", bad, cells, sharpPMost)
	}
}

const sharpPMost = 2

// ecgRules are what can be left out, and how.
var ecgRules = []struct {
	name string
	off  func(p *ecgParams)
}{
	{"nothing", func(p *ecgParams) {}},
	{"height beside the usual beat", func(p *ecgParams) { p.usualPoints, p.bias = 0, p.bias-1 }},
	{"standing out from 0.6 s around", func(p *ecgParams) { p.bias += 0.8 * p.aroundPoints; p.aroundPoints = 0 }},
	{"standing out from the background", func(p *ecgParams) { p.bias += 2 * p.floorPoints; p.floorPoints = 0 }},
	{"shape", func(p *ecgParams) { p.strayPoints = 0 }},
	{"on time in a steady rhythm", func(p *ecgParams) { p.bias += 0.8 * p.timelyPoints; p.timelyPoints = 0 }},
	{"early in a steady rhythm", func(p *ecgParams) { p.earlyPoints = 0 }},
	{"soon after a beat", func(p *ecgParams) { p.soonPoints = 0 }},
	{"pairs", func(p *ecgParams) { p.pairSeconds = 0 }},
	{"what follows, before it is told", func(p *ecgParams) { p.lookSeconds = p.aheadSeconds }},
	{"a T wave behind a quicker wave", func(p *ecgParams) { p.behindPoints = 0 }},
	{"a kind of beat has its own level", func(p *ecgParams) { p.ownLeast = 1 << 30 }},
	{"telling sure beats sooner", func(p *ecgParams) { p.surePoints = 1e9 }},
	{"a T wave after a weak beat", func(p *ecgParams) { p.tPoints = 0 }},
	{"against a late beat", func(p *ecgParams) { p.latePoints = 0 }},
	{"the rhythm counts less where there is no noise", func(p *ecgParams) { p.weakShare = 1e-9 }},
}

// TestECGAblation prints METHOD.md's table: what falls when one rule is left out. It needs
// PULSEWRIGHT_FIGURES and takes minutes.
func TestECGAblation(t *testing.T) {
	if os.Getenv("PULSEWRIGHT_FIGURES") == "" {
		t.Skip("set PULSEWRIGHT_FIGURES for the table of what each rule is worth")
	}
	sets := ecgSets(t, false)
	head, line := "| left out |", "|---|"
	for _, s := range sets {
		head, line = head+" "+s.name+" |", line+"---|"
	}
	rows := []string{head + " sharp P, cells wrong |", line + "---|"}
	for _, rule := range ecgRules {
		p := defaultECGParams()
		rule.off(&p)
		row := "| " + rule.name + " |"
		for _, s := range sets {
			r := scoreCases(t, s.list, func(c ecgCase) []int64 { return runECG(t, c.x, c.rateHz, p) })
			row += fmt.Sprintf(" %d+%d |", r.FN, r.FP)
		}
		bad, _, _ := pTable(t, p)
		rows = append(rows, fmt.Sprintf("%s %d |", row, bad))
	}
	t.Log("missed+extra beats:\n" + strings.Join(rows, "\n"))
}
