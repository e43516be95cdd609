package recorder

import (
	"time"

	"pulsewright/acquire"
	"pulsewright/server/channel"
)

// event is one thing a session told, with its place in samples of the source.
type event struct {
	first  int64
	counts [][]int32 // samples, when set
	lost   int64     // a gap of so many samples, when above 0
	length int64     // of an annotation
	text   string    // of an annotation, or a gap's reason
	beat   bool      // the annotation is a beat
	rateHz float64   // a better rate, when above 0
	// engine is what happened to the channels' engines, of which text is the annotation.
	engine *channel.Event
}

// after is the position after what the event covers.
func (e event) after() int64 {
	if e.counts != nil {
		return e.first + int64(len(e.counts[0]))
	}
	return e.first + e.lost
}

func (e event) bytes() int64 {
	n := int64(64 + len(e.text))
	for _, c := range e.counts {
		n += 4 * int64(len(c))
	}
	return n
}

// memorySamples joins small blocks, so that a day of single samples costs no more
// than their bytes.
const memorySamples = 1024

// memory holds what a session told, back to a time and a size.
type memory struct {
	seconds  float64
	mostSize int64

	epoch  uint32
	info   acquire.Info
	before []stretch // at other rates, oldest first
	from   int64     // position from which on the rate is rateHz
	rateHz float64
	t0     time.Time     // of from
	begun  channel.Start // what the engines begin with just before the events
	events []event
	head   int
	size   int64
	newest int64   // position after the newest sample
	peak   []int64 // of each channel, the largest count seen without its sign
}

// wide tells which channels come within a factor of four of 24 bits' end.
func (m *memory) wide() []bool {
	list := make([]bool, len(m.peak))
	for c, p := range m.peak {
		list[c] = 4*p >= 1<<23
	}
	return list
}

// begin starts anew for an epoch.
func (m *memory) begin(epoch uint32, info acquire.Info, rateHz float64, t0 time.Time) {
	*m = memory{seconds: m.seconds, mostSize: m.mostSize, epoch: epoch, info: info, rateHz: rateHz, t0: t0}
}

// add appends an event and forgets what is too old.
func (m *memory) add(e event) {
	if e.rateHz > 0 {
		m.rateHz = e.rateHz
	}
	if e.counts != nil || e.lost > 0 { // a note moves no time
		m.newest = max(m.newest, e.after())
	}
	for c, row := range e.counts {
		if c == len(m.peak) {
			m.peak = append(m.peak, 0)
		}
		for _, v := range row {
			if v != acquire.MissingCount {
				m.peak[c] = max(m.peak[c], int64(v), -int64(v))
			}
		}
	}
	if e.counts != nil && len(m.events) > m.head {
		last := &m.events[len(m.events)-1]
		if last.counts != nil && last.after() == e.first && len(last.counts[0]) < memorySamples {
			for c := range last.counts {
				last.counts[c] = append(last.counts[c], e.counts[c]...)
			}
			m.size += e.bytes() - 64
			m.forget()
			return
		}
	}
	if e.counts != nil {
		own := make([][]int32, len(e.counts))
		for c := range own {
			own[c] = append(make([]int32, 0, max(memorySamples, len(e.counts[c]))), e.counts[c]...)
		}
		e.counts = own
	}
	m.events = append(m.events, e)
	m.size += e.bytes()
	m.forget()
}

func (m *memory) forget() {
	oldest := m.back(m.seconds)
	for m.head < len(m.events)-1 && (m.events[m.head].after() < oldest || m.size > m.mostSize) {
		m.size -= m.events[m.head].bytes()
		if v := m.events[m.head].engine; v != nil {
			m.begun = m.begun.After(*v)
		}
		m.events[m.head] = event{}
		m.head++
	}
	if m.head > 4096 && m.head > len(m.events)/2 {
		m.events = append(m.events[:0], m.events[m.head:]...)
		clear(m.events[len(m.events):cap(m.events)])
		m.head = 0
	}
	for len(m.before) > 0 && m.before[0].to <= oldest {
		m.before = m.before[1:]
	}
}

// oldest is the first position held.
func (m *memory) oldest() int64 {
	for _, e := range m.events[m.head:] {
		if e.counts != nil {
			return e.first
		}
	}
	return m.newest
}

// start is what the engines begin with at a position: what was changed there holds from it on.
func (m *memory) start(at int64) channel.Start {
	s := m.begun
	for _, e := range m.events[m.head:] {
		if e.engine != nil && e.first <= at {
			s = s.After(*e.engine)
		}
	}
	return s
}

// within copies the events of a stretch; blocks that reach beyond it are cut.
func (m *memory) within(s stretch) []event {
	var list []event
	for _, e := range m.events[m.head:] {
		from, to := max(s.from, e.first), min(s.to, e.after())
		switch {
		case e.counts != nil:
			if to <= from {
				continue
			}
			own := make([][]int32, len(e.counts))
			for c := range own {
				own[c] = append([]int32(nil), e.counts[c][from-e.first:to-e.first]...)
			}
			e.first, e.counts = from, own
		case e.lost > 0:
			if to <= from {
				continue
			}
			e.first, e.lost = from, to-from
		case e.first < s.from || e.first >= s.to || e.rateHz > 0: // the stretch has the newest rate
			continue
		}
		list = append(list, e)
	}
	return list
}
