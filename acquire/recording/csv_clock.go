package recording

import (
	"fmt"
	"math"
	"slices"
)

// mostSpanSeconds is the longest time that a file's clock may span: a month. What is
// longer is a clock that was set meanwhile.
const mostSpanSeconds = 31 * 86400

// csvClock finds rate and gaps from a time column.
type csvClock struct {
	plan      *csvPlan // nil: no clock
	step      float64  // seconds per unit
	quantum   float64  // of the printed times, seconds
	interval  float64  // between samples, seconds, from the start of the file
	threshold float64  // a step above is a gap

	last    float64
	started bool
	sum     float64 // of the steps without the gaps
	steps   int64
	back    int
	quick   int64 // steps far shorter than the usual one, of a clock whose steps are alike
	alike   bool
	// sum and steps at the first and at the newest rise of the clock: between them the
	// rate is exact even when many rows share a time.
	firstRise, lastRise struct {
		sum   float64
		steps int64
	}
	jumps []csvJump
}

type csvJump struct {
	stored  int64   // sample after the jump
	seconds float64 // step to it
}

// learn takes the usual step from the first times.
func (c *csvClock) learn(times []float64) bool {
	if c.plan.kind == countClock {
		c.interval, c.threshold, c.quantum = 1, 1.5, 0
		return len(times) > 1
	}
	var steps []float64
	for i := 1; i < len(times); i++ {
		if d := (times[i] - times[i-1]) * c.step; d >= 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return false
	}
	slices.Sort(steps)
	if u := c.usual(steps); u > 0 {
		c.interval, c.threshold, c.alike = u, max(1.5*u, u+c.quantum*(1-1e-6)), true
		return true
	}
	p95 := steps[len(steps)*95/100]
	// Mean of the steps that are no jumps; the median alone is wrong for times
	// printed coarser than the interval.
	limit := max(4*steps[len(steps)/2], 2*p95) + c.quantum
	for range 3 {
		sum, n := 0.0, 0
		for _, d := range steps {
			if d <= limit {
				sum += d
				n++
			}
		}
		if sum <= 0 {
			return false
		}
		c.interval = sum / float64(n)
		if p95 <= c.interval+c.quantum*1.001+1e-12 || p95 <= 1.3*c.interval {
			// Printed coarsely, a step may be one unit longer than the interval: one
			// lost sample cannot be told from that at a unit per sample.
			c.threshold = max(1.5*c.interval, c.interval+c.quantum*(1-1e-6))
		} else {
			c.threshold = 3 * p95 // stamped as it arrived, in lumps
		}
		limit = c.threshold
	}
	return true
}

// usual is the step of a clock that has one, whatever it loses: the mean of the smallest steps, if a fifth of all
// are alike, nearly none are smaller, and the next greater ones stand apart. 0 for others, as stamps of arrival.
func (c *csvClock) usual(steps []float64) float64 {
	n := len(steps)
	first := n / 50 // what is smaller may be an error
	low := steps[first]
	if low <= 0 || c.quantum > 0.5*low {
		return 0
	}
	end := first
	sum := 0.0
	for end < n && steps[end] <= 1.1*low+1.001*c.quantum {
		sum += steps[end]
		end++
	}
	u := sum / float64(end-first)
	if end-first < n/5 || end < n && steps[end] < 1.4*u {
		return 0
	}
	return u
}

// row takes the time of stored sample n.
func (c *csvClock) row(n int64, x float64, ok bool) {
	if !ok {
		// No time: a step as usual.
		if c.started {
			c.last += c.interval / c.step
		}
		return
	}
	if c.started {
		d := (x - c.last) * c.step
		if c.plan.kind == textClock && c.plan.day < 0 && d < -86400/2 && d > -86400 {
			d += 86400 // a time of day, past midnight
		}
		switch {
		case d < 0:
			c.back++
			c.sum += c.interval
			c.steps++
		case d > c.threshold:
			c.jumps = append(c.jumps, csvJump{n, d})
		default:
			c.sum += d
			c.steps++
			if c.alike && d < 0.6*c.interval-0.4*c.quantum {
				c.quick++
			}
			if d > 0 {
				c.lastRise.sum, c.lastRise.steps = c.sum, c.steps
				if c.firstRise.steps == 0 {
					c.firstRise = c.lastRise
				}
			}
		}
	}
	c.last, c.started = x, true
}

// rate is the mean rate without the gaps, rounded to the nominal one when the
// printed times cannot tell the two apart.
func (c *csvClock) rate(nominal float64) float64 {
	if c.steps > 0 && c.sum > 0 {
		c.interval = c.sum / float64(c.steps)
	}
	if n := c.lastRise.steps - c.firstRise.steps; n > 0 && c.quantum > 1.5*c.interval {
		c.interval = (c.lastRise.sum - c.firstRise.sum) / float64(n)
	}
	rate := 1 / c.interval
	doubt := max(1e-9, 2*c.quantum/max(c.sum, c.interval))
	for _, nice := range []float64{nominal, math.Round(rate), math.Round(rate*10) / 10, math.Round(rate*100) / 100} {
		if nice > 0 && math.Abs(rate/nice-1) <= doubt {
			return nice
		}
	}
	return rate
}

// segments are the runs between the clock's jumps, and the length with what is missing.
func (c *csvClock) segments(n int64) ([]segment, int64, error) {
	list := []segment{{0, 0, n}}
	total := float64(n) * c.interval
	for _, j := range c.jumps {
		if total += j.seconds; total > mostSpanSeconds && c.plan != nil && c.plan.kind != countClock || total/c.interval > float64(maxLen) {
			return nil, 0, &FormatError{Path: c.plan.path, Offset: -1, Reason: fmt.Sprintf("the clock jumps by %s after %d rows: it was set meanwhile; a file may span %d days at most: cut it there", span(j.seconds), j.stored, mostSpanSeconds/86400)}
		}
		lost := math.Round(j.seconds/c.interval) - 1
		s := &list[len(list)-1]
		if lost < 1 || j.stored <= s.stored {
			continue
		}
		s.n = j.stored - s.stored
		list = append(list, segment{s.at + s.n + int64(lost), j.stored, n - j.stored})
	}
	last := list[len(list)-1]
	return list, last.at + last.n, nil
}

// span is a time in words.
func span(seconds float64) string {
	switch {
	case seconds >= 2*365.25*86400:
		return fmt.Sprintf("%.3g years", seconds/(365.25*86400))
	case seconds >= 2*86400:
		return fmt.Sprintf("%.3g days", seconds/86400)
	}
	return fmt.Sprintf("%.4g s", seconds)
}

// uneven tells times of which single samples cannot be placed: some steps are twice the mean.
func (c *csvClock) uneven() bool { return c.threshold > 2*c.interval }
