package recorder

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/server/session"
)

// A file has one rate. Where a source's clock changes its own, a recording ends, and the
// next one begins as its next part: samples, rates and intervals of both are then right for
// whoever reads them, in any format.

// stretch is a part of what is remembered that has one rate.
type stretch struct {
	from, to int64
	rateHz   float64
	t0       time.Time // of from
}

// startedAt is when a position of the stretch was taken.
func (s stretch) startedAt(at int64) time.Time {
	return s.t0.Add(time.Duration(float64(at-s.from) / s.rateHz * float64(time.Second)))
}

// now is the stretch under way.
func (m *memory) now() stretch { return stretch{m.from, math.MaxInt64, m.rateHz, m.t0} }

// moved tells that from a position on the rate is another one.
func (m *memory) moved(from int64, hz float64) {
	s := m.now()
	s.to = from
	m.before = append(m.before, s)
	m.from, m.rateHz, m.t0 = from, hz, s.startedAt(from)
}

// back is the position so many seconds before the newest one.
func (m *memory) back(seconds float64) int64 {
	to, s := m.newest, m.now()
	for i := len(m.before) - 1; ; i-- {
		at := to - int64(seconds*s.rateHz)
		if at >= s.from || i < 0 {
			return at
		}
		seconds -= float64(to-s.from) / s.rateHz
		to, s = s.from, m.before[i]
	}
}

// since are the stretches from a position on, the one under way the last.
func (m *memory) since(from int64) []stretch {
	list := append(slices.Clone(m.before), m.now())
	for list[0].to <= from {
		list = list[1:]
	}
	list[0].t0, list[0].from = list[0].startedAt(max(from, list[0].from)), max(from, list[0].from)
	return list
}

// partName is what part n of a recording is called, counted from 1.
func partName(name string, n int) string {
	if n < 2 {
		return name
	}
	return strings.TrimSpace(fmt.Sprintf("%s part %d", name, n))
}

// Moved implements session.Mover.
func (r *Recorder) Moved(from int64, hz float64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := &r.past
	from = max(from, p.oldest())
	if p.rateHz == 0 || from <= p.from {
		return // all of it was taken at this rate
	}
	old := p.rateHz
	p.moved(from, hz)
	j := r.active
	if j == nil || j.start >= from {
		return
	}
	next, header := r.prepare(p.now())
	next.name, next.part = j.name, j.part+1
	if j.end > 0 {
		next.end = p.newest + int64(float64(j.end-p.newest)/old*hz)
	}
	change := fmt.Sprintf("the board's rate changed from %.1f to %.1f samples a second", old, hz)
	j.push(event{first: from - 1, text: change + ": the recording goes on as its next part"})
	next.queue = append(next.queue, event{first: from, text: change})
	j.cut = from - j.start
	j.finish()
	r.active = next
	r.late = append(r.late, j) // until it is written
	r.jobs.Go(func() {         // without mu
		if err := r.create(next, header); err != nil {
			r.release(next)
			r.config.Problem(fmt.Sprintf("The recording %s ended, since %s, and its next part cannot be written: %v", j.state().Name, change, err))
			r.config.Changed()
			return
		}
		r.config.Problem(fmt.Sprintf("The recording %s ended, since %s; it goes on as %s.", j.state().Name, change, next.state().Name))
		r.config.Changed()
		r.record(next)
	})
}

// cutAway takes from a recording that was written what its next part has.
func (j *job) cutAway() error {
	if j.cut <= 0 || j.cut >= j.w.Len() {
		return nil
	}
	if err := recording.Cut(j.path, j.cut); err != nil {
		return fmt.Errorf("%s ends %.1f s after the board's rate had changed, with what its next part has too: %w", filepath.Base(j.path), float64(j.w.Len()-j.cut)/j.rateHz, err)
	}
	return nil
}

// keepEarlier writes what is remembered of the time before the rate changed, as closed recordings,
// and returns their names in the folder.
func (r *Recorder) keepEarlier(jobs []*job, headers []recording.Header) (ids []string, err error) {
	for i, j := range jobs {
		if err := r.create(j, headers[i]); err != nil {
			return ids, err
		}
		j.finish()
		if j.run(); j.err != nil {
			return ids, j.err
		}
		ids = append(ids, j.state().ID)
	}
	return ids, nil
}

var _ session.Mover = (*Recorder)(nil)
