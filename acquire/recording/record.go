package recording

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

// recordSignal is one signal line of a header.
type recordSignal struct {
	file     string
	format   int
	packed   bool  // as FLAC
	perFrame int   // samples per frame
	skew     int64 // samples, in frames
	offset   int64 // of the first byte in its file
	gain     float64
	baseline float64
	unit     string
	bits     int
	zero     int64
	first    int64
	checksum int64
	known    [3]bool // first, checksum and gain were given
	label    string

	sums []int32 // of differences, before each sumEvery frames

	group int // which file, −1 for none
	place int // first sample of the signal within a frame of its file
}

// recordHeader is a parsed .hea.
type recordHeader struct {
	name    string
	rateHz  float64
	samples int64 // 0 unknown
	started time.Time
	signals []recordSignal
	info    []string
	parts   []recordPart // of a record of several segments, which has no signals of its own
}

func looksHeader(head []byte, path string) bool {
	if !strings.HasSuffix(strings.ToLower(strings.TrimSuffix(path, ".gz")), ".hea") {
		return false
	}
	return looksText(head)
}

// besideHeader finds the header that stands beside a signal file, or "".
func besideHeader(path string) string {
	base := strings.TrimSuffix(path, ".gz")
	switch strings.ToLower(filepath.Ext(base)) {
	case ".dat", ".mat":
		hea := base[:len(base)-4] + ".hea"
		if _, err := os.Stat(hea); err == nil {
			return hea
		}
	}
	return ""
}

// parseHeader reads a .hea: the record line, then a line per signal, then
// comments. Errors carry the line.
func parseHeader(r io.Reader, path string) (*recordHeader, error) {
	h := &recordHeader{}
	line, n := 0, -1
	bad := func(format string, a ...any) (*recordHeader, error) {
		return nil, &FormatError{Path: path, Line: line, Reason: fmt.Sprintf(format, a...)}
	}
	sc := bufio.NewScanner(r)
	for sc.Scan() {
		line++
		text := strings.TrimSpace(sc.Text())
		if text == "" {
			continue
		}
		if text[0] == '#' {
			if s := cleanText(text[1:]); s != "" && n >= 0 {
				h.info = append(h.info, s)
			}
			continue
		}
		if n < 0 {
			reason := ""
			if n, reason = h.recordLine(text); reason != "" {
				return bad("%s", reason)
			}
			continue
		}
		if h.parts != nil {
			p, reason := parsePart(text)
			if reason == "" && len(h.parts) == mostParts {
				reason = fmt.Sprintf("more than %d segments", mostParts)
			}
			if reason != "" {
				return bad("%s", reason)
			}
			h.parts = append(h.parts, p)
			continue
		}
		if len(h.signals) == n {
			break
		}
		s, reason := parseSignal(text)
		if reason != "" {
			return bad("%s", reason)
		}
		h.signals = append(h.signals, s)
	}
	if err := sc.Err(); err != nil {
		return bad("%v", err)
	}
	if h.parts != nil {
		return h, nil
	}
	if n < 0 || len(h.signals) < n {
		return bad("%d signal lines, the record line promises %d", len(h.signals), max(n, 1))
	}
	return h, nil
}

// recordLine reads the first line: name, signals, Hz, samples, start. bad is what is wrong with it.
func (h *recordHeader) recordLine(text string) (n int, bad string) {
	w := strings.Fields(text)
	if len(w) < 2 {
		return n, fmt.Sprintf("%q is no record line: name, number of signals, Hz, samples", shorten(text))
	}
	name, parts, segmented := strings.Cut(w[0], "/")
	if segmented {
		if segments, err := strconv.Atoi(parts); err != nil || segments < 1 || segments > mostParts {
			return n, fmt.Sprintf("%q segments: 1 to %d can be read", shorten(parts), mostParts)
		}
		h.parts = []recordPart{}
	}
	var err error
	h.name = name
	if n, err = strconv.Atoi(w[1]); err != nil || n < 1 || n > maxChannels {
		return n, fmt.Sprintf("%q signals: 1 to %d can be read", shorten(w[1]), maxChannels)
	}
	h.rateHz = 250 // the format's default
	if len(w) > 2 {
		s, _, _ := strings.Cut(w[2], "/")
		s, _, _ = strings.Cut(s, "(")
		if h.rateHz, err = strconv.ParseFloat(s, 64); err != nil || !(h.rateHz > 0) || h.rateHz > 1e9 {
			return n, fmt.Sprintf("sample rate %q: a number of Hz above 0 belongs there", shorten(w[2]))
		}
	}
	if len(w) > 3 {
		if h.samples, err = strconv.ParseInt(w[3], 10, 64); err != nil || h.samples < 0 || h.samples > maxLen {
			return n, fmt.Sprintf("number of samples %q", shorten(w[3]))
		}
	}
	if len(w) > 5 {
		h.started, _ = time.ParseInLocation("15:4:5 2/1/2006", w[4]+" "+w[5], time.Local)
	}
	return n, ""
}

func parseSignal(text string) (s recordSignal, bad string) {
	w := strings.Fields(text)
	if len(w) < 2 {
		return s, fmt.Sprintf("%q is no signal line: file, format, gain, bits, zero, first value, checksum, block, label", shorten(text))
	}
	s = recordSignal{file: w[0], perFrame: 1, gain: 200}
	// FORMAT[xSAMPLES][:SKEW][+OFFSET]
	f := w[1]
	number := func(sign string, into *int64) bool {
		i := strings.Index(f, sign)
		if i < 0 {
			return true
		}
		x, err := strconv.ParseInt(f[i+1:], 10, 64)
		f = f[:i]
		*into = x
		return err == nil && x >= 0 && x < 1<<40
	}
	per := int64(1)
	if !number("+", &s.offset) || !number(":", &s.skew) || !number("x", &per) || per < 1 || per > 1<<16 {
		return s, fmt.Sprintf("format %q: read are FORMAT, xSAMPLES, :SKEW, +OFFSET", shorten(w[1]))
	}
	s.perFrame = int(per)
	var err error
	s.format, err = strconv.Atoi(f)
	if plain, ok := packedFormats[s.format]; ok {
		s.format, s.packed = plain, true
	}
	if err != nil || recordFormats[s.format].bits == 0 {
		return s, unread(w[1])
	}
	zeroGiven := false
	baseGiven := false
	if len(w) > 2 {
		if baseGiven, bad = s.parseGain(w[2]); bad != "" {
			return s, bad
		}
	}
	ints := []*int64{nil, &s.zero, &s.first, &s.checksum}
	for i, p := range ints {
		if len(w) <= 3+i {
			break
		}
		x, err := strconv.ParseInt(w[3+i], 10, 64)
		if err != nil {
			return s, fmt.Sprintf("%q: a whole number belongs there", shorten(w[3+i]))
		}
		if p == nil {
			s.bits = int(min(max(x, 0), 32))
			continue
		}
		*p = x
		switch i {
		case 1:
			zeroGiven = true
		case 2:
			s.known[0] = true
		case 3:
			s.known[1] = true
		}
	}
	if !baseGiven && zeroGiven {
		s.baseline = float64(s.zero)
	}
	if len(w) > 8 {
		s.label = cleanText(strings.Join(w[8:], " "))
	}
	return s, ""
}

// parseGain reads GAIN[(BASELINE)][/UNIT].
func (s *recordSignal) parseGain(text string) (baseGiven bool, bad string) {
	g := text
	var err error
	if head, unit, ok := strings.Cut(g, "/"); ok {
		g, s.unit = head, cleanText(unit)
	} else {
		s.unit = "mV"
	}
	if head, base, ok := strings.Cut(g, "("); ok {
		g = head
		if s.baseline, err = strconv.ParseFloat(strings.TrimSuffix(base, ")"), 64); err != nil || math.IsInf(s.baseline, 0) || math.IsNaN(s.baseline) {
			return false, fmt.Sprintf("baseline in %q", shorten(text))
		}
		baseGiven = true
	}
	if s.gain, err = strconv.ParseFloat(g, 64); err != nil || math.IsNaN(s.gain) || math.IsInf(s.gain, 0) {
		return false, fmt.Sprintf("gain %q: counts per unit belong there", shorten(text))
	}
	s.known[2] = s.gain != 0
	return baseGiven, ""
}

// recordStore reads signal files.
type recordStore struct {
	files   []*recordGroup
	signals []recordSignal
	highest int   // samples per frame of the fastest signal
	n       int64 // positions
}

// recordGroup is one signal file.
type recordGroup struct {
	in      *input
	name    string
	format  int
	packed  bool
	offset  int64
	frame   int // samples per frame, all signals
	signals int
	buffer  []byte
}

func openRecord(in *input, path string) (*File, error) {
	h, err := parseHeader(io.NewSectionReader(in, 0, in.size), path)
	if err != nil {
		return nil, err
	}
	if h.parts != nil {
		f, err := openSegments(h, path)
		if err == nil {
			in.Close()
		}
		return f, err
	}
	f := &File{format: "PhysioNet record (.hea)", path: path}
	st := &recordStore{signals: h.signals}
	opened := false
	defer func() {
		if !opened {
			st.Close()
		}
	}()
	if err := st.openFiles(path); err != nil {
		return nil, err
	}
	frames := int64(math.MaxInt64)
	for _, g := range st.files {
		frames = min(frames, recordFormats[g.format].samples(max(g.in.size-g.offset, 0))/int64(g.frame))
	}
	if len(st.files) == 0 {
		frames = h.samples
	}
	if err := st.sum(); err != nil {
		return nil, fmt.Errorf("recording: %s: %w", path, err)
	}
	if h.samples > 0 && h.samples != frames {
		if h.samples > frames {
			f.remark("the header says %d samples, the signal files hold %d: their end is missing", h.samples, frames)
		} else if len(st.files) > 0 && frames-h.samples > 2 { // groups of three may be filled up
			f.remark("the header says %d samples, the signal files hold %d: those beyond were left out", h.samples, frames)
		}
		frames = min(frames, h.samples)
	}
	if frames > maxLen/int64(st.highest) {
		return nil, &FormatError{Path: path, Line: 1, Reason: "too many samples"}
	}
	st.n = frames * int64(st.highest)
	f.length = st.n
	f.info.ClaimedRateHz = h.rateHz * float64(st.highest)
	f.info.Started = h.started
	f.info.Name = h.name
	for _, s := range st.signals {
		f.info.Channels = append(f.info.Channels, s.channel())
		f.repeats(s.perFrame != st.highest, "signal %q has %.5g Hz; each sample is repeated to fill %.5g Hz", s.label, h.rateHz*float64(s.perFrame), f.info.ClaimedRateHz)
	}
	f.store = st
	var list []Annotation
	for _, s := range h.info {
		list = append(list, Annotation{Text: s})
		f.info.Invented = f.info.Invented || strings.HasPrefix(s, acquire.InventedTag)
	}
	list = append(list, f.beside(path, int64(st.highest))...)
	f.scan = func() []Annotation { return list }
	opened = true
	in.Close()
	return f, nil
}

// openFiles opens the signal files, which lie beside the header at path.
func (st *recordStore) openFiles(path string) error {
	byName := map[string]int{}
	for i := range st.signals {
		s := &st.signals[i]
		st.highest = max(st.highest, s.perFrame)
		if s.format == 0 {
			s.group = -1
			continue
		}
		g, ok := byName[s.file]
		if !ok {
			if s.file != filepath.Base(s.file) || s.file == "." || s.file == ".." || s.file == "-" || strings.ContainsAny(s.file, `/\`) {
				return &FormatError{Path: path, Line: i + 2, Reason: fmt.Sprintf("signal file %q: only files in the header's own folder are read", shorten(s.file))}
			}
			name := filepath.Join(filepath.Dir(path), s.file)
			data, err := openInput(name)
			if errors.Is(err, os.ErrNotExist) {
				if packed, packedErr := openInput(name + ".gz"); !errors.Is(packedErr, os.ErrNotExist) {
					data, err = packed, packedErr
				}
			}
			if err != nil {
				return fmt.Errorf("%w (the header %s names this signal file: put it beside it)", err, path)
			}
			g = len(st.files)
			byName[s.file] = g
			st.files = append(st.files, &recordGroup{in: data, name: name, format: s.format, packed: s.packed, offset: s.offset})
		}
		group := st.files[g]
		if group.format != s.format || group.packed != s.packed || group.offset != s.offset {
			return &FormatError{Path: path, Line: i + 2, Reason: "signals of one file have two formats or offsets"}
		}
		s.group, s.place = g, group.frame
		group.frame += s.perFrame
		group.signals++
		if group.packed && group.frame != group.signals*s.perFrame {
			return &FormatError{Path: path, Line: i + 2, Reason: "signals of one FLAC file have two numbers of samples in a frame"}
		}
	}
	for _, g := range st.files {
		if !g.packed {
			continue
		}
		if err := g.unpackFLAC(); err != nil {
			return err
		}
	}
	return nil
}

// channel describes a signal.
func (s *recordSignal) channel() acquire.Channel {
	c := acquire.Channel{Label: s.label, Unit: s.unit}
	if s.known[2] {
		c.VoltsPerCount = 1 / s.gain
		c.OffsetVolts = (0 - s.baseline) / s.gain // not −0
		inVolts(&c)
	} else {
		c.Unit = ""
	}
	bits := s.rangeBits()
	if s.zero >= -1<<31 && s.zero < 1<<31 {
		// The converter's range lies around its zero.
		c.MinCount, c.MaxCount = clampCount(s.zero-1<<(bits-1)), clampCount(s.zero+1<<(bits-1)-1)
	}
	return c
}

func (st *recordStore) read(counts [][]int32, from int64) (int, error) {
	want := len(counts[0])
	if k := st.n - from; int64(want) > k {
		want = int(max(k, 0))
	}
	per := int64(st.highest)
	const batch = 4096 // frames
	for c := range st.signals {
		if counts[c] == nil {
			continue
		}
		s := &st.signals[c]
		if s.group < 0 {
			fill(counts[c][:want], acquire.MissingCount)
			continue
		}
		g := st.files[s.group]
		done := 0
		for done < want {
			at := from + int64(done)
			frame := at/per + s.skew
			k := min(int64(batch), (int64(want-done)+per-1)/per+1)
			frames := recordFormats[g.format].samples(max(g.in.size-g.offset, 0))/int64(g.frame) - frame
			k = min(k, frames)
			if k <= 0 {
				// A skewed signal ends before the others.
				fill(counts[c][done:want], acquire.MissingCount)
				break
			}
			first := frame * int64(g.frame)
			var values []int32
			var err error
			if g.format == 8 {
				values, err = g.values(s, frame, k)
			} else {
				err = g.load(first, k*int64(g.frame))
			}
			if err != nil {
				return 0, err
			}
			skip := int(at % per)
			for ; done < want; done++ {
				j := skip / st.highest
				if int64(j) >= k {
					break
				}
				sub := skip % st.highest * s.perFrame / st.highest
				if values != nil {
					counts[c][done] = values[j*s.perFrame+sub]
				} else {
					counts[c][done] = g.sample(first, int64(j*g.frame+s.place+sub))
				}
				skip++
			}
		}
	}
	if want < len(counts[0]) {
		return want, io.EOF
	}
	return want, nil
}

func (st *recordStore) Close() error {
	var all error
	for _, g := range st.files {
		all = errors.Join(all, g.in.Close())
	}
	return all
}
