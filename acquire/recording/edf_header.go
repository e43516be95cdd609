package recording

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

const (
	edfMagic = "0       "
	bdfMagic = "\xffBIOSEMI"
)

const (
	edfLabel      = 0
	edfTransducer = 1
	edfDimension  = 2
	edfPhysical   = 3 // lower, then upper
	edfDigital    = 5 // lower, then upper
	edfPrefilter  = 7
	edfSamples    = 8
	edfReserved   = 9
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
	s := edfSignal{label: edfText(h.field(edfLabel, i)), dimension: edfText(h.field(edfDimension, i)), offset: offset, index: i, missing: acquire.MissingCount}
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
