package beat

import (
	"math"
	"slices"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

// claims are what a monitor said at the end of each second.
type claims struct {
	seconds, claimed int
	judged           int // claimed seconds with a reference rate
	right            int // of these, within tolerance of it
	strict           int // of these, of the common average alone
	even, evenRight  int // judged and right ones not told to be uneven
	states           map[State]int
}

// referenceRate is the true rate at one time. FACTS.md B gives as common the
// average of the last twelve R–R, or of the last four after three of more than
// 1200 ms; after a step the meter may already answer with four. Both ends of what
// four to twelve give are therefore right; common is the average said first.
type referenceRate struct{ common, low, high float64 }

// referenceRates are the true rates at the end of each second from the reference
// beats known then; 0 where one of them is unsure or there are fewer than five. late
// is how long after its R peak a pulse is known.
func referenceRates(r record, late float64) []referenceRate {
	all := append(slices.Clone(r.sure), r.unsure...)
	slices.Sort(all)
	sure := map[int64]bool{}
	for _, s := range r.sure {
		sure[s] = true
	}
	out := make([]referenceRate, int(float64(len(r.x))/r.rateHz))
	for i := range out {
		end := int64((float64(i+1) - late) * r.rateHz)
		j, _ := slices.BinarySearch(all, end) // beats before end
		back := func(n int) float64 { return float64(all[j-1]-all[j-1-n]) / r.rateHz }
		n := min(12, j-1)
		if n < 4 {
			continue
		}
		ok := true
		for _, s := range all[j-1-n : j] {
			ok = ok && sure[s]
		}
		if !ok {
			continue
		}
		o := referenceRate{low: math.Inf(1), high: math.Inf(-1)}
		for k := 4; k <= n; k++ {
			o.common = 60 * float64(k) / back(k)
			o.low, o.high = min(o.low, o.common), max(o.high, o.common)
		}
		if back(1) > 1.2 && back(2)-back(1) > 1.2 && back(3)-back(2) > 1.2 {
			o.common = 60 * 4 / back(4)
		}
		out[i] = o
	}
	return out
}

// runMonitor runs a record through a Monitor and asks it every second. A rate is
// right within ±10 % or ±5 bpm, whichever is greater (EC13, FACTS.md B).
func runMonitor(t testing.TB, kind Kind, r record, delay float64) ([]Beat, claims) {
	t.Helper()
	m := monitoredOnce(t, kind, r)
	c := claims{states: map[State]int{}}
	ref := referenceRates(r, delay+m.latency)
	tolerance := func(x float64) float64 { return max(5, 0.1*x) }
	for i, o := range ref {
		g := m.seconds[i].reading
		c.seconds++
		c.states[g.State]++
		if g.State != StateReading {
			continue
		}
		c.claimed++
		if o.common == 0 {
			continue
		}
		c.judged++
		right := g.RateBPM >= o.low-tolerance(o.low) && g.RateBPM <= o.high+tolerance(o.high)
		if right {
			c.right++
		}
		if g.Reason != reasonUneven {
			c.even++
			if right {
				c.evenRight++
			}
		}
		if math.Abs(g.RateBPM-o.common) <= tolerance(o.common) {
			c.strict++
		}
	}
	return m.beats, c
}

// TestMonitorPulseRecords: what a person is shown. On the records fit for scoring
// pulses the beats are right and so are the rates claimed; of the others it is told
// in how many seconds a rate is claimed.
func TestMonitorPulseRecords(t *testing.T) {
	t.Parallel()
	share := func(n, of int) float64 { return 100 * float64(n) / float64(max(1, of)) }
	var total score.Total
	var all claims
	for _, name := range present(t, append(slices.Clone(pulseRecords), unfitRecords...)) {
		r := readRecord(t, name)
		delay := pulseDelay(t, r)
		beats, c := runMonitor(t, Pulse, r, delay)
		res, _ := scorePulse(t, r, beats)
		t.Logf("%-20s Se %6.2f +P %6.2f F1 %6.2f  claimed %5.1f %% of seconds, right %6.2f %% (of the common average %6.2f %%) of %d, %6.2f %% of the %d even ones  %v", name,
			100*res.Se(), 100*res.PPV(), 100*res.F1(), share(c.claimed, c.seconds), share(c.right, c.judged), share(c.strict, c.judged), c.judged,
			share(c.evenRight, c.even), c.even, c.states)
		if slices.Contains(pulseRecords, name) {
			total.Add(res)
			all.seconds += c.seconds
			all.claimed += c.claimed
			all.judged += c.judged
			all.right += c.right
			all.strict += c.strict
			all.even += c.even
			all.evenRight += c.evenRight
		}
	}
	g := total.Gross
	t.Logf("gross: beats %d FN %d FP %d Se %.2f +P %.2f F1 %.2f", g.Beats(), g.FN, g.FP, 100*g.Se(), 100*g.PPV(), 100*g.F1())
	t.Logf("claimed %.1f %% of seconds, right %.2f %% (of the common average %.2f %%) of %d",
		share(all.claimed, all.seconds), share(all.right, all.judged), share(all.strict, all.judged), all.judged)
	t.Logf("not told to be uneven %d, right %.2f %%", all.even, share(all.evenRight, all.even))
	if x := share(all.evenRight, all.even); x < 99.7 {
		t.Errorf("rates not told to be uneven are right in %.2f %% of the seconds; must be at least 99.7 %%", x)
	}
	// Beats of waves that are hardly a heart's are held back; the bare detector has 99.
	if g.F1() < 0.985 {
		t.Errorf("gross F1 %.2f %%, must be at least 98.5 %%", 100*g.F1())
	}
	if x := share(all.right, all.judged); x < 99 {
		t.Errorf("rates are right in %.2f %% of the seconds in which one is claimed; must be at least 99 %%", x)
	}
	if x := share(all.strict, all.judged); x < 98 {
		t.Errorf("rates agree with the common average in %.2f %% of the seconds in which one is claimed; must be at least 98 %%", x)
	}
	if x := share(all.claimed, all.seconds); x < 90 {
		t.Errorf("a rate is claimed in %.1f %% of the seconds; must be at least 90 %%", x)
	}
}

// TestMonitorECGRecords: the rates claimed from the first lead of the development
// MIT-BIH records.
func TestMonitorECGRecords(t *testing.T) {
	t.Parallel()
	share := func(n, of int) float64 { return 100 * float64(n) / float64(max(1, of)) }
	var all claims
	for _, name := range has(t, "mitdb", ".dat.gz") {
		r := mitLead(t, name, 1)
		_, c := runMonitor(t, ECG, r, 0)
		t.Logf("%s claimed %5.1f %% of seconds, right %6.2f %% (of the common average %6.2f %%) of %d  %v", r.name,
			share(c.claimed, c.seconds), share(c.right, c.judged), share(c.strict, c.judged), c.judged, c.states)
		all.seconds += c.seconds
		all.claimed += c.claimed
		all.judged += c.judged
		all.right += c.right
		all.strict += c.strict
	}
	t.Logf("claimed %.1f %% of seconds, right %.2f %% (of the common average %.2f %%) of %d",
		share(all.claimed, all.seconds), share(all.right, all.judged), share(all.strict, all.judged), all.judged)
	if x := share(all.right, all.judged); x < 99 {
		t.Errorf("rates are right in %.2f %% of the seconds in which one is claimed; must be at least 99 %%", x)
	}
	if x := share(all.claimed, all.seconds); x < 90 {
		t.Errorf("a rate is claimed in %.1f %% of the seconds; must be at least 90 %%", x)
	}
}

// Noise of electrodes alone, no heart: baseline wander and muscle of the noise stress
// test's records (Moody et al. 1984), 15 minutes of each lead, weak and strong beside a
// converter's count, and again where the converter cuts off half of its swing. A rate is
// claimed in hardly any second, and a beat shown in less than every third.
func TestMonitorECGNoiseAlone(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"bw_first", "ma_first"} {
		for lead, x := range electrodeNoise(t, name) {
			for _, c := range []struct {
				gain float64 // counts of 5 µV
				end  float64 // of the converter, counts; 0 unknown
			}{{0.2, 0}, {1, 0}, {5, 0}, {1, 100}} {
				config := MonitorConfig{Kind: ECG, RateHz: mitdata.RateHz, Low: math.NaN(), High: math.NaN(), Step: 1}
				if c.end > 0 {
					config.Low, config.High = -c.end, c.end
				}
				y := make([]float64, len(x))
				for i, v := range x {
					y[i] = math.Round(c.gain * v)
					if c.end > 0 {
						y[i] = min(max(y[i], -c.end), c.end)
					}
				}
				w := watch(t, config)
				claimed, asked := 0, 0
				w.hear(y, func(at float64, r Reading) {
					asked++
					if r.State == StateReading {
						claimed++
					}
				})
				share := 100 * float64(claimed) / float64(asked)
				t.Logf("%s lead %d, times %g, ends %g: a rate in %.2f %% of the time, %d beats in %d s", name, lead+1, c.gain, c.end, share, len(w.beats), asked/10)
				if n := len(w.beats); n > asked/10/3 {
					t.Errorf("%s lead %d, times %g, ends %g: %d beats in %d s, want one in 3 s at most", name, lead+1, c.gain, c.end, n, asked/10)
				}
				if !(share <= 2) {
					t.Errorf("%s lead %d, times %g, ends %g: a rate is claimed in %.2f %% of the time, want 2 %% at most", name, lead+1, c.gain, c.end, share)
				}
			}
		}
	}
}
