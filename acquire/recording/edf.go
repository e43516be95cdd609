package recording

import (
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

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
	index            int // in the header
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
	channels := make([]int, len(st.signals))
	for c, s := range st.signals {
		channels[c] = s.index
	}
	f.kept = h.keep(channels)
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
		f.repeats(s.samples != st.perRecord, "channel %q has %.5g Hz; each sample is repeated to fill %.5g Hz", s.label, float64(s.samples)/h.duration, rate)
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
