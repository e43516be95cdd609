package recording

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

// edfSignal is one signal of a header.
type edfSignal struct {
	label, dimension string
	physMin, physMax float64
	digMin, digMax   int64
	samples          int // per record
	missing          int32
	offset           int // bytes from the start of a record
	fine             int // bytes to the signal with the remainders of a wide channel, 0 for none
}

// edfStore reads records on demand.
type edfStore struct {
	in          *input
	header      int64
	recordBytes int
	bytes       int // per sample: 2 or 3
	records     int64
	perRecord   int         // samples per record of the fastest signal
	signals     []edfSignal // the channels
	annotations []edfSignal
	missing     []int32 // per channel the count that means missing, or MissingCount for none
	buffer      []byte

	// While the rate of a file is being corrected, the records from oldFrom on
	// have times of oldPerSecond samples per second.
	oldFrom      int64
	oldPerSecond float64
	ended        bool // a record has the end mark
}

const (
	edfMagic = "0       "
	bdfMagic = "\xffBIOSEMI"
)

func looksEDF(head []byte) bool {
	return len(head) >= 192 && (string(head[:8]) == edfMagic || string(head[:8]) == bdfMagic)
}

// edfNumber reads a header number leniently: spaces and NULs around it, a
// decimal comma.
func edfNumber(field []byte) (float64, error) {
	s := strings.Trim(string(field), " \x00\t")
	x, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return x, nil
}

func edfText(field []byte) string { return cleanText(strings.Trim(string(field), " \x00")) }

// edfHeader is a header read but for what its signals are.
type edfHeader struct {
	path     string
	format   string // "EDF" or "BDF"
	plus     bool   // EDF+ or BDF+
	split    bool   // of these, one with gaps
	bytes    int    // per sample
	fixed    []byte // its first 256 bytes
	all      []byte
	signals  int
	count    float64 // of records, as it says
	duration float64 // seconds of a record
}

// bad is an error at a byte of the header.
func (h *edfHeader) bad(offset int, format string, a ...any) error {
	return &FormatError{Path: h.path, Offset: int64(offset), Reason: fmt.Sprintf(format, a...)}
}

func (h *edfHeader) number(offset, n int, what string, header []byte) (float64, error) {
	x, err := edfNumber(header[offset : offset+n])
	if err != nil {
		return 0, h.bad(offset, "%s %v", what, err)
	}
	return x, nil
}

// read reads the fixed part and the signals' part whole.
func (h *edfHeader) read(in *input) (err error) {
	if h.fixed, err = in.bytes(0, 256); err != nil {
		return fmt.Errorf("recording: %s: %w", h.path, err)
	}
	if len(h.fixed) < 256 {
		return h.bad(len(h.fixed), "the file ends inside its header, which has 256 bytes and 256 more per signal")
	}
	h.format, h.bytes = "EDF", 2
	if string(h.fixed[:8]) == bdfMagic {
		h.format, h.bytes = "BDF", 3
	}
	reserved := edfText(h.fixed[192:236])
	h.plus = strings.HasPrefix(reserved, h.format+"+")
	h.split = strings.HasPrefix(reserved, h.format+"+D")
	n, err := h.number(252, 4, "number of signals", h.fixed)
	if err != nil {
		return err
	}
	if n < 1 || n > maxChannels || n != math.Trunc(n) {
		return h.bad(252, "%g signals: 1 to %d can be read", n, maxChannels)
	}
	h.signals = int(n)
	if h.all, err = in.bytes(0, int(h.size())); err != nil {
		return fmt.Errorf("recording: %s: %w", h.path, err)
	}
	if int64(len(h.all)) < h.size() {
		return h.bad(len(h.all), "the file ends inside its header of %d bytes", h.size())
	}
	if h.count, err = h.number(236, 8, "record count", h.fixed); err != nil {
		return err
	}
	if h.duration, err = h.number(244, 8, "record duration", h.fixed); err != nil {
		return err
	}
	if h.duration < 0 || h.duration > 1e7 {
		return h.bad(244, "record duration %g s: 0 to 10,000,000 s can be read", h.duration)
	}
	return nil
}

func (h *edfHeader) size() int64 { return int64(256 * (h.signals + 1)) }

// edfWidths are those of a signal's fields: label, transducer, dimension, physical and
// digital limits, filters, samples per record, reserved. Each field of all signals stands
// together.
var edfWidths = [...]int{16, 80, 8, 8, 8, 8, 8, 80, 8, 32}

const (
	edfLabel     = 0
	edfDimension = 2
	edfPhysical  = 3 // lower, then upper
	edfDigital   = 5 // lower, then upper
	edfSamples   = 8
	edfReserved  = 9
)

// at is where field k of signal i stands.
func (h *edfHeader) at(k, i int) int {
	at := 256 + i*edfWidths[k]
	for _, w := range edfWidths[:k] {
		at += w * h.signals
	}
	return at
}

func (h *edfHeader) field(k, i int) []byte { return h.all[h.at(k, i):][:edfWidths[k]] }

// signal reads signal i, whose samples begin at a byte of a record.
func (h *edfHeader) signal(i, offset int) (edfSignal, error) {
	s := edfSignal{label: edfText(h.field(edfLabel, i)), dimension: edfText(h.field(edfDimension, i)), offset: offset, missing: acquire.MissingCount}
	at := h.at(edfSamples, i)
	x, err := h.number(at, 8, "samples per record", h.all)
	if err != nil {
		return s, err
	}
	if x < 0 || x > 1<<24 || x != math.Trunc(x) {
		return s, h.bad(at, "%g samples per record: whole numbers up to %d can be read", x, 1<<24)
	}
	s.samples = int(x)
	if offset+s.samples*h.bytes > 1<<28 {
		return s, h.bad(at, "records of more than %d bytes", 1<<28)
	}
	return s, nil
}

// limits reads what scales a signal.
func (h *edfHeader) limits(f *File, s *edfSignal, i int) {
	for k, p := range []*float64{&s.physMin, &s.physMax} {
		var err error
		if *p, err = edfNumber(h.field(edfPhysical+k, i)); err != nil {
			f.remark("signal %q: physical limits unreadable, so its scale is unknown", s.label)
			s.physMin, s.physMax = 0, 0
			break
		}
	}
	for k, p := range []*int64{&s.digMin, &s.digMax} {
		x, err := edfNumber(h.field(edfDigital+k, i))
		if err != nil || math.Abs(x) > 1<<31 {
			f.remark("signal %q: digital limits unreadable, so its scale is unknown", s.label)
			s.digMin, s.digMax = 0, 0
			break
		}
		*p = int64(x)
	}
}

func openEDF(in *input, path string) (*File, error) {
	h := &edfHeader{path: path}
	if err := h.read(in); err != nil {
		return nil, err
	}
	f := &File{format: h.format, path: path}
	if h.plus {
		f.format += "+"
	}
	st := &edfStore{in: in, bytes: h.bytes, header: h.size(), oldFrom: math.MaxInt64}
	if said, err := edfNumber(h.fixed[184:192]); err == nil && said != float64(st.header) {
		f.remark("the header says it has %g bytes; %d signals make %d, which was used", said, h.signals, st.header)
	}
	if err := st.readSignals(f, h); err != nil {
		return nil, err
	}
	if h.duration == 0 {
		return nil, h.bad(244, "record duration 0 s, so the sample rate is unknown")
	}
	if err := st.countRecords(f, h); err != nil {
		return nil, err
	}
	rate := float64(st.perRecord) / h.duration
	st.describe(f, h, rate)
	f.store = st
	f.info.Started = edfStart(h.fixed, h.plus)
	f.info.Invented = slices.Contains(strings.Fields(string(h.fixed[88:168])), acquire.InventedTag)
	annotated := len(st.annotations) > 0 && st.records > 0
	if f.ours && annotated {
		f.meta = st.settings(len(st.signals))
	}
	if m := f.meta; m != nil {
		for i, c := range m.Channels {
			f.info.Channels[i] = c.channel()
		}
		if !m.Started.IsZero() {
			f.info.Started = m.Started
		}
		f.info.Invented = f.info.Invented || m.Invented
	}

	if f.ours && h.count < 0 {
		f.unclosed = true
		st.cutAtEnd()
	}
	times := &edfTimes{store: st, duration: h.duration}
	if h.plus && annotated {
		times.begin(f, h)
	}
	switch {
	case h.split && len(st.annotations) > 0 || times.mark.old != 0:
		times.find(f)
	case h.split:
		f.remark("the file says it has gaps but not where; it is shown without")
	}
	f.info.ClaimedRateHz = rate
	if f.segments == nil {
		f.length = st.records * int64(st.perRecord)
		f.segments = []segment{{0, 0, f.length}}
	} else {
		last := f.segments[len(f.segments)-1]
		f.length = last.at + last.n
	}
	// A file of ours ends inside its last record; the exact rate stands there too.
	if f.ours && annotated {
		f.finishOurs(st, rate)
	}
	if len(st.annotations) > 0 {
		when := edfWhen{f.segments, times.first, h.duration, f.info.ClaimedRateHz, f.ours}
		f.scan = func() []Annotation { return st.scan(when) }
	}
	return f, nil
}

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

// readSignals tells channels from annotations, and joins the two signals of a wide channel.
func (st *edfStore) readSignals(f *File, h *edfHeader) error {
	fine := map[int]edfSignal{} // by channel
	for i := range h.signals {
		s, err := h.signal(i, st.recordBytes)
		if err != nil {
			return err
		}
		st.recordBytes += s.samples * st.bytes
		switch {
		case h.plus && s.label == h.format+" Annotations":
			if s.samples > 0 {
				st.annotations = append(st.annotations, s)
			}
			continue
		case !h.plus && (s.label == "BDF Annotations" || s.label == "EDF Annotations"):
			f.remark("a signal named %q in a file that is not %s+ was left out", s.label, f.format)
			continue
		case s.samples == 0:
			f.remark("signal %q has no samples and was left out", s.label)
			continue
		}
		h.limits(f, &s, i)
		word, rest, _ := strings.Cut(edfText(h.field(edfReserved, i)), " ")
		if word == textMissing && h.plus {
			f.ours = true
			if v, err := strconv.ParseInt(rest, 10, 32); err == nil {
				s.missing = int32(v)
			} else {
				f.annotated = true
			}
		} else if k, err := strconv.Atoi(strings.TrimPrefix(rest, "@")); word == textFine && h.plus && st.bytes == 3 && err == nil && k >= 1 && k <= len(st.signals) && st.signals[k-1].samples == s.samples {
			fine[k-1] = s
			continue
		}
		st.signals = append(st.signals, s)
	}
	if len(st.signals) == 0 {
		return h.bad(256, "no signal with samples, only annotations")
	}
	for k, s := range fine {
		c := &st.signals[k]
		c.fine = s.offset
		// The coarse signal's limits tell of steps of 256 counts.
		c.digMin, c.digMax = c.digMin*256, c.digMax*256
	}
	for _, s := range st.signals {
		st.perRecord = max(st.perRecord, s.samples)
		st.missing = append(st.missing, s.missing)
	}
	return nil
}

// countRecords takes the records that are there and that the header knows of.
func (st *edfStore) countRecords(f *File, h *edfHeader) error {
	whole := (st.in.size - st.header) / int64(st.recordBytes)
	rest := (st.in.size - st.header) % int64(st.recordBytes)
	st.records = whole
	switch {
	case h.count < 0:
		f.remark("the recording was not closed; %d whole records were found", whole)
	case h.count > float64(whole):
		f.remark("the header says %g records, the file holds %d: its end is missing", h.count, whole)
	case h.count < float64(whole):
		f.remark("the header says %g records, the file holds %d: what follows was left out", h.count, whole)
		st.records = int64(h.count)
	}
	if rest != 0 && st.records == whole {
		f.remark("%d bytes of an unfinished record at the end were left out", rest)
	}
	if st.records > maxLen/int64(st.perRecord) {
		return h.bad(236, "too many records")
	}
	return nil
}

// describe makes the channels, as the header scales them.
func (st *edfStore) describe(f *File, h *edfHeader, rate float64) {
	for _, s := range st.signals {
		c := acquire.Channel{Label: s.label, Unit: s.dimension}
		if s.digMin < s.digMax {
			c.MinCount, c.MaxCount = clampCount(s.digMin), clampCount(s.digMax)
		}
		if s.digMin != s.digMax && s.physMin != s.physMax && !(s.dimension == "" && s.physMin == float64(s.digMin) && s.physMax == float64(s.digMax)) {
			c.VoltsPerCount = (s.physMax - s.physMin) / float64(s.digMax-s.digMin)
			c.OffsetVolts = s.physMin - c.VoltsPerCount*float64(s.digMin)
			inVolts(&c)
		} else {
			c.Unit = ""
		}
		f.info.Channels = append(f.info.Channels, c)
		if s.samples != st.perRecord {
			f.remark("channel %q has %.5g Hz; each sample is repeated to fill %.5g Hz", s.label, float64(s.samples)/h.duration, rate)
		}
	}
}

// cutAtEnd leaves out what follows the end mark in a file that is open: records
// from before the mark was written last. A mark is in the last records only.
func (s *edfStore) cutAtEnd() {
	const look = 1024
	for r := max(s.records-look, 0); r < s.records; r++ {
		tals, err := s.tals(r)
		if err != nil {
			return
		}
		for _, t := range tals {
			for _, text := range t.texts {
				if text == textEnd {
					s.records = r + 1
					return
				}
			}
		}
	}
}

// finishOurs applies what the last record of a closed file of ours says: where
// the padding begins and the rate with all its digits.
func (f *File) finishOurs(st *edfStore, rate float64) {
	perSecond := rate
	if st.records > st.oldFrom {
		perSecond = st.oldPerSecond
	}
	tals, _ := st.tals(st.records - 1)
	start, _ := st.onset(st.records - 1)
	last := f.segments[len(f.segments)-1]
	base := last.at + last.n - int64(st.perRecord) // of the last record
	for _, t := range tals {
		for _, text := range t.texts {
			if text == textEnd {
				st.ended = true
				end := base + int64(math.Round((t.onset-start)*perSecond))
				// Padding may follow, or the recording ended in a gap.
				f.length = min(max(end, 0), maxLen)
			}
			if r, ok := parseRate(text); ok && math.Abs(r/rate-1) < 1e-5 {
				rate = r
			}
		}
	}
	f.info.ClaimedRateHz = rate
}

func clampCount(n int64) int32 {
	return int32(max(min(n, math.MaxInt32), -math.MaxInt32))
}

// edfStart reads the start of a recording. The clock's zone is not stored: it is
// taken as this computer's. EDF+ stores the year in full; the short date
// means 1985 to 2084.
func edfStart(fixed []byte, plus bool) time.Time {
	var d, m, y, hour, minute, second int
	date, clock := string(fixed[168:176]), string(fixed[176:184])
	if n, _ := fmt.Sscanf(strings.NewReplacer(".", " ", ":", " ", "/", " ", "-", " ").Replace(date), "%d %d %d", &d, &m, &y); n != 3 {
		return time.Time{}
	}
	if n, _ := fmt.Sscanf(strings.NewReplacer(".", " ", ":", " ").Replace(clock), "%d %d %d", &hour, &minute, &second); n != 3 {
		return time.Time{}
	}
	if y < 100 {
		y += 1900
		if y < 1985 {
			y += 100
		}
	}
	if plus {
		if words := strings.Fields(string(fixed[88:168])); len(words) >= 2 && words[0] == "Startdate" {
			if words[1] == "X" && d == 1 && m == 1 && y == 1985 && hour+minute+second == 0 {
				return time.Time{} // as unknown starts are written
			}
			if t, err := time.Parse("2-Jan-2006", titleMonth(words[1])); err == nil {
				y, d = t.Year(), t.Day()
				m = int(t.Month())
			}
		}
	}
	if m < 1 || m > 12 || d < 1 || d > 31 || hour > 23 || minute > 59 || second > 60 {
		return time.Time{}
	}
	return time.Date(y, time.Month(m), d, hour, minute, second, 0, time.Local)
}

func titleMonth(s string) string {
	a, rest, ok := strings.Cut(s, "-")
	b, c, ok2 := strings.Cut(rest, "-")
	if !ok || !ok2 || len(b) != 3 {
		return s
	}
	return a + "-" + strings.ToUpper(b[:1]) + strings.ToLower(b[1:]) + "-" + c
}

// tal is a time-stamped annotation list.
type tal struct {
	onset, duration float64
	texts           []string
}

// tals reads the annotation signals of one record.
func (s *edfStore) tals(record int64) ([]tal, error) {
	var list []tal
	for _, a := range s.annotations {
		b, err := s.in.bytes(s.header+record*int64(s.recordBytes)+int64(a.offset), a.samples*s.bytes)
		if err != nil {
			return list, err
		}
		list = parseTALs(list, b)
	}
	return list, nil
}

// parseTALs appends the lists in b; what is malformed is passed over.
func parseTALs(list []tal, b []byte) []tal {
	b = bytes.TrimRight(b, "\x00") // most of it is padding
	for len(b) > 0 {
		var one []byte
		one, b, _ = bytes.Cut(b, []byte{0})
		if len(one) == 0 {
			continue
		}
		head, texts, ok := bytes.Cut(one, []byte{0x14})
		if !ok || head == nil {
			continue
		}
		on, dur, _ := bytes.Cut(head, []byte{0x15})
		if len(on) < 2 || on[0] != '+' && on[0] != '-' {
			continue
		}
		var t tal
		var err error
		if t.onset, err = edfNumber(on); err != nil {
			continue
		}
		if len(dur) > 0 {
			if t.duration, err = edfNumber(dur); err != nil || t.duration < 0 {
				t.duration = 0
			}
		}
		for i, text := range bytes.Split(bytes.TrimSuffix(texts, []byte{0x14}), []byte{0x14}) {
			// The first, if empty, is the time-keeping one.
			if i == 0 || len(text) > 0 {
				t.texts = append(t.texts, safeText(string(text)))
			}
		}
		list = append(list, t)
	}
	return list
}

// onset returns the start of a record in seconds, as its first list says.
func (s *edfStore) onset(record int64) (float64, bool) {
	a := s.annotations[0]
	b, err := s.in.bytes(s.header+record*int64(s.recordBytes)+int64(a.offset), min(a.samples*s.bytes, 64))
	if err != nil {
		return 0, false
	}
	on, _, ok := bytes.Cut(b, []byte{0x14})
	on, _, _ = bytes.Cut(on, []byte{0x15})
	if !ok || len(on) < 2 || on[0] != '+' && on[0] != '-' {
		return 0, false
	}
	x, err := edfNumber(on)
	return x, err == nil
}

// settings looks for our settings at the start; nil when there are none.
func (s *edfStore) settings(channels int) *settings {
	var list []Annotation
	for r := int64(0); r < min(s.records, 64); r++ {
		tals, err := s.tals(r)
		if err != nil {
			return nil
		}
		if r == 0 && (len(tals) < 2 || !hasSettings(tals)) {
			return nil
		}
		for _, t := range tals {
			for _, text := range t.texts {
				if text != "" {
					list = append(list, Annotation{Text: text})
				}
			}
		}
		for _, a := range joinPieces(list) {
			if rest, ok := strings.CutPrefix(a.Text, textSettings); ok {
				if m := parseSettings(rest, channels); m != nil {
					return m
				}
			}
		}
	}
	return nil
}

func hasSettings(tals []tal) bool {
	for _, t := range tals {
		for _, text := range t.texts {
			if strings.HasPrefix(text, textSettings+"{") {
				return true
			}
			if k, _, rest, ok := parsePiece(text); ok && k == 1 && strings.HasPrefix(rest, textSettings+"{") {
				return true
			}
		}
	}
	return false
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

// edfWhen is how onsets become samples.
type edfWhen struct {
	segments                []segment
	first, duration, rateHz float64 // s, s of a record, Hz
	ours                    bool
}

// scan reads the annotations of all records. The onset in samples is taken
// relative to the record's own time, which holds for foreign files that print
// few digits and for ours while their rate is being corrected.
func (s *edfStore) scan(when edfWhen) []Annotation {
	segments, first, rateHz, ours := when.segments, when.first, when.rateHz, when.ours
	var list []Annotation
	perSecond := float64(s.perRecord) / when.duration
	n := int64(s.perRecord)
	k := 0
	for r := int64(0); r < s.records; r++ {
		tals, err := s.tals(r)
		if err != nil {
			break
		}
		for k+1 < len(segments) && segments[k+1].stored <= r*n {
			k++
		}
		perSecond := perSecond
		if r >= s.oldFrom {
			perSecond = s.oldPerSecond
		}
		base, start := segments[k].at+r*n-segments[k].stored, math.NaN()
		for i, t := range tals {
			texts := t.texts
			if i == 0 && len(texts) > 0 && texts[0] == "" {
				start = t.onset
			}
			for _, text := range texts {
				if text == "" {
					continue
				}
				a := Annotation{DurationSeconds: t.duration, Text: text}
				x := (t.onset - first) * perSecond
				if ours && !math.IsNaN(start) {
					x = float64(base) + (t.onset-start)*perSecond
				}
				a.Sample = int64(math.Round(min(max(x, -float64(maxLen)), float64(maxLen))))
				a.OnsetSeconds = t.onset - first
				if ours {
					a.OnsetSeconds = float64(a.Sample) / rateHz
				}
				list = append(list, a)
			}
		}
	}
	if ours {
		sort.SliceStable(list, func(i, j int) bool { return list[i].Sample < list[j].Sample })
		list = joinPieces(list)
	}
	out := list[:0]
	for _, a := range list {
		if a.Text = strings.TrimSpace(a.Text); a.Text != "" {
			out = append(out, a)
		}
	}
	return out
}

// readBytes is how many bytes of records are read at a time.
const readBytes = 1 << 18

func (s *edfStore) read(counts [][]int32, from int64) (int, error) {
	n := int64(s.perRecord)
	want := len(counts[0])
	batch := max(readBytes/s.recordBytes, 1)
	for done := 0; done < want; {
		at := from + int64(done)
		record := at / n
		if record >= s.records {
			return done, io.EOF
		}
		skip := int(at - record*n)
		k := int(min(int64(batch), s.records-record, (int64(skip+want-done)+n-1)/n))
		if cap(s.buffer) < k*s.recordBytes {
			s.buffer = make([]byte, k*s.recordBytes)
		}
		b := s.buffer[:k*s.recordBytes]
		if got, err := s.in.ReadAt(b, s.header+record*int64(s.recordBytes)); got < len(b) {
			if err == nil || err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return done, err
		}
		for ; k > 0 && done < want; k-- {
			m := min(int(n)-skip, want-done)
			for c := range s.signals {
				if counts[c] != nil {
					s.decode(counts[c][done:done+m], b[s.signals[c].offset:], c, skip)
				}
			}
			b = b[s.recordBytes:]
			done += m
			skip = 0
		}
	}
	return want, nil
}

// decode fills dst from sample skip on, counted at the fastest signal's rate.
func (s *edfStore) decode(dst []int32, b []byte, c, skip int) {
	sig, missing := &s.signals[c], s.missing[c]
	if sig.fine > 0 {
		f := b[sig.fine-sig.offset:]
		for i := range dst {
			k := int(int64(skip+i)*int64(sig.samples)/int64(s.perRecord)) * 3
			dst[i] = int32(uint32(f[k]) | uint32(b[k])<<8 | uint32(b[k+1])<<16 | uint32(b[k+2])<<24)
			if f[k+2] == 0xff { // fineMissing
				dst[i] = acquire.MissingCount
			}
		}
		return
	}
	if sig.samples == s.perRecord {
		b = b[skip*s.bytes:]
		if s.bytes == 2 {
			for i := range dst {
				dst[i] = int32(int16(uint16(b[2*i]) | uint16(b[2*i+1])<<8))
			}
		} else {
			for i := range dst {
				dst[i] = int32(uint32(b[3*i])<<8|uint32(b[3*i+1])<<16|uint32(b[3*i+2])<<24) >> 8
			}
		}
	} else {
		for i := range dst {
			k := int(int64(skip+i) * int64(sig.samples) / int64(s.perRecord) * int64(s.bytes))
			if s.bytes == 2 {
				dst[i] = int32(int16(uint16(b[k]) | uint16(b[k+1])<<8))
			} else {
				dst[i] = int32(uint32(b[k])<<8|uint32(b[k+1])<<16|uint32(b[k+2])<<24) >> 8
			}
		}
	}
	if missing != acquire.MissingCount {
		for i, v := range dst {
			if v == missing {
				dst[i] = acquire.MissingCount
			}
		}
	}
}

func (s *edfStore) Close() error { return s.in.Close() }
