package acquire

import "testing"

func TestKindOfLabel(t *testing.T) {
	for label, want := range map[string]string{"ECG II": "ecg", "MLII": "ecg", "V5": "ecg", "II": "ecg", "chest": "ecg", "lead_1": "ecg", "PLETH": "pulse", "finger pulse": "pulse", "ppg_ir": "pulse", "RESP": "other", "EEG Fpz-Cz": "other", "vin": "", "beat [ms]": "other", "bpm": "other", "raw": "", "filtered": ""} {
		if got := KindOfLabel(label); got != want {
			t.Errorf("%q is %q, want %q", label, got, want)
		}
	}
}
