package recording

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"pulsewright/acquire"
)

// MostName is the length of the longest name in a file name, in bytes.
const MostName = 80

// InFileName tells that a sign of a name stays in the name of its file: letters of all scripts (with the two joiners, which
// some need) and digits, space, - _ and .
func InFileName(r rune) bool {
	return r == ' ' || r == '-' || r == '_' || r == '.' || r == '\u200c' || r == '\u200d' || !unsafeRune(r) && isLetter(r)
}

// FileName makes a file name of a start, a name for a person and the channels,
// as FORMAT.md says.
func FileName(started time.Time, name string, channels []acquire.Channel) string {
	var b strings.Builder
	if !started.IsZero() {
		b.WriteString(started.Local().Format("2006-01-02 15.04.05"))
	}
	clean := strings.Map(func(r rune) rune {
		if InFileName(r) {
			return r
		}
		return -1
	}, name)
	clean = strings.Trim(strings.Join(strings.Fields(clean), " "), ". ")
	if len(clean) > MostName {
		clean = strings.TrimSpace(strings.ToValidUTF8(clean[:MostName], ""))
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
	patient, what := "X X X "+word(h.Patient), ownRecording+inventedWord(h.Info.Invented)+word(h.Info.Name)
	if h.kept != nil {
		patient, what = h.kept.fields(patient, what)
		if words := strings.Fields(what); h.Info.Invented && !slices.Contains(words, acquire.InventedTag) {
			what = strings.Join(slices.Insert(words, min(3, len(words)), acquire.InventedTag), " ")
		}
	}
	patient, what = headerText(patient, 80), headerText("Startdate "+long+" "+what, 80)
	if h.kept != nil {
		w.keepsAll(h.kept, patient, what)
	}
	b.WriteString(patient + what)
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
	field(80, func(c *writeChannel) string { return c.transducer }, "")
	field(8, func(c *writeChannel) string { return c.unit }, "")
	field(8, func(c *writeChannel) string { return c.physical[0] }, "-1")
	field(8, func(c *writeChannel) string { return c.physical[1] }, "1")
	field(8, func(c *writeChannel) string { return strconv.FormatInt(c.digitals[0], 10) }, low)
	field(8, func(c *writeChannel) string { return strconv.FormatInt(c.digitals[1], 10) }, high)
	field(80, func(c *writeChannel) string { return c.prefilter }, "")
	field(8, func(c *writeChannel) string { return strconv.Itoa(w.perRecord / c.every) }, strconv.Itoa(w.annBytes/w.bytes))
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
			signals = append(signals, writeChannel{every: c.every, transducer: c.transducer, prefilter: c.prefilter, label: strings.TrimRight(label, " ") + " " + textFine, unit: c.unit, physical: c.finePhysical, digitals: [2]int64{fineMissing, 255}})
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

// isLetter accepts letters of other scripts in file names.
func isLetter(r rune) bool { return unicode.In(r, unicode.L, unicode.M, unicode.Nd) }
