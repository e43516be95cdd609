package acquire

import "strings"

// TakeKind takes the kind off the end of a column's name, as in "lead [mV] (ecg)"; "" where none is said.
func TakeKind(name string) (rest, kind string) {
	name = strings.TrimSpace(name)
	if at := strings.LastIndexByte(name, '('); at > 0 && strings.HasSuffix(name, ")") {
		switch k := strings.ToLower(strings.TrimSpace(name[at+1 : len(name)-1])); k {
		case KindPulse, KindECG, KindOther:
			return strings.TrimSpace(name[:at]), k
		}
	}
	return name, KindUnknown
}

// KindOfLabel guesses from a channel's name what it carries, for files and boards alike; a
// person may overrule it.
func KindOfLabel(label string) string {
	l := strings.ToLower(label)
	words := strings.FieldsFunc(l, func(r rune) bool {
		return !('a' <= r && r <= 'z' || '0' <= r && r <= '9')
	})
	for _, w := range words {
		switch w {
		case "i", "ii", "iii", "avr", "avl", "avf", "v", "v1", "v2", "v3", "v4", "v5", "v6", "mli", "mlii", "mliii", "d3", "d4":
			return KindECG
		case "ir", "red", "ppg":
			return KindPulse
		case "bpm", "beat", "beats", "ibi", "hr", // told of a signal, no signal
			"resp", "respiration", "cvp", "eeg", "emg", "eog", "temp", "temperature", "status", "accx", "accy", "accz":
			return KindOther
		}
	}
	for _, s := range []string{"ecg", "ekg", "lead", "chest", "mlv"} {
		if strings.Contains(l, s) {
			return KindECG
		}
	}
	for _, s := range []string{"pleth", "pulse", "ppg", "finger"} {
		if strings.Contains(l, s) {
			return KindPulse
		}
	}
	return KindUnknown
}
