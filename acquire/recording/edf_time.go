package recording

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// begin finds when the recording begins.
func (times *edfTimes) begin(f *File, h *edfHeader) {
	times.first, _ = times.store.onset(0)
	if f.ours {
		if !(times.first >= 0 && times.first < 1) {
			times.first = 0
		}
		times.mark = parseRetiming(string(h.fixed[192:236]))
		if f.meta == nil && !f.info.Started.IsZero() {
			f.info.Started = f.info.Started.Add(time.Duration(math.Round(times.first * 1e9)))
		}
	} else if fraction := times.first - math.Floor(times.first); fraction > 0 && times.first >= 0 && times.first < 1 {
		f.info.Started = f.info.Started.Add(time.Duration(math.Round(fraction * 1e9)))
	}
}

// edfTimes places records in time.
type edfTimes struct {
	store    *edfStore
	duration float64
	first    float64 // onset of record 0
	mark     retiming
}

// find fills f.segments from the onsets of the records. A run whose ends are as
// far apart as its records are long has no gap in it, since gaps only add.
func (t *edfTimes) find(f *File) {
	n := int64(t.store.perRecord)
	type record struct{ index, at int64 }
	add := func(at, index, count int64) {
		if k := len(f.segments); k > 0 {
			if s := &f.segments[k-1]; s.at+s.n == at && s.stored+s.n == index*n {
				s.n += count * n
				return
			}
		}
		if len(f.segments) <= mostGaps { // more are refused
			f.segments = append(f.segments, segment{at, index * n, count * n})
		}
	}
	if t.mark.old != 0 {
		t.findRetimed(add)
		return
	}
	bad := 0
	position := func(index int64) int64 {
		on, ok := t.store.onset(index)
		if !ok || math.Abs(on) > 1e12 {
			bad++
			return -1
		}
		x := math.Round((on - t.first) / t.duration * float64(n))
		if x < 0 || x > float64(maxLen) {
			bad++
			return -1
		}
		return int64(x)
	}
	// slack: onsets may be printed with few digits.
	slack := int64(0)
	if !f.ours {
		slack = max(n/1000, int64(math.Ceil(2e-4/t.duration*float64(n))))
	}
	var place func(lo, hi record)
	place = func(lo, hi record) {
		// lo is placed already; place lo+1 … hi.
		for lo.index < hi.index {
			if d := hi.at - lo.at - (hi.index-lo.index)*n; d <= slack && d >= -slack {
				add(lo.at+n, lo.index+1, hi.index-lo.index)
				return
			}
			if hi.index == lo.index+1 {
				if hi.at < lo.at+n {
					bad++
					hi.at = lo.at + n
				}
				add(hi.at, hi.index, 1)
				return
			}
			mid := record{index: lo.index + (hi.index-lo.index)/2}
			if mid.at = position(mid.index); mid.at < lo.at {
				mid.at = lo.at + (mid.index-lo.index)*n
			}
			place(lo, mid)
			last := f.segments[len(f.segments)-1]
			lo = record{mid.index, last.at + last.n - n}
		}
	}
	if t.store.records == 0 {
		return
	}
	add(0, 0, 1)
	end := record{index: t.store.records - 1}
	if end.at = position(end.index); end.at < 0 {
		end.at = end.index * n
	}
	place(record{}, end)
	if bad > 0 {
		f.remark("%d records say no time, or one before the last; they are placed after those before them", bad)
	}
}

// retiming is the mark in the reserved field while a file's record duration is
// being corrected front to back: "EDF+D r OLD NEW INDEX POSITION". Records
// before INDEX have the new duration, that record has the position, and a
// record after it that does not follow the one before has the old.
type retiming struct {
	old, new        float64
	index, position int64
}

func (t retiming) String() string {
	return "r " + fixed8(t.old, 8) + " " + fixed8(t.new, 8) + " " + strconv.FormatInt(t.index, 36) + " " + strconv.FormatInt(t.position, 36)
}

// parseRetiming reads the mark; the zero value when there is none.
func parseRetiming(reserved string) (t retiming) {
	words := strings.Fields(reserved)
	if len(words) != 6 || words[1] != "r" {
		return retiming{}
	}
	var err [4]error
	t.old, err[0] = strconv.ParseFloat(words[2], 64)
	t.new, err[1] = strconv.ParseFloat(words[3], 64)
	t.index, err[2] = strconv.ParseInt(words[4], 36, 64)
	t.position, err[3] = strconv.ParseInt(words[5], 36, 64)
	if err != [4]error{} || !(t.old > 1e-6) || !(t.new > 1e-6) || t.old > 1e9 || t.new > 1e9 || t.index < 0 || t.position < 0 || t.position > maxLen {
		return retiming{}
	}
	return t
}

// findRetimed places the records of a file that was cut while being re-timed.
func (t *edfTimes) findRetimed(add func(at, index, count int64)) {
	n := int64(t.store.perRecord)
	next, old := int64(0), false
	for r := int64(0); r < t.store.records; r++ {
		at := next
		if on, ok := t.store.onset(r); ok && math.Abs(on) < 1e12 {
			on -= t.first
			a := int64(math.Round(on / t.mark.new * float64(n)))
			b := int64(math.Round(on / t.mark.old * float64(n)))
			switch {
			case r == t.mark.index:
				at = t.mark.position
				old = a != at
			case r < t.mark.index:
				at = a
			case a == next && !old:
			case b == next:
				old = true
			default:
				at, old = b, true
			}
		}
		if old && r < t.store.oldFrom {
			t.store.oldFrom, t.store.oldPerSecond = r, float64(n)/t.mark.old
		}
		at = min(max(at, next), maxLen)
		add(at, r, 1)
		next = at + n
	}
}
