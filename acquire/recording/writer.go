package recording

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unicode"

	"pulsewright/acquire"
)

const (
	formatVersion  = "1"
	maxRecordBytes = 61_440 // of EDF; kept for BDF too
	annotationSize = 256    // bytes per record, rounded up to whole samples
	retimeFirst    = 8      // records before the rate is corrected for the first time
)

// Header says what a recording is of. Only Info.Channels and a rate are needed.
type Header struct {
	// Info gives channels, claimed rate, address and name.
	Info acquire.Info
	// RateHz is the best known rate at the start; 0 takes Info.ClaimedRateHz. It
	// decides how many samples a record holds.
	RateHz float64
	// Started is the time of the first sample; zero is stored as unknown.
	Started time.Time
	// Patient is a code or name for the header's patient field; "" is unknown.
	Patient string
	// Settings are kept as JSON: the signal path and what else the caller wants back.
	Settings any
	// NoSync leaves out forcing each second to the disk, for files made from files.
	NoSync bool

	// Wide tells of channels that state no range that their counts may need more
	// than 24 bits; nil for none. Channels whose stated range needs more are so anyway.
	Wide []bool

	// fit has ranges that the counts are known to keep, for channels that state
	// none.
	fit []acquire.Channel
	// perRecord and annBytes are the samples and the bytes of annotations in a record,
	// when the length of the whole is known; 0 chooses them.
	perRecord, annBytes int
}

// WriteError says which file could not be written, where, why, and what to do.
type WriteError struct {
	Path   string
	Offset int64
	Err    error
}

func (e *WriteError) Error() string {
	remedy := ""
	switch {
	case errors.Is(e.Err, syscall.ENOSPC):
		remedy = "; free some space or record to another disk"
		if e.Offset > 0 {
			remedy += "; what was recorded so far stays readable"
		}
	case errors.Is(e.Err, os.ErrPermission), errors.Is(e.Err, syscall.EROFS):
		remedy = "; choose a folder that you may write to with -data"
	case errors.Is(e.Err, os.ErrExist):
		remedy = "; choose another name, nothing is overwritten"
	case errors.Is(e.Err, os.ErrNotExist):
		remedy = "; is the disk still there? choose a folder that exists with -data"
	case e.Offset > 0:
		remedy = "; what was recorded so far stays readable if the disk is"
	}
	return fmt.Sprintf("recording: %s: byte %d: %v%s", e.Path, e.Offset, e.Err, remedy)
}

func (e *WriteError) Unwrap() error { return e.Err }

// disk is what a Writer needs of a file.
type disk interface {
	io.ReaderAt
	io.WriterAt
	Truncate(int64) error
	Sync() error
	Close() error
}

// Writer writes an EDF+ or BDF+ file record by record. Positions count samples
// from the start of the recording. After an error everything but Close returns
// the same error, and Close leaves what is there readable. Not for concurrent
// use.
type Writer struct {
	// Immutable after Create.
	path        string
	format      string // "EDF" or "BDF"
	bytes       int    // per sample
	channels    []writeChannel
	perRecord   int
	header      int64
	recordBytes int
	annOffset   int
	annBytes    int
	sync        bool
	fitted      bool // the layout was chosen for the whole
	baseRate    float64
	fraction    float64 // of a second, between the header's start and the first sample

	out      disk
	isOurs   func() error // whether path still is the open file
	rate     float64      // as last measured
	printed  string       // record duration as the header has it
	duration float64      // its value, seconds
	records  int64
	start    int64 // position of the first sample in the record being filled
	filled   int   // samples in it
	record   []byte
	queue    []queued
	split    bool
	retimeAt int64
	syncedAt time.Time
	tail     int    // records on disk that end the file as it stood at the last checkpoint
	blank    []byte // a record of missing samples
	scratch  []byte
	err      error
	closed   bool
	warned   []bool
	runs     []int64 // per channel where a run of missing samples began, or −1
}

type writeChannel struct {
	offset   int // bytes from the start of a record
	low      int32
	high     int32 // range of a sample
	missing  int32 // stored for missing
	marked   bool  // missing is no true value
	label    string
	digitals [2]int64
	physical [2]string
	unit     string
	// A wide channel has its counts ÷ 256, rounded down, here and the remainders in a
	// signal of their own, from byte fine of a record on; 0 for none.
	fine         int
	finePhysical [2]string
}

// fineMissing stands beside a missing count ÷ 256.
const fineMissing = -1

// needsFine reports whether a range does not fit in 24 bits.
func needsFine(c acquire.Channel) bool {
	return c.MinCount < c.MaxCount && (c.MinCount < -1<<23 || c.MaxCount > 1<<23-1)
}

type queued struct {
	sample, length int64 // length −1: none
	text           string
}

// Needs24Bits reports whether channels need BDF+: one states no range, or one
// beyond −32,767 … 32,767.
func Needs24Bits(channels []acquire.Channel) bool {
	for _, c := range channels {
		if c.MinCount >= c.MaxCount || c.MinCount < -32767 || c.MaxCount > 32767 {
			return true
		}
	}
	return false
}

// fits16Bits reports whether EDF can hold the channels: each states a range within
// −32,768 … 32,767. One that takes in the lowest has no count left that means missing.
func fits16Bits(channels []acquire.Channel) bool {
	for _, c := range channels {
		if c.MinCount >= c.MaxCount || c.MinCount < -32768 || c.MaxCount > 32767 {
			return false
		}
	}
	return true
}

// FileName makes a file name of a start, a name for a person and the channels,
// as FORMAT.md says.
func FileName(started time.Time, name string, channels []acquire.Channel) string {
	var b strings.Builder
	if !started.IsZero() {
		b.WriteString(started.Local().Format("2006-01-02 15.04.05"))
	}
	clean := strings.Map(func(r rune) rune {
		switch {
		case r == ' ' || r == '-' || r == '_' || r == '.':
			return r
		case '0' <= r && r <= '9' || r >= 0x80 && !unsafeRune(r) && isLetter(r) || 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z':
			return r
		}
		return -1
	}, name)
	clean = strings.Trim(strings.Join(strings.Fields(clean), " "), ". ")
	if len(clean) > 80 {
		clean = strings.TrimSpace(strings.ToValidUTF8(clean[:80], ""))
	}
	if clean != "" {
		if b.Len() > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(clean)
	}
	if b.Len() == 0 {
		b.WriteString("recording")
	}
	if Needs24Bits(channels) {
		return b.String() + ".bdf"
	}
	return b.String() + ".edf"
}

// Create makes the file path, which must not exist, and writes its header. The
// path ends in .edf for 16 bits or .bdf for 24.
func Create(path string, h Header) (*Writer, error) {
	w := &Writer{path: path, sync: !h.NoSync, fitted: h.perRecord > 0, retimeAt: retimeFirst}
	if h.fit == nil {
		h.fit = h.Info.Channels
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".edf":
		w.format, w.bytes = "EDF", 2
		if !fits16Bits(h.fit) {
			return nil, fmt.Errorf("recording: %s: a channel has a range of more than 16 bits or states none: name the file .bdf", path)
		}
	case ".bdf":
		w.format, w.bytes = "BDF", 3
	default:
		return nil, fmt.Errorf("recording: %s: name it .edf or .bdf", path)
	}
	if err := w.plan(h); err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, &WriteError{Path: path, Err: unwrapPath(err)}
	}
	opened, err := file.Stat()
	if err != nil {
		file.Close()
		return nil, &WriteError{Path: path, Err: unwrapPath(err)}
	}
	_ = lockFile(file) // some disks know no locks; Mend then goes by what is written in the file
	w.isOurs = func() error {
		st, err := os.Stat(path)
		if err != nil {
			return unwrapPath(err)
		}
		if !os.SameFile(st, opened) {
			return errors.New("the file was replaced by another while recording")
		}
		return nil
	}
	if err := w.begin(file, h); err != nil {
		file.Close()
		os.Remove(path)
		return nil, err
	}
	return w, nil
}

// unwrapPath takes off the path that WriteError names itself.
func unwrapPath(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// plan decides layout and scales.
func (w *Writer) plan(h Header) error {
	n := len(h.Info.Channels)
	if n == 0 || n > maxChannels-1 {
		return fmt.Errorf("recording: %s: %d channels; 1 to %d can be recorded", w.path, n, maxChannels-1)
	}
	w.rate = h.RateHz
	if w.rate == 0 {
		w.rate = h.Info.ClaimedRateHz
	}
	if !(w.rate >= 1e-4) || w.rate > 1e7 {
		return fmt.Errorf("recording: %s: rate %g Hz: 0.0001 Hz to 10 MHz can be recorded; measure the rate before recording", w.path, w.rate)
	}
	w.baseRate = w.rate
	w.annBytes = (max(annotationSize, h.annBytes) + w.bytes - 1) / w.bytes * w.bytes
	wide := make([]bool, n)
	signals := n
	for i, c := range h.fit {
		wide[i] = w.bytes == 3 && (needsFine(c) || i < len(h.Wide) && h.Wide[i] && c.MinCount >= c.MaxCount)
		if wide[i] {
			signals++
		}
	}
	if signals > maxChannels-1 {
		return fmt.Errorf("recording: %s: %d channels, some of more than 24 bits, need %d signals; at most %d can be recorded", w.path, n, signals, maxChannels-1)
	}
	w.perRecord = recordLength(w.rate, signals*w.bytes, maxRecordBytes-w.annBytes)
	if h.perRecord > 0 {
		w.perRecord = h.perRecord
	}
	w.printed = fixed8(float64(w.perRecord)/w.rate, 8)
	w.duration, _ = strconv.ParseFloat(w.printed, 64)
	w.header = int64(256 * (signals + 2))
	low, high := int64(-1)<<(8*w.bytes-1), int64(1)<<(8*w.bytes-1)-1
	at := n * w.perRecord * w.bytes
	for i, c := range h.fit {
		wc := writeChannel{offset: i * w.perRecord * w.bytes, low: int32(low), high: int32(high), label: c.Label}
		if wide[i] {
			wc.widen(c, low, high)
			wc.fine = at
			at += w.perRecord * w.bytes
			w.channels = append(w.channels, wc)
			continue
		}
		wc.marked = !(c.MinCount < c.MaxCount && int64(c.MinCount) <= low)
		wc.limits(c, low, high)
		wc.missing = int32(low)
		if wc.marked {
			wc.missing = int32(wc.digitals[0])
		}
		w.channels = append(w.channels, wc)
	}
	w.annOffset = at
	w.recordBytes = w.annOffset + w.annBytes
	w.record = make([]byte, w.recordBytes)
	w.warned = make([]bool, n)
	w.runs = make([]int64, n)
	for i := range w.runs {
		w.runs[i] = -1
	}
	return nil
}

// widen plans the two signals of a wide channel: both in the unit that suits counts ÷ 256.
func (wc *writeChannel) widen(c acquire.Channel, low, high int64) {
	step := c.VoltsPerCount
	if !c.Scaled() {
		step = math.Pow10(-c.Digits)
	}
	coarse := c
	coarse.VoltsPerCount, coarse.MinCount, coarse.MaxCount = 256*step, 0, 0
	wc.marked = true
	wc.limits(coarse, low, high)
	times := 1.0
	if c.Unit == "V" {
		times = map[string]float64{"V": 1, "mV": 1e3, "uV": 1e6}[wc.unit]
	}
	of := func(offset float64, count int64) string { return fixed8(times*(offset+step*float64(count)), 8) }
	wc.digitals, wc.physical = [2]int64{low, high}, [2]string{of(c.OffsetVolts, 256*low), of(c.OffsetVolts, 256*high)}
	wc.low, wc.high, wc.missing = math.MinInt32+1, math.MaxInt32, int32(low)
	if wc.finePhysical = [2]string{of(0, fineMissing), of(0, 255)}; wc.finePhysical[0] == wc.finePhysical[1] {
		wc.finePhysical = [2]string{"-1", "255"} // too small to print
	}
}

// recordLength is how many samples a record holds: one second if that fits in
// limit bytes, else the longest fraction 1/k of one that gives whole samples and
// an exact duration, else the longest.
func recordLength(rateHz float64, bytesPerPosition, limit int) int {
	most := max(limit/bytesPerPosition, 1)
	k := max(1, int(math.Ceil(math.Round(rateHz)/float64(most))))
	if rateHz != math.Trunc(rateHz) {
		return min(max(int(math.Round(rateHz/float64(k))), 1), most)
	}
	for j := k; j < 8*k; j++ {
		n := int(rateHz) / j
		if n*j == int(rateHz) && isExact8(1/float64(j)) {
			return n
		}
	}
	return min(max(int(rateHz)/k, 1), most)
}

// fixed8 prints x in at most width characters with as many decimals as fit.
func fixed8(x float64, width int) string {
	for d := 7; d >= 0; d-- {
		s := strconv.FormatFloat(x, 'f', d, 64)
		if strings.Contains(s, ".") {
			s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
		}
		if s == "-0" {
			s = "0"
		}
		if len(s) <= width {
			return s
		}
	}
	s := strconv.FormatFloat(x, 'g', 3, 64)
	return s[:min(len(s), width)]
}

func isExact8(x float64) bool {
	y, err := strconv.ParseFloat(fixed8(x, 8), 64)
	return err == nil && math.Abs(y-x) <= 1e-13*math.Abs(x)
}

// limits chooses digital and physical limits of a channel so that they give its
// scale back.
func (wc *writeChannel) limits(c acquire.Channel, low, high int64) {
	wc.digitals = [2]int64{low, high}
	if !c.Scaled() {
		k := math.Pow10(-c.Digits)
		wc.physical = [2]string{fixed8(float64(low)*k, 8), fixed8(float64(high)*k, 8)}
		if k != 1 {
			// Symmetric limits print shorter.
			if d := int64(math.Pow10(len(strconv.FormatInt(high, 10)) - 1)); c.MinCount > -int32(d) && c.MaxCount < int32(d) && c.MinCount < c.MaxCount {
				wc.digitals = [2]int64{-d, d}
				wc.physical = [2]string{fixed8(-float64(d)*k, 8), fixed8(float64(d)*k, 8)}
			}
		}
		return
	}
	units := []struct {
		name  string
		times float64
	}{{"V", 1}, {"mV", 1e3}, {"uV", 1e6}}
	if c.Unit != "V" {
		units = units[:1]
		units[0].name = c.Unit
	}
	need := int64(1) // the least symmetric limit
	if c.MinCount < c.MaxCount {
		need = max(int64(c.MaxCount), 1-int64(c.MinCount))
	}
	top := high
	least := max(need, top/2)
	if !wc.marked || need > top {
		least = top + 1 // nothing to choose but the unit
	}
	best := math.Inf(1)
	for _, u := range units {
		s, o := c.VoltsPerCount*u.times, c.OffsetVolts*u.times
		for d := top; d >= least; d-- {
			if plain8(o-s*float64(d)) && plain8(o+s*float64(d)) {
				lo, hi := fixed8(o-s*float64(d), 8), fixed8(o+s*float64(d), 8)
				if lo != hi {
					wc.digitals, wc.physical, wc.unit = [2]int64{-d, d}, [2]string{lo, hi}, u.name
					return
				}
			}
		}
		lo, hi := fixed8(o+s*float64(low), 8), fixed8(o+s*float64(high), 8)
		a, _ := strconv.ParseFloat(lo, 64)
		b, _ := strconv.ParseFloat(hi, 64)
		if e := math.Abs((b-a)/float64(high-low)/s - 1); e < best && lo != hi {
			best, wc.physical, wc.unit = e, [2]string{lo, hi}, u.name
		}
	}
	if math.IsInf(best, 1) { // no unit prints it
		wc.physical, wc.unit = [2]string{strconv.FormatInt(low, 10), strconv.FormatInt(high, 10)}, ""
	}
}

// plain8 reports whether 8 characters print x exactly, cheaply.
func plain8(x float64) bool {
	room := 8
	if x < 0 {
		room--
		x = -x
	}
	if x >= 1e7 {
		return false
	}
	whole := 1
	for p := 10.0; x >= p; p *= 10 {
		whole++
	}
	decimals := room - whole - 1
	if decimals < 0 {
		decimals = 0
	}
	y := x
	for ; decimals > 0; decimals-- {
		y *= 10
	}
	return math.Abs(y-math.Round(y)) <= 1e-13*max(y, 1) && y >= 1
}

// headerText pads ASCII to a field.
func headerText(s string, width int) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == 'µ' || r == 'μ':
			return 'u'
		case r < ' ' || r > '~':
			return '_'
		}
		return r
	}, s)
	if len(s) > width {
		s = s[:width]
	}
	return s + strings.Repeat(" ", width-len(s))
}

// word makes a header subfield: no spaces, X when empty.
func word(s string) string {
	if s = strings.Join(strings.Fields(s), "_"); s == "" {
		return "X"
	}
	return s
}

// inventedWord is the tag as a header subfield of its own, in front of what may be cut.
func inventedWord(invented bool) string {
	if invented {
		return acquire.InventedTag + " "
	}
	return ""
}

func (w *Writer) begin(out disk, h Header) error {
	w.out = out
	date, clock, long := "01.01.85", "00.00.00", "X"
	if !h.Started.IsZero() {
		t := h.Started.Local()
		date, clock = t.Format("02.01.06"), t.Format("15.04.05")
		w.fraction = math.Floor(float64(t.Nanosecond())/100) / 1e7
		if t.Year() < 1985 || t.Year() > 2084 {
			date = t.Format("02.01.") + "yy"
		}
		long = strings.ToUpper(t.Format("02-Jan-2006"))
	}
	version := edfMagic
	if w.format == "BDF" {
		version = bdfMagic
	}
	signals, reserved := w.signals()
	var b strings.Builder
	b.WriteString(version)
	b.WriteString(headerText("X X X "+word(h.Patient), 80))
	b.WriteString(headerText("Startdate "+long+" X X Pulsewright "+inventedWord(h.Info.Invented)+word(h.Info.Name), 80))
	b.WriteString(date + clock)
	b.WriteString(headerText(strconv.FormatInt(w.header, 10), 8))
	b.WriteString(headerText(w.format+"+C", 44))
	b.WriteString(headerText("-1", 8))
	b.WriteString(headerText(w.printed, 8))
	b.WriteString(headerText(strconv.Itoa(len(signals)+1), 4))
	field := func(width int, of func(c *writeChannel) string, annotations string) {
		for i := range signals {
			b.WriteString(headerText(of(&signals[i]), width))
		}
		b.WriteString(headerText(annotations, width))
	}
	low, high := strconv.Itoa(-1<<(8*w.bytes-1)), strconv.Itoa(1<<(8*w.bytes-1)-1)
	field(16, func(c *writeChannel) string { return c.label }, w.format+" Annotations")
	field(80, func(*writeChannel) string { return "" }, "")
	field(8, func(c *writeChannel) string { return c.unit }, "")
	field(8, func(c *writeChannel) string { return c.physical[0] }, "-1")
	field(8, func(c *writeChannel) string { return c.physical[1] }, "1")
	field(8, func(c *writeChannel) string { return strconv.FormatInt(c.digitals[0], 10) }, low)
	field(8, func(c *writeChannel) string { return strconv.FormatInt(c.digitals[1], 10) }, high)
	field(80, func(*writeChannel) string { return "" }, "")
	field(8, func(*writeChannel) string { return strconv.Itoa(w.perRecord) }, strconv.Itoa(w.annBytes/w.bytes))
	for _, text := range reserved {
		b.WriteString(headerText(text, 32))
	}
	b.WriteString(headerText("", 32))
	text, err := w.settings(h)
	if err != nil {
		return fmt.Errorf("recording: %s: settings: %w", w.path, err)
	}
	w.note(0, -1, textSettings+string(text))
	w.blank = make([]byte, w.recordBytes)
	w.blankRecord(w.blank)
	data, k := w.appendTail([]byte(b.String()))
	if _, err := w.out.WriteAt(data, 0); err != nil {
		return &WriteError{Path: w.path, Err: unwrapPath(err)}
	}
	w.tail = k
	return nil
}

// signals are those of the file and what stands in their reserved fields: the channels, then
// the fine parts of those that have one.
func (w *Writer) signals() (signals []writeChannel, reserved []string) {
	signals = append(signals, w.channels...)
	for _, c := range w.channels {
		text := textMissing + " " + strconv.Itoa(int(c.missing))
		if !c.marked {
			text = textMissing + " annotated"
		}
		reserved = append(reserved, text)
	}
	for i, c := range w.channels {
		if c.fine > 0 {
			label := headerText(c.label, 16-len(textFine)-1)
			signals = append(signals, writeChannel{label: strings.TrimRight(label, " ") + " " + textFine, unit: c.unit, physical: c.finePhysical, digitals: [2]int64{fineMissing, 255}})
			reserved = append(reserved, fmt.Sprintf("%s @%d", textFine, i+1))
		}
	}
	return signals, reserved
}

// settings are what the first annotation carries, as JSON.
func (w *Writer) settings(h Header) ([]byte, error) {
	m := settings{Program: formatVersion, Started: h.Started, RateHz: w.rate, Source: sourceText(h.Info.Address), Invented: h.Info.Invented}
	for _, c := range h.Info.Channels {
		m.Channels = append(m.Channels, settingsOf(c))
	}
	if h.Settings != nil {
		other, err := json.Marshal(h.Settings)
		if err != nil {
			return nil, err
		}
		m.Other = other
	}
	return json.Marshal(m)
}

// sourceText is an address without where on this computer a file lies: a recording
// is handed on.
func sourceText(address string) string {
	scheme, rest, ok := strings.Cut(address, ":")
	if !ok || strings.HasPrefix(rest, "//") || strings.HasPrefix(rest, "/dev/") {
		return address
	}
	path, options, _ := strings.Cut(rest, "?")
	if i := strings.LastIndexAny(path, `/\`); i >= 0 {
		address = scheme + ":" + path[i+1:]
		if options != "" {
			address += "?" + options
		}
	}
	return address
}

// Path is the file's name.
func (w *Writer) Path() string { return w.path }

// Len is how many samples were written so far, gaps included.
func (w *Writer) Len() int64 { return w.start + int64(w.filled) }

// Bytes is the size of the file so far.
func (w *Writer) Bytes() int64 { return w.header + w.records*int64(w.recordBytes) }

// Err is the error that ended the writing, or nil.
func (w *Writer) Err() error { return w.err }

// usable returns why nothing can be written any more.
func (w *Writer) usable() error {
	if w.err == nil && w.closed {
		return &WriteError{Path: w.path, Offset: w.Bytes(), Err: os.ErrClosed}
	}
	return w.err
}

// fail keeps the first error.
func (w *Writer) fail(err error) error {
	if w.err == nil {
		w.err = &WriteError{Path: w.path, Offset: w.Bytes(), Err: unwrapPath(err)}
	}
	return w.err
}

// Write appends samples, [channel][sample], of which the first has position
// first. A position beyond Len is a gap and is marked so; one before it is
// refused. acquire.MissingCount is stored as missing.
func (w *Writer) Write(counts [][]int32, first int64) error {
	if err := w.usable(); err != nil {
		return err
	}
	if len(counts) != len(w.channels) {
		return fmt.Errorf("recording: %s: a block of %d channels, the file has %d: close it and begin another", w.path, len(counts), len(w.channels))
	}
	n := len(counts[0])
	for _, row := range counts {
		if len(row) != n {
			return fmt.Errorf("recording: %s: channels of %d and %d samples in one block", w.path, n, len(row))
		}
	}
	if lost := first - w.Len(); lost < 0 {
		return fmt.Errorf("recording: %s: sample %d comes after sample %d was written", w.path, first, w.Len()-1)
	} else if lost > 0 {
		if err := w.Gap(w.Len(), lost, ""); err != nil {
			return err
		}
	}
	for done := 0; done < n; {
		k := min(n-done, w.perRecord-w.filled)
		for c := range w.channels {
			w.encode(c, counts[c][done:done+k])
		}
		w.filled += k
		done += k
		if w.filled == w.perRecord {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return w.settle()
}

// encode puts samples of channel c into the record.
func (w *Writer) encode(c int, row []int32) {
	wc := &w.channels[c]
	b := w.record[wc.offset+w.filled*w.bytes:]
	at := w.Len()
	for i, v := range row {
		gone := v == acquire.MissingCount
		if !gone && (v < wc.low || v > wc.high || wc.marked && wc.fine == 0 && v == wc.missing) {
			gone = true
			if !w.warned[c] {
				w.warned[c] = true
				w.note(at+int64(i), -1, fmt.Sprintf("%s: count %d does not fit in the file and is stored as missing, as others like it", wc.label, v))
			}
		}
		fine := v & 255
		if wc.fine > 0 {
			v >>= 8
		}
		if gone {
			v, fine = wc.missing, fineMissing
			if w.runs[c] < 0 {
				w.runs[c] = at + int64(i)
			}
		} else if w.runs[c] >= 0 {
			w.endRun(c, at+int64(i))
		}
		if wc.fine > 0 {
			f := w.record[wc.fine+(w.filled+i)*w.bytes:]
			f[0], f[1], f[2] = byte(fine), byte(fine>>8), byte(fine>>16)
		}
		if w.bytes == 2 {
			b[0], b[1] = byte(v), byte(v>>8)
			b = b[2:]
		} else {
			b[0], b[1], b[2] = byte(v), byte(v>>8), byte(v>>16)
			b = b[3:]
		}
	}
}

// endRun notes a run of missing samples of one channel: always when nothing else
// tells, else if it is worth a person's notice, a tenth of a record.
func (w *Writer) endRun(c int, end int64) {
	if n := end - w.runs[c]; w.tellsRun(c, n) {
		w.note(w.runs[c], n, missingText(c))
	}
	w.runs[c] = -1
}

func (w *Writer) tellsRun(c int, n int64) bool {
	return n > 0 && (!w.channels[c].marked || n >= max(int64(w.perRecord)/10, 2))
}

// missingSamples appends k missing samples on all channels, without notes.
func (w *Writer) missingSamples(k int) {
	w.pad(w.filled, w.filled+k)
	w.filled += k
}

// pad fills samples from … to of the record with what means missing.
func (w *Writer) pad(from, to int) {
	part := func(offset int) {
		copy(w.record[offset+from*w.bytes:offset+to*w.bytes], w.blank[offset+from*w.bytes:])
	}
	for c := range w.channels {
		part(w.channels[c].offset)
		if fine := w.channels[c].fine; fine > 0 {
			part(fine)
		}
	}
}

// blankRecord fills a record with missing samples.
func (w *Writer) blankRecord(record []byte) {
	for c := range w.channels {
		wc := &w.channels[c]
		for i := range w.perRecord {
			for j := range w.bytes {
				record[wc.offset+i*w.bytes+j] = byte(wc.missing >> (8 * j))
				if wc.fine > 0 {
					record[wc.fine+i*w.bytes+j] = 0xff // fineMissing
				}
			}
		}
	}
}

// Gap marks samples as never recorded, from Len on, which first must be. reason
// is for a person and may be empty.
func (w *Writer) Gap(first, samples int64, reason string) error {
	if err := w.usable(); err != nil {
		return err
	}
	if first != w.Len() || samples < 0 || first+samples > maxLen {
		return fmt.Errorf("recording: %s: a gap of %d samples at %d, but the recording stands at %d", w.path, samples, first, w.Len())
	}
	if samples == 0 {
		return nil
	}
	for c := range w.runs {
		if w.runs[c] >= 0 {
			w.endRun(c, first)
		}
	}
	text := textGap
	if reason = cleanText(reason); reason != "" {
		text += ": " + reason
	}
	w.note(first, samples, text)
	if !w.allMarked() {
		w.note(first, samples, missingText(-1))
	}
	if w.filled > 0 || w.records == 0 {
		k := int(min(samples, int64(w.perRecord-w.filled)))
		w.missingSamples(k)
		samples -= int64(k)
		if w.filled == w.perRecord {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	w.start += samples
	return w.settle()
}

func (w *Writer) allMarked() bool {
	for i := range w.channels {
		if !w.channels[i].marked {
			return false
		}
	}
	return true
}

// Annotate adds a text at a position, lasting durationSamples, or 0. The position
// may be before or after Len; before 0 counts as 0, and a beat before 0 is left out.
// The text is made safe and may be of any length.
func (w *Writer) Annotate(sample, durationSamples int64, text string) error {
	if err := w.usable(); err != nil {
		return err
	}
	if text = cleanText(text); text == "" {
		return nil
	}
	if durationSamples <= 0 {
		durationSamples = -1
	}
	if sample < 0 {
		if _, _, _, beat := ParseBeat(text); beat {
			return nil // one before the recording began
		}
		sample = 0
	}
	w.note(sample, durationSamples, text)
	return w.settle()
}

// note queues an annotation.
func (w *Writer) note(sample, length int64, text string) {
	for _, piece := range splitText(text, w.annBytes-80) {
		w.queue = append(w.queue, queued{sample, length, piece})
	}
}

// seconds prints a position as an onset.
func (w *Writer) seconds(sample int64) string {
	return "+" + strconv.FormatFloat(w.fraction+float64(sample)*w.duration/float64(w.perRecord), 'f', 7, 64)
}

func (w *Writer) tal(q queued) string {
	s := w.seconds(q.sample)
	if q.length >= 0 {
		s += "\x15" + strconv.FormatFloat(float64(q.length)*w.duration/float64(w.perRecord), 'f', 6, 64)
	}
	return s + "\x14" + q.text + "\x14\x00"
}

// talGrowth is what onset and duration may grow by when the rate is corrected.
const talGrowth = 2

// block fills the annotation signal of a record that begins at start: the time stamp,
// then of queue what fits, then end if all of both fits. It returns what did not fit.
func (w *Writer) block(record []byte, start int64, queue, end []queued) (rest []queued, ended bool) {
	b := record[w.annOffset:]
	clear(b)
	at := copy(b, w.seconds(start)+"\x14\x14\x00") + talGrowth
	text := b[:at-talGrowth]
	put := func(q queued) bool {
		s := w.tal(q)
		if at+len(s)+talGrowth > len(b) {
			return false
		}
		text = append(text, s...)
		at += len(s) + talGrowth
		return true
	}
	for len(queue) > 0 && put(queue[0]) {
		queue = queue[1:]
	}
	if len(queue) > 0 || len(end) == 0 {
		return queue, false
	}
	room := at
	for _, q := range end {
		room += len(w.tal(q)) + talGrowth
	}
	if room > len(b) {
		return nil, false
	}
	for _, q := range end {
		put(q)
	}
	return nil, true
}

// appendTail appends to dst the records that end the file as it stands: the one being
// filled, its rest missing, and as many of nothing but annotations as wait. The last has the
// end mark. None are needed when all is in whole records.
func (w *Writer) appendTail(dst []byte) ([]byte, int) {
	if w.filled == 0 && len(w.queue) == 0 && w.records > 0 {
		return dst, 0
	}
	end := w.Len()
	queue := slices.Clone(w.queue)
	for c, first := range w.runs {
		if n := end - first; first >= 0 && w.tellsRun(c, n) {
			queue = append(queue, queued{first, n, missingText(c)})
		}
	}
	marks := []queued{{end, -1, rateText(w.rate)}, {end, -1, textEnd}}
	w.pad(w.filled, w.perRecord)
	record, ended := w.record, false
	for k := int64(0); ; k++ {
		queue, ended = w.block(record, w.start+k*int64(w.perRecord), queue, marks)
		dst = append(dst, record...)
		if ended {
			return dst, int(k) + 1
		}
		record = w.blank
	}
}

// flush writes the full record.
func (w *Writer) flush() error {
	for c := range w.runs {
		if w.runs[c] >= 0 && !w.channels[c].marked {
			// Its note belongs in the record it is about.
			w.endRun(c, w.Len())
			w.runs[c] = w.Len()
		}
	}
	rest, _ := w.block(w.record, w.start, w.queue, nil)
	w.queue = w.queue[:copy(w.queue, rest)]
	if err := w.tellSplit(); err != nil {
		return err
	}
	// One write for the record and, when annotations wait, for what ends the file
	// after it: what was on the disk before never is out of reach.
	at, before := w.Bytes(), w.tail
	w.scratch = append(w.scratch[:0], w.record...)
	w.records++
	w.start += int64(w.perRecord)
	w.filled = 0
	k := 0
	if before > 1 {
		w.scratch, k = w.appendTail(w.scratch)
	}
	if _, err := w.out.WriteAt(w.scratch, at); err != nil {
		w.records--
		w.start -= int64(w.perRecord)
		return w.fail(err)
	}
	if err := w.shrink(before-1, k); err != nil {
		return err
	}
	if w.records >= w.retimeAt {
		w.retimeAt = 2 * w.records
		return w.retime()
	}
	return nil
}

// shrink cuts off what stood behind the tail of now records when before records were
// there.
func (w *Writer) shrink(before, now int) error {
	w.tail = now
	if now >= before {
		return nil
	}
	if err := w.out.Truncate(w.Bytes() + int64(now)*int64(w.recordBytes)); err != nil {
		return w.fail(err)
	}
	return nil
}

// tellSplit says in the header that there are gaps between records, before the first
// that follows one is written.
func (w *Writer) tellSplit() error {
	if w.split || w.start == w.records*int64(w.perRecord) {
		return nil
	}
	w.split = true
	return w.patch(192, headerText(w.format+"+D", 44))
}

// checkpoint writes what is not in whole records yet, so that the file is as if it
// were closed now, but for its count of records.
func (w *Writer) checkpoint() error {
	data, k := w.appendTail(w.scratch[:0])
	w.scratch = data[:0]
	if k == 0 {
		return nil
	}
	if err := w.tellSplit(); err != nil {
		return err
	}
	if _, err := w.out.WriteAt(data, w.Bytes()); err != nil {
		return w.fail(err)
	}
	return w.shrink(w.tail, k)
}

// settleEvery is how often what came is forced to the disk.
const settleEvery = 500 * time.Millisecond

// settle brings to the disk what came, twice a second.
func (w *Writer) settle() error {
	if !w.sync || time.Since(w.syncedAt) < settleEvery {
		return nil
	}
	return w.Sync()
}

// Sync brings everything that came to the disk, samples of an unfinished record and
// annotations too, and looks whether the file is still where it was made. A Writer that
// syncs does it by itself twice a second, as long as something comes.
func (w *Writer) Sync() error {
	if err := w.usable(); err != nil {
		return err
	}
	w.syncedAt = time.Now()
	if err := w.checkpoint(); err != nil {
		return err
	}
	if err := w.isOurs(); err != nil {
		return w.fail(err)
	}
	if err := w.out.Sync(); err != nil {
		return w.fail(err)
	}
	return nil
}

// patch overwrites a header field.
func (w *Writer) patch(offset int64, text string) error {
	if _, err := w.out.WriteAt([]byte(text), offset); err != nil {
		return w.fail(err)
	}
	return nil
}

// SetRate tells the rate as measured now, for the whole recording. It must lie
// within a factor of 5 of the rate at the start. The file follows at the next
// correction, see FORMAT.md, and at Close.
func (w *Writer) SetRate(rateHz float64) error {
	if err := w.usable(); err != nil {
		return err
	}
	if !(rateHz >= w.baseRate/5) || rateHz > w.baseRate*5 {
		return fmt.Errorf("recording: %s: rate %.5g Hz is not within a factor of 5 of %.5g Hz, at which it began: close it and begin another", w.path, rateHz, w.baseRate)
	}
	w.rate = rateHz
	return nil
}

// retime rewrites the record duration and all times for the rate now known.
func (w *Writer) retime() error {
	printed := fixed8(float64(w.perRecord)/w.rate, 8)
	if printed == w.printed {
		return nil
	}
	old := w.duration
	w.printed = printed
	w.duration, _ = strconv.ParseFloat(printed, 64)
	kind := w.format + "+C"
	if w.split {
		kind = w.format + "+D"
	}
	mark := func(index, position int64) error {
		return w.patch(192, headerText(kind+" "+retiming{old, w.duration, index, position}.String(), 44))
	}
	if err := mark(0, 0); err != nil {
		return err
	}
	if err := w.patch(244, headerText(printed, 8)); err != nil {
		return err
	}
	perSecond := float64(w.perRecord) / old
	b := make([]byte, w.annBytes)
	next := int64(0)
	for r := range w.records {
		offset := w.header + r*int64(w.recordBytes) + int64(w.annOffset)
		if _, err := w.out.ReadAt(b, offset); err != nil {
			return w.fail(err)
		}
		list := parseTALs(nil, b)
		if len(list) == 0 {
			return w.fail(fmt.Errorf("record %d says no time any more", r))
		}
		at := int64(math.Round((list[0].onset - w.fraction) * perSecond))
		if at != next {
			// After a gap the reader cannot tell the two durations apart.
			if err := mark(r, at); err != nil {
				return err
			}
		}
		next = at + int64(w.perRecord)
		text := make([]byte, 0, 2*w.annBytes)
		for i, t := range list {
			q := queued{int64(math.Round((t.onset - w.fraction) * perSecond)), -1, ""}
			if t.duration > 0 {
				q.length = int64(math.Round(t.duration * perSecond))
			}
			if i == 0 {
				text = append(text, w.seconds(q.sample)+"\x14\x14\x00"...)
				continue
			}
			for _, s := range t.texts {
				q.text = s
				text = append(text, w.tal(q)...)
			}
		}
		if len(text) > len(b) {
			return w.fail(fmt.Errorf("the annotations of record %d take %d bytes, room is for %d", r, len(text), len(b)))
		}
		clear(b)
		copy(b, text)
		if _, err := w.out.WriteAt(b, offset); err != nil {
			return w.fail(err)
		}
	}
	if err := w.patch(192, headerText(kind, 44)); err != nil {
		return err
	}
	if w.tail > 0 {
		return w.checkpoint()
	}
	return nil
}

// Close ends the recording: the last record is filled with missing samples, the
// true end and the exact rate are noted, waiting annotations are written, the
// header gets its final count. After an earlier error it makes what is there
// readable and returns that error. It may be called twice.
func (w *Writer) Close() error {
	if w.closed {
		return nil
	}
	w.closed = true
	end := w.Len()
	if w.err == nil {
		for c := range w.runs {
			if w.runs[c] >= 0 {
				w.endRun(c, end)
			}
		}
		if err := w.finish(end); err == nil {
			w.retime()
		}
	}
	if w.err != nil {
		// Half a record may be there.
		w.out.Truncate(w.Bytes())
	}
	_, err := w.out.WriteAt([]byte(headerText(strconv.FormatInt(w.records, 10), 8)), 236)
	if err != nil {
		w.fail(err)
	} else if w.sync && w.err == nil {
		if err := w.isOurs(); err != nil {
			w.fail(err)
		} else if err := w.out.Sync(); err != nil {
			w.fail(err)
		}
	}
	if err := w.out.Close(); err != nil {
		w.fail(err)
	}
	if w.err == nil && !w.fitted {
		_ = fitLayout(w.path) // as it is, it is valid too
	}
	return w.err
}

// finish writes the last records.
func (w *Writer) finish(end int64) error {
	if w.filled == 0 && len(w.queue) == 0 && w.records > 0 {
		if done, err := w.markLast(end); done || err != nil {
			return err
		}
		w.note(end, -1, rateText(w.rate)) // in a record of its own
	}
	if err := w.checkpoint(); err != nil {
		return err
	}
	w.records += int64(w.tail)
	w.start += int64(w.tail) * int64(w.perRecord)
	w.filled, w.queue, w.tail = 0, nil, 0
	return nil
}

// markLast puts the end mark into the last whole record if there is room.
func (w *Writer) markLast(end int64) (done bool, err error) {
	tail := []queued{{end, -1, rateText(w.rate)}, {end, -1, textEnd}}
	keep := 0
	for _, q := range tail {
		keep += len(w.tal(q)) + talGrowth
	}
	b := make([]byte, w.annBytes)
	offset := w.Bytes() - int64(w.annBytes)
	if _, err := w.out.ReadAt(b, offset); err != nil {
		return false, w.fail(err)
	}
	used := len(b)
	for used > 0 && b[used-1] == 0 {
		used--
	}
	used++ // its last 0
	growth := talGrowth * (1 + strings.Count(string(b), "\x14\x00"))
	if used+growth+keep > len(b) {
		return false, nil
	}
	for _, q := range tail {
		used += copy(b[used:], w.tal(q))
	}
	if _, err := w.out.WriteAt(b, offset); err != nil {
		return false, w.fail(err)
	}
	return true, nil
}

// isLetter accepts letters of other scripts in file names.
func isLetter(r rune) bool { return unicode.In(r, unicode.L, unicode.M, unicode.Nd) }
