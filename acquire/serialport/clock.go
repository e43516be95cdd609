package serialport

// boardClock unwraps a counter or time a board prints in 8, 16 or 32 bits,
// signed or not. A wrap is a fall from the topmost quarter of a range to its
// lowest quarter. Any other fall, and any rise above bigStep, is believed only
// when the next line goes on from it, because a torn number looks the same: a
// confirmed fall is a board that started anew.
type boardClock struct {
	bigStep   int64 // a rise above it needs confirmation
	goOn      int64 // a confirming line rises by 1…goOn
	eightBit  bool  // may wrap at 256
	started   bool
	last, max int64 // as printed, made unsigned
	total     int64 // unwrapped
	usual     int64 // the step before
	suspected bool
	suspect   int64
}

// Verdicts of boardClock.peek.
const (
	stepFirst = iota
	stepOn
	stepRestart
	stepDoubtful
)

// peek judges the next value without taking it; delta is the unwrapped step.
func (c *boardClock) peek(v int64) (delta int64, verdict int) {
	v = c.unsigned(v)
	if !c.started {
		return 0, stepFirst
	}
	delta = v - c.last
	if delta < 0 {
		for _, bits := range [...]uint{8, 16, 32} {
			m := int64(1) << bits
			if bits == 8 && !c.eightBit || c.max >= m {
				continue
			}
			if c.last >= m-m/4 && v < m/4 {
				delta += m
				break
			}
		}
	}
	if delta >= 0 && delta <= c.bigStep {
		return delta, stepOn
	}
	if c.suspected && v > c.suspect && v-c.suspect <= c.goOn {
		if delta < 0 {
			return c.usual, stepRestart
		}
		return delta, stepOn
	}
	return 0, stepDoubtful
}

func (c *boardClock) unsigned(v int64) int64 {
	switch {
	case v >= 0:
		return v
	case v >= -1<<15 && c.max < 1<<16:
		return v + 1<<16
	case v >= -1<<31:
		return v + 1<<32
	}
	return v
}

// commit takes the value peek judged.
func (c *boardClock) commit(v, delta int64, verdict int) {
	v = c.unsigned(v)
	if verdict == stepFirst {
		c.total = v
	} else {
		c.total += delta
	}
	if verdict == stepRestart {
		c.max = 0
	}
	if delta > 0 {
		c.usual = delta
	}
	c.started, c.suspected = true, false
	c.last = v
	c.max = max(c.max, v)
}

// behind tells that a value steps back by no more than a line out of order does.
func (c *boardClock) behind(v int64) bool {
	back := c.last - c.unsigned(v)
	return c.started && back > 0 && back <= c.goOn
}

// doubt remembers a value for confirmation by the next.
func (c *boardClock) doubt(v int64) { c.suspected, c.suspect = true, c.unsigned(v) }
