package recording

import (
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"pulsewright/acquire"
)

// Texts of annotations with a meaning of their own; FORMAT.md lists them.
const (
	textEnd      = "Recording ends" // from the EDF+ list of standard texts
	textSettings = "settings "      // settings K/N JSON…
	textCarried  = "carried "       // carried JSON, of a CSV file in units: Header.Settings
	textEnds     = "ends "          // ends [[LOW,HIGH],null…], of a CSV file in units: what each converter can give
	textRate     = "rate "          // rate 249.3712 Hz
	textMissing  = "missing"        // missing, or missing @N for channel N from 1
	textFine     = "fine"           // of a signal: the remainders of channel N from 1, fine @N
	textGap      = "gap"            // gap, or gap: reason
	textEngine   = "engine "        // engine {…}: see server/channel.Event
	textBeat     = "beat "          // beat KIND QUALITY, or beat KIND QUALITY @N for channel N from 1
)

// BeatText is the annotation of a beat: "beat ecg 0.97", or "beat ecg 0.97 @2" on
// channel 1; quality is 0 to 1, channel counts from 0, −1 leaves it out.
func BeatText(kind string, quality float64, channel int) string {
	text := textBeat + kind + " " + strconv.FormatFloat(quality, 'f', 2, 64)
	if channel >= 0 {
		text += " @" + strconv.Itoa(channel+1)
	}
	return text
}

// ParseBeat reads a BeatText; channel is −1 when it names none.
func ParseBeat(text string) (kind string, quality float64, channel int, ok bool) {
	rest, ok := strings.CutPrefix(text, textBeat)
	if !ok {
		return "", 0, -1, false
	}
	kind, rest, ok = strings.Cut(rest, " ")
	if !ok || kind != acquire.KindECG && kind != acquire.KindPulse {
		return "", 0, -1, false
	}
	channel = -1
	q, at, named := strings.Cut(rest, " @")
	if named {
		n, err := strconv.Atoi(at)
		if err != nil || n < 1 {
			return "", 0, -1, false
		}
		channel = n - 1
	}
	quality, err := strconv.ParseFloat(q, 64)
	return kind, quality, channel, err == nil && quality >= 0 && quality <= 1
}

// IsEngine reports whether an annotation tells what happened to a channel's engine; see
// FORMAT.md. It matters to all that comes after it.
func IsEngine(text string) bool { return strings.HasPrefix(text, textEngine+"{") }

// IsNote reports whether an annotation's text is for a person: no beat, found or annotated, no
// settings, no rate, no mark of missing samples or of the end.
func IsNote(text string) bool {
	if k, _, rest, ok := parsePiece(text); ok && strings.HasPrefix(rest, textSettings+"{") {
		return false // of a file cut short
	} else if ok && k == 1 && IsEngine(rest) {
		return false
	}
	if text == textEnd || IsEngine(text) || strings.HasPrefix(text, textSettings+"{") || isGap(text) {
		return false
	}
	if _, _, _, ok := ParseBeat(text); ok {
		return false
	}
	if _, ok := parseAnnotated(text); ok {
		return false
	}
	if _, _, ok := ParseEdit(Annotation{Sample: maxLen, Text: text}); ok {
		return false
	}
	if _, ok := parseMissing(text); ok {
		return false
	}
	if _, ok := parseRate(text); ok {
		return false
	}
	return true
}

func missingText(channel int) string {
	if channel < 0 {
		return textMissing
	}
	return fmt.Sprintf("%s @%d", textMissing, channel+1)
}

// parseMissing tells which channel an annotation says is missing, −1 for all.
func parseMissing(text string) (channel int, ok bool) {
	rest, ok := strings.CutPrefix(text, textMissing)
	if !ok {
		return 0, false
	}
	if rest == "" {
		return -1, true
	}
	n, err := strconv.Atoi(strings.TrimPrefix(rest, " @"))
	return n - 1, strings.HasPrefix(rest, " @") && err == nil && n > 0
}

// PlainNote is a note that somebody wrote, told apart from the program's own annotations where it reads as one.
func PlainNote(text string) string {
	_, _, edited := ParseEdit(Annotation{Text: text})
	if !IsNote(text) || madeByWriter(text) || edited {
		return "note: " + text
	}
	return text
}

func isGap(text string) bool { return text == textGap || strings.HasPrefix(text, textGap+": ") }

func rateText(rateHz float64) string {
	return textRate + strconv.FormatFloat(rateHz, 'g', 12, 64) + " Hz"
}

func parseRate(text string) (float64, bool) {
	s, ok := strings.CutPrefix(text, textRate)
	s, unit := strings.CutSuffix(s, " Hz")
	if !ok || !unit {
		return 0, false
	}
	r, err := strconv.ParseFloat(s, 64)
	return r, err == nil && r > 0 && !math.IsInf(r, 0)
}

// settings is what EDF+ has no field for, as JSON in the annotations at the
// start. Unknown members are ignored, so that later versions may add.
type settings struct {
	Program  string            `json:"pulsewright"` // version of the format page
	Started  time.Time         `json:"started,omitzero"`
	RateHz   float64           `json:"rateHz,omitempty"`
	Source   string            `json:"source,omitempty"`
	Invented bool              `json:"invented,omitempty"` // acquire.Info.Invented
	Channels []settingsChannel `json:"channels"`
	Other    json.RawMessage   `json:"settings,omitempty"`
	// Holes lists missing stretches in formats that cannot mark them otherwise:
	// first, samples, channel (−1 all).
	Holes [][3]int64 `json:"holes,omitempty"`
	// Events are the annotations of what happened to the channels' engines, in formats of samples alone.
	Events []settingsEvent `json:"events,omitempty"`
}

type settingsEvent struct {
	Sample int64  `json:"sample"`
	Text   string `json:"text"`
}

// takeEvents makes annotations of the events that settings hold, once the rate is known.
func (f *File) takeEvents(m *settings) {
	for _, v := range m.Events {
		if IsEngine(v.Text) && v.Sample >= 0 && v.Sample <= f.length {
			f.annotations = append(f.annotations, Annotation{Sample: v.Sample, OnsetSeconds: float64(v.Sample) / f.info.ClaimedRateHz, Text: v.Text})
		}
	}
	sort.SliceStable(f.annotations, func(i, j int) bool { return f.annotations[i].Sample < f.annotations[j].Sample })
}

type settingsChannel struct {
	Label  string  `json:"label"`
	Kind   string  `json:"kind,omitempty"`
	Unit   string  `json:"unit,omitempty"`
	Scale  float64 `json:"scale,omitempty"`
	Offset float64 `json:"offset,omitempty"`
	Min    int32   `json:"min,omitempty"`
	Max    int32   `json:"max,omitempty"`
	Digits int     `json:"digits,omitempty"`
}

func (c settingsChannel) channel() acquire.Channel {
	return acquire.Channel{Label: c.Label, Kind: c.Kind, Unit: c.Unit, VoltsPerCount: c.Scale, OffsetVolts: c.Offset,
		MinCount: c.Min, MaxCount: c.Max, Digits: c.Digits}
}

func settingsOf(c acquire.Channel) settingsChannel {
	return settingsChannel{Label: c.Label, Kind: c.Kind, Unit: c.Unit, Scale: c.VoltsPerCount, Offset: c.OffsetVolts,
		Min: c.MinCount, Max: c.MaxCount, Digits: c.Digits}
}

// parseSettings reads JSON; nil unless it is a settings object of ours that
// makes sense for so many channels.
func parseSettings(text string, channels int) *settings {
	var s settings
	if json.Unmarshal([]byte(text), &s) != nil || s.Program == "" || len(s.Channels) != channels {
		return nil
	}
	for _, c := range s.Channels {
		if c.Digits < 0 || c.Digits > 30 || c.Min > c.Max || math.IsInf(c.Scale, 0) {
			return nil
		}
	}
	s.Invented = s.Invented || strings.HasPrefix(s.Source, "demo:") // as older files tell it
	return &s
}

// cleanText is safeText without space around it.
func cleanText(s string) string { return strings.TrimSpace(safeText(strings.TrimSpace(s))) }

// safeText makes a text safe in a TAL and for a page: valid UTF-8, line ends as
// " / ", other control characters as spaces. Bytes that are not UTF-8 are read
// as Latin-1.
func safeText(s string) string {
	if !utf8.ValidString(s) {
		r := make([]rune, 0, len(s))
		for i := range len(s) {
			r = append(r, rune(s[i]))
		}
		s = string(r)
	}
	if strings.IndexFunc(s, unsafeRune) < 0 {
		return s
	}
	s = strings.ReplaceAll(s, "\r\n", "\n")
	s = strings.ReplaceAll(s, "\n", " / ")
	return strings.Map(func(r rune) rune {
		if unsafeRune(r) {
			return ' '
		}
		return r
	}, s)
}

// unsafeRune reports control characters and Unicode's line separators.
func unsafeRune(r rune) bool {
	return r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u2028' || r == '\u2029'
}

// splitText cuts a text into pieces of at most limit bytes, whole characters
// each. More than one piece get "[k/n] " in front, which joinPieces undoes.
func splitText(text string, limit int) []string {
	if len(text) <= limit {
		return []string{text}
	}
	const mark = len("[999/999] ")
	var parts []string
	for len(text) > 0 {
		n := min(len(text), limit-mark)
		for n < len(text) && n > 0 && !utf8.RuneStart(text[n]) {
			n--
		}
		if n == 0 {
			n = 1
		}
		parts = append(parts, text[:n])
		text = text[n:]
	}
	for i := range parts {
		parts[i] = fmt.Sprintf("[%d/%d] %s", i+1, len(parts), parts[i])
	}
	return parts
}

// parsePiece tells whether a text is piece k of n.
func parsePiece(text string) (k, n int, rest string, ok bool) {
	if !strings.HasPrefix(text, "[") {
		return 0, 0, "", false
	}
	head, rest, ok := strings.Cut(text[1:], "] ")
	a, b, ok2 := strings.Cut(head, "/")
	if !ok || !ok2 || len(head) > 7 {
		return 0, 0, "", false
	}
	k, err1 := strconv.Atoi(a)
	n, err2 := strconv.Atoi(b)
	return k, n, rest, err1 == nil && err2 == nil && k >= 1 && k <= n && n > 1
}

// joinPieces puts split texts together again; pieces of one text follow each
// other at one onset. What is not complete stays as it is.
func joinPieces(list []Annotation) []Annotation {
	out := list[:0:0]
	for i := 0; i < len(list); i++ {
		a := list[i]
		if k, n, text, ok := parsePiece(a.Text); ok && k == 1 && i+n <= len(list) {
			var b strings.Builder
			b.WriteString(text)
			for j := 1; j < n; j++ {
				k2, n2, more, ok2 := parsePiece(list[i+j].Text)
				if ok = ok2 && k2 == j+1 && n2 == n && list[i+j].Sample == a.Sample; !ok {
					break
				}
				b.WriteString(more)
			}
			if ok {
				a.Text = b.String()
				i += n - 1
			}
		}
		out = append(out, a)
	}
	return out
}
