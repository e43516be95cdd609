package recording

import (
	"bytes"
	"math"
	"sort"
	"strings"
)

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
