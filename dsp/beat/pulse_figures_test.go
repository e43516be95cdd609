package beat

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pulsewright/dsp/beat/score"
)

// pulseRules are what may be left out of the pulse detector and of its gate.
var pulseRules = []struct {
	name string
	off  func(d *pulseParams, m *monitorParams)
}{
	{"nothing", func(*pulseParams, *monitorParams) {}},
	{"holding early rises to more", func(d *pulseParams, _ *monitorParams) { d.early, d.regular = d.threshold, 0 }},
	{"the more so in a regular rhythm", func(d *pulseParams, _ *monitorParams) { d.regular = 0 }},
	{"no beat too soon", func(d *pulseParams, _ *monitorParams) { d.stronger = 0 }},
	{"unless twice as strong", func(d *pulseParams, _ *monitorParams) { d.stronger = math.Inf(1) }},
	{"looking back when none comes", func(d *pulseParams, _ *monitorParams) { d.searchAt = math.Inf(1) }},
	{"looking back when the next comes late", func(d *pulseParams, _ *monitorParams) { d.searchLate = math.Inf(1) }},
	{"strong and weak in turn: soon after", func(d *pulseParams, _ *monitorParams) { d.doubleMost = d.doubleSmall }},
	{"strong and weak in turn: much weaker", func(d *pulseParams, _ *monitorParams) { d.doubleSmall = 0 }},
	{"a shorter mean in a fast rhythm", func(d *pulseParams, _ *monitorParams) { d.trendRR = 1e-9 }},
	{"a limited slope", func(d *pulseParams, _ *monitorParams) { d.steepest = math.Inf(1) }},
	{"a level of swings that falls", func(d *pulseParams, _ *monitorParams) { d.swingSeconds = math.Inf(1) }},
	{"a level of beats that falls", func(d *pulseParams, _ *monitorParams) { d.decayAfter = math.Inf(1) }},
	{"starting from the middle of the strong ones", func(d *pulseParams, _ *monitorParams) { d.startShare = 0 }},
	{"early beats not counted", func(_ *pulseParams, m *monitorParams) { m.gate.earlyMost = math.Inf(1) }},
	{"of them, that they rise above the feet", func(_ *pulseParams, m *monitorParams) { m.gate.earlyHigh = math.Inf(-1) }},
	{"that they come too late for a second wave", func(_ *pulseParams, m *monitorParams) { m.gate.earlyFrom = 0.1 }},
	{"that they rise at all", func(_ *pulseParams, m *monitorParams) { m.gate.earlyRise = 0 }},
	{"presses", func(_ *pulseParams, m *monitorParams) { m.gate.pressHeights = math.Inf(1) }},
	{"blunt", func(_ *pulseParams, m *monitorParams) {
		m.gate.bluntUneven, m.gate.fewUneven = math.Inf(1), math.Inf(1)
	}},
}

// pulseMonitor is a monitor whose detector has the parameters d.
func pulseMonitor(t testing.TB, c MonitorConfig, d pulseParams, m monitorParams) *Monitor {
	t.Helper()
	c.Kind = Pulse
	w, err := newMonitor(c, m)
	if err != nil {
		t.Fatal(err)
	}
	p, err := newPulse(c.RateHz, d)
	if err != nil {
		t.Fatal(err)
	}
	w.find, w.pulse = p, p
	return w
}

// shownOf counts the tenths of a second from a time on with a right rate, with a wrong one,
// and all.
func shownOf(w *Monitor, x []float64, bpm, from float64) (right, wrong, all int) {
	hz := w.config.RateHz
	for i := range int(float64(len(x)) / hz * 10) {
		w.Process(nil, x[int(float64(i)*hz/10):int(float64(i+1)*hz/10)])
		if float64(i) < 10*from {
			continue
		}
		all++
		switch r := w.Reading(); {
		case r.State != StateReading:
		case near(r.RateBPM, bpm):
			right++
		default:
			wrong++
		}
	}
	return right, wrong, all
}

// TestPulseAblation prints METHOD.md's table: what falls when one rule is left out. It needs
// PULSEWRIGHT_FIGURES and takes minutes.
func TestPulseAblation(t *testing.T) {
	if os.Getenv("PULSEWRIGHT_FIGURES") == "" {
		t.Skip("set PULSEWRIGHT_FIGURES for the table of what each rule is worth")
	}
	cases, records := pulseCases(t), present(t, pulseRecords)
	var presses []bench
	for seed := range uint64(6) {
		for _, b := range benches(t, Pulse, seed) {
			if b.name == "presses" {
				presses = append(presses, b)
			}
		}
	}
	rows := make([]string, len(pulseRules))
	twoAtATime(len(rows), func(i int) {
		d, m := defaultPulseParams(), defaultMonitorParams(Pulse)
		pulseRules[i].off(&d, &m)
		sums := map[string]score.Result{}
		for _, c := range cases {
			set := c.set
			if set != "records" && set != "records unfit for scoring" && set != "moved four times a minute" {
				set = "invented"
			}
			if c.set != "wrist light" {
				r, s := c.count(runPulse(t, record{x: c.x, rateHz: c.rateHz}, d)), sums[set]
				s.FN, s.FP = s.FN+r.FN, s.FP+r.FP
				sums[set] = s
			}
		}
		row := "| " + pulseRules[i].name + " |"
		for _, set := range []string{"records", "records unfit for scoring", "invented", "moved four times a minute"} {
			row += fmt.Sprintf(" %d+%d |", sums[set].FN, sums[set].FP)
		}
		var f figures
		for _, name := range records {
			r := readRecord(t, name)
			c := MonitorConfig{RateHz: r.rateHz, Low: math.NaN(), High: math.NaN()}
			ref := referenceRates(r, pulseDelay(t, r)+float64(pulseMonitor(t, c, d, m).LatencySamples())/r.rateHz)
			w := pulseMonitor(t, c, d, m)
			for k, o := range ref {
				w.Process(nil, r.x[int(float64(k)*r.rateHz):int(float64(k+1)*r.rateHz)])
				g := w.Reading()
				v := verdict{shown: g.State == StateReading, judged: o.common > 0}
				v.right = v.shown && g.RateBPM >= o.low-max(5, 0.1*o.low) && g.RateBPM <= o.high+max(5, 0.1*o.high)
				f.add(v)
			}
		}
		row += fmt.Sprintf(" %.1f / %.2f |", percent(f.shown, f.seconds), percent(f.right, f.judged))
		right, all, bad := 0, 0, 0
		for _, e := range edgesAtHome() {
			e.c.RateHz = e.rate
			if e.c.High == 0 {
				e.c.Low, e.c.High = math.NaN(), math.NaN()
			}
			r, wrong, n := shownOf(pulseMonitor(t, e.c, d, m), e.x, e.bpm, 20)
			right, all = right+r, all+n
			if wrong > 0 {
				bad++
			}
		}
		half := 0
		for _, a := range alternating() {
			_, wrong, _ := shownOf(pulseMonitor(t, MonitorConfig{RateHz: a.rate, Low: math.NaN(), High: math.NaN()}, d, m), a.x, a.bpm, 0)
			half += wrong
		}
		weak := 0
		for _, e := range weakEarlyPulses() {
			_, wrong, _ := shownOf(pulseMonitor(t, e.c, d, m), e.x, e.bpm, 15)
			weak += wrong
		}
		most := 0
		for _, b := range presses {
			_, wrong, _ := shownOf(pulseMonitor(t, MonitorConfig{RateHz: b.rateHz, Low: math.NaN(), High: math.NaN(), Step: b.step}, d, m), b.x, 1e9, 0)
			most = max(most, wrong)
		}
		rows[i] = fmt.Sprintf("%s %.1f, %d, %.1f | %.1f | %.1f |", row, percent(right, all), bad, float64(half)/10, float64(weak)/10, float64(most)/10)
	})
	t.Log("| left out | records: missed + extra | unfit ones | invented | moved | rates of the records: shown / right, % | invented: right, %; with a wrong rate; halved, s | weak early beats: wrong, s | presses, s of 600 at most |\n|---|---|---|---|---|---|---|---|---|\n" + strings.Join(rows, "\n"))
}
