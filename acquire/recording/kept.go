package recording

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pulsewright/acquire"
)

// ownRecording begins what follows the date in the recording's field of a file of ours; the name follows.
const ownRecording = "X X Pulsewright "

// edfKept are fields of an EDF or BDF header that tell who and what was recorded and how, as
// they stand there.
type edfKept struct {
	plus               bool // EDF+ or BDF+, whose fields have subfields
	patient, recording string
	// by channel
	transducers, prefilters []string
}

// keep reads them; channels are the indices of the channels' signals.
func (h *edfHeader) keep(channels []int) *edfKept {
	k := &edfKept{plus: h.plus, patient: edfText(h.fixed[8:88]), recording: edfText(h.fixed[88:168])}
	for _, i := range channels {
		k.transducers = append(k.transducers, edfText(h.field(edfTransducer, i)))
		k.prefilters = append(k.prefilters, edfText(h.field(edfPrefilter, i)))
	}
	return k
}

// texts are what the patient's and the recording's field say: of the latter what follows the date, where it is written as EDF+
// asks for.
func (k *edfKept) texts() (patient, recording string) {
	if words := strings.Fields(k.recording); len(words) > 1 && words[0] == "Startdate" && isHeaderDate(words[1]) {
		return k.patient, strings.Join(words[2:], " ")
	}
	return k.patient, k.recording
}

// fields are the patient's field and what follows the date in the recording's, for an EDF+
// header; patient and what are those of a file of ours. Free text of a plain EDF stands behind the subfields that EDF+ asks
// for, as the patient's name and as further subfields of the recording.
func (k *edfKept) fields(patient, what string) (string, string) {
	who, text := k.texts()
	if who != "" {
		patient = who
		if !k.plus && !isPatient(strings.Fields(who)) {
			patient = "X X X " + who
		}
	}
	if text != "" {
		what = text
		if text == k.recording {
			what = "X X X " + text
		}
	}
	return patient, what
}

// isPatient reports whether words are subfields of a patient as in EDF+: code, sex, birthdate, name.
func isPatient(words []string) bool {
	return len(words) > 3 && slices.Contains([]string{"M", "F", "X"}, words[1]) && isHeaderDate(words[2])
}

// isHeaderDate reports whether a subfield of EDF+ is a date, or X of one not known.
func isHeaderDate(s string) bool {
	_, err := time.Parse("2-Jan-2006", titleMonth(s))
	return s == "X" || err == nil
}

// keeps remembers that a field of the new header does not say all that a kept text says.
func (w *Writer) keeps(name, text, field string) {
	if field = strings.TrimRight(field, " "); text != "" && !strings.Contains(field, text) {
		w.changed = append(w.changed, fmt.Sprintf("the header's field %s has room for %d plain letters, digits and signs, and %s+ may need words of its own there: %q became %q; keep the rest in a note", name, edfWidths[edfTransducer], w.format, text, field))
	}
}

// keepsAll is keeps of all kept fields, patient and recording as they are written.
func (w *Writer) keepsAll(k *edfKept, patient, recording string) {
	who, what := k.texts()
	w.keeps("patient", who, patient)
	if !strings.Contains(what, acquire.InventedTag) {
		recording = strings.Replace(recording, acquire.InventedTag+" ", "", 1)
	}
	w.keeps("recording", what, recording)
	for _, c := range w.channels {
		w.keeps("transducer of "+c.label, c.transducer, headerText(c.transducer, edfWidths[edfTransducer]))
		w.keeps("filters of "+c.label, c.prefilter, headerText(c.prefilter, edfWidths[edfPrefilter]))
	}
}

// said lists what of them a format without such a header leaves out.
func (k *edfKept) said() (list []string) {
	if k == nil {
		return nil
	}
	if strings.Trim(k.patient, "X ") != "" {
		list = append(list, "patient")
	}
	if _, what := k.texts(); strings.Trim(what, "X ") != "" && !strings.HasPrefix(what, ownRecording) {
		list = append(list, "recording")
	}
	for _, f := range []struct {
		name  string
		texts []string
	}{{"transducer", k.transducers}, {"filters", k.prefilters}} {
		if strings.Join(f.texts, "") != "" {
			list = append(list, f.name)
		}
	}
	return list
}

// every tells of each channel how many positions of the file have one sample of it, nil when
// all have one at each or when that does not divide.
func (f *File) every() []int {
	var list []int
	switch st := f.store.(type) {
	case *edfStore:
		for _, s := range st.signals {
			list = append(list, divided(st.perRecord, s.samples))
		}
	case *recordStore:
		for _, s := range st.signals {
			list = append(list, divided(st.highest, s.perFrame))
		}
	}
	all := commonMultiple(list)
	if all <= 1 {
		return nil
	}
	for _, g := range f.Gaps() {
		if g.First%int64(all) != 0 || g.Samples%int64(all) != 0 {
			return nil
		}
	}
	return list
}

func divided(most, n int) int {
	if n <= 0 || most%n != 0 {
		return 1
	}
	return most / n
}

// commonMultiple is the least one of numbers above 0, 1 of none; one above a million is 0.
func commonMultiple(list []int) int {
	all := 1
	for _, n := range list {
		a, b := all, n
		for b != 0 {
			a, b = b, a%b
		}
		if all = all / a * n; all > 1_000_000 {
			return 0
		}
	}
	return all
}
