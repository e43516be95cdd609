package recording

import "strings"

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

// fields are the patient's field and what follows the date in the recording's, for an EDF+
// header; patient and what are those of a file of ours. Free text of a plain EDF becomes the
// patient's name, and a further subfield of the recording.
func (k *edfKept) fields(patient, what string) (string, string) {
	if k.plus {
		if k.patient != "" {
			patient = k.patient
		}
		if words := strings.Fields(k.recording); len(words) > 2 && words[0] == "Startdate" {
			what = strings.Join(words[2:], " ")
		}
		return patient, what
	}
	if k.patient != "" {
		patient = "X X X " + word(k.patient)
	}
	if k.recording != "" {
		what = "X X X " + word(k.recording)
	}
	return patient, what
}

// said lists what of them a format without such a header leaves out.
func (k *edfKept) said() (list []string) {
	if k == nil {
		return nil
	}
	if strings.Trim(k.patient, "X ") != "" {
		list = append(list, "patient")
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
