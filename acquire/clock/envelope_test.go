package clock

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// off is a measured rate's relative error.
func off(e *Estimator, hz float64) float64 { return math.Abs(e.Estimate().MeasuredHz/hz - 1) }

// regression is the rate by least squares through all arrivals.
func regression(list []Arrival) float64 {
	var n, t float64
	for _, a := range list {
		n += float64(a.Samples)
		t += a.At.Sub(list[0].At).Seconds()
	}
	n, t = n/float64(len(list)), t/float64(len(list))
	var above, below float64
	for _, a := range list {
		dn, dt := float64(a.Samples)-n, a.At.Sub(list[0].At).Seconds()-t
		above, below = above+dn*dt, below+dt*dt
	}
	return above / below
}

// TestEnvelopeOfAHostThatGetsSlower: nearly all arrivals are late, and later and later,
// by up to 0.1 s after a minute. Least squares, or the newest arrival of each stretch,
// are 0.17 % wrong; the few that came at once, one in two seconds or so and in the midst of
// others, tell the true rate.
func TestEnvelopeOfAHostThatGetsSlower(t *testing.T) {
	for _, hz := range []float64{1000, 250, 497.3} {
		e, start := New(0), time.Unix(1e9, 0)
		random := rand.New(rand.NewPCG(uint64(hz), 7))
		newest, prompt := int64(0), 1.1
		var all []Arrival
		for at := 0.004; at < 60; at += 0.004 { // the host looks
			late := 0.01 + 0.1*at/60 + 0.005*random.Float64()
			if at >= prompt { // it is idle for once, and sees all
				late, prompt = 0, prompt+2.3
			}
			if n := int64((at - late) * hz); n > newest {
				all = append(all, Arrival{n, start.Add(time.Duration(at * 1e9))})
				e.Observe(n, all[len(all)-1].At)
				newest = n
			}
		}
		got := e.Estimate()
		if plain := regression(all); math.Abs(plain/hz-1) < 1.5e-3 {
			t.Errorf("least squares give %g of %g Hz: these arrivals show nothing", plain, hz)
		}
		if off(e, hz) > 3e-4 {
			t.Errorf("%g Hz is measured as %g ± %g", hz, got.MeasuredHz, got.UncertaintyHz)
		}
		if math.Abs(got.MeasuredHz-hz) > got.UncertaintyHz {
			t.Errorf("%g Hz lies outside %g ± %g", hz, got.MeasuredHz, got.UncertaintyHz)
		}
	}
}

// printing observes seconds of samples in lumps of 16 ms, from sample n on at time at; it
// returns where it ended.
func printing(e *Estimator, hz float64, n int64, at time.Time, seconds float64) (int64, time.Time) {
	const lump = 16 * time.Millisecond
	taken := 0.0
	for range int(seconds / lump.Seconds()) {
		at = at.Add(lump)
		taken += lump.Seconds() * hz
		e.Observe(n+int64(taken), at)
	}
	return n + int64(taken), at
}

// TestResetForgetsTheGap: a gap of 2.5 s, too short to be taken for a pause, is told by
// Reset. Without it a quarter of a minute later the rate would be 3 % wrong.
func TestResetForgetsTheGap(t *testing.T) {
	const hz = 250
	e := New(0)
	n, at := printing(e, hz, 0, time.Unix(1e9, 0), 30)
	if off(e, hz) > 1e-3 {
		t.Fatalf("%g Hz before the gap", e.Estimate().MeasuredHz)
	}
	before := e.Estimate()
	e.Reset()
	n, at = printing(e, hz, n, at.Add(2500*time.Millisecond), 2)
	// Two seconds tell less than the half minute before: that stands.
	if now := e.Estimate(); now.MeasuredHz != before.MeasuredHz || now.UncertaintyHz != before.UncertaintyHz {
		t.Errorf("2 s after the gap %g ± %g Hz replace %g ± %g", now.MeasuredHz, now.UncertaintyHz, before.MeasuredHz, before.UncertaintyHz)
	}
	printing(e, hz, n, at, 40)
	if now := e.Estimate(); off(e, hz) > 1e-3 || now.MeasuredHz == before.MeasuredHz {
		t.Errorf("40 s after the gap %g ± %g Hz, want a new measurement of %d", now.MeasuredHz, now.UncertaintyHz, hz)
	}
}

// TestResetIsFollowedByAnotherRate: the board came back faster; what was seen before
// the gap must not be mixed in.
func TestResetIsFollowedByAnotherRate(t *testing.T) {
	e := New(0)
	n, at := printing(e, 250, 0, time.Unix(1e9, 0), 60)
	e.Reset()
	printing(e, 500, n, at.Add(time.Second), 60)
	if off(e, 500) > 1e-3 {
		t.Errorf("a minute at 500 Hz after one at 250 is measured as %g", e.Estimate().MeasuredHz)
	}
}

// TestSleepIsNoSlowBoard: 20 s without a sample, then it goes on: the board did not
// become a quarter slower.
func TestSleepIsNoSlowBoard(t *testing.T) {
	const hz = 250
	e := New(0)
	n, at := printing(e, hz, 0, time.Unix(1e9, 0), 40)
	used := e.Estimate().UsedHz
	n, at = printing(e, hz, n, at.Add(20*time.Second), 1)
	for range 40 {
		if n, at = printing(e, hz, n, at, 1); off(e, hz) > 1e-3 || math.Abs(e.Estimate().UsedHz/used-1) > 1e-3 {
			t.Fatalf("after the sleep %g Hz are measured and %g used, want %d", e.Estimate().MeasuredHz, e.Estimate().UsedHz, hz)
		}
	}
}

// TestCountThatBeginsAnew: another board was opened, twice as fast, and nobody said so.
func TestCountThatBeginsAnew(t *testing.T) {
	e := New(0)
	_, at := printing(e, 250, 0, time.Unix(1e9, 0), 100)
	printing(e, 500, 0, at.Add(time.Second), 40)
	if off(e, 500) > 1e-3 {
		t.Errorf("40 s after the count began anew at 500 Hz %g are measured", e.Estimate().MeasuredHz)
	}
}

// TestResetForgetsTheBoardsClock: it ran on for a minute while samples were lost.
func TestResetForgetsTheBoardsClock(t *testing.T) {
	e := New(0)
	for n := range int64(5000) {
		e.ObserveBoard(n, float64(n)/250)
	}
	e.Reset()
	for n := int64(5000); n < 10_000; n++ {
		e.ObserveBoard(n, 60+float64(n)/250)
	}
	if got := e.Estimate().BoardHz; math.Abs(got-250) > 0.1 {
		t.Errorf("the board's clock gives %g Hz after a gap, want 250", got)
	}
}

// TestTaken: of arrivals that are late by up to 0.35 s, now and then by nothing, the
// prompt ones tell when each sample was taken: never too early, and too late by a
// sample and the 2 ms that the rate's uncertainty is worth between them.
func TestTaken(t *testing.T) {
	const hz, prompt = 252.5, 2.0
	start := time.Unix(1e9, 0)
	e := New(250)
	random := rand.New(rand.NewPCG(3, 7))
	var last int64
	var late []Arrival
	next := prompt
	for at := 0.004; at < 60; at += 0.004 {
		by := 0.05 + 0.3*random.Float64()
		if at >= next {
			by, next = 0, next+prompt
		}
		if n := int64((at - by) * hz); n > last {
			last = n
			a := Arrival{n, start.Add(time.Duration(at * 1e9))}
			e.Observe(n, a.At)
			late = append(late, a)
		}
	}
	for n := int64(8 * hz); n < last; n += 17 {
		got, ok := e.Taken(n)
		// What is counted arrived when the last of them was taken, within a sample.
		if d := got.Sub(start).Seconds() - float64(n)/hz; !ok || d < -0.001 || d > 0.004+0.002 {
			t.Fatalf("sample %d, taken at %.4f s, is told %.4f s later", n, float64(n)/hz, d)
		}
		few := late[len(late)-200:]
		if by := e.TakenBy(n, few).Sub(start).Seconds(); by < float64(n)/hz-0.001 {
			t.Fatalf("by 200 arrivals sample %d, taken at %.4f s, was taken at %.4f s at the latest", n, float64(n)/hz, by)
		}
	}
	one := []Arrival{{100, start}}
	for n, want := range map[int64]float64{100: 0, 200: 100 / hz, 0: -100 / hz} {
		if got := e.TakenBy(n, one).Sub(start).Seconds(); math.Abs(got-want) > 1e-3*math.Abs(want)+1e-9 {
			t.Errorf("sample %d is at %g s, want %g", n, got, want)
		}
	}
	e.Reset()
	if at, ok := e.Taken(last); ok {
		t.Errorf("after Reset sample %d was taken at %v", last, at)
	}
}
