package command

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire/simulate"
)

// TestFirmwareCommand: paths as C, from a recording, from a kind, from a file, and what
// does not go.
func TestFirmwareCommand(t *testing.T) {
	edf, _ := record(t, simulate.Chest(), 5, ".edf")
	cancel := filepath.Join(t.TempDir(), "cancel.json")
	if err := os.WriteFile(cancel, []byte(`{"hum": {"mode": "cancel"}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   []string
		status int
		out    string
		err    string
	}{
		{[]string{"firmware"}, 0, "high-pass, 0.3 Hz", "about 4950 cycles"},
		{[]string{"firmware", "-kind", "ecg", "-rate", "500"}, 0, "#define PULSEWRIGHT_RATE_HZ 500", ""},
		{[]string{"firmware", edf}, 0, "high-pass, 0.5 Hz", ""},                              // made without settings: the usual path for an ECG
		{[]string{"firmware", edf}, 0, "if (count < 0) count = 0;\n  if (count > 1023)", ""}, // the recording's converter
		{[]string{"firmware", "-signed", edf}, 0, "if (count < -512) count = -512;", ""},
		{[]string{"firmware", "-signed", "-bits", "12", edf}, 0, "if (count < -2048) count = -2048;", ""},
		{[]string{"firmware", "-form", "small", edf}, 0, "int16_t", ""},
		{[]string{"firmware", "-form", "small", "-rate", "4000"}, 1, "", "choose the form exact"},
		{[]string{"firmware", "-form", "tiny"}, 1, "", "choose exact or small"},
		{[]string{"firmware", "-bits", "30"}, 1, "", "8 to 24"},
		{[]string{"firmware", "-kind", "toe"}, 2, "", "choose pulse or ecg"},
		{[]string{"firmware", "-channel", "3", edf}, 1, "", "has 1 channels"},
		{[]string{"firmware", "-path", cancel}, 1, "", "choose the notch"},
		{[]string{"firmware", "-path", edf}, 1, "", "not path settings"},
	} {
		var out, problems bytes.Buffer
		status := Run(context.Background(), c.args, &out, &problems)
		if status != c.status || !strings.Contains(out.String(), c.out) || !strings.Contains(problems.String(), c.err) {
			t.Errorf("%q: status %d, want %d; output %.300q, want %q; errors %q, want %q", c.args, status, c.status, out.String(), c.out, problems.String(), c.err)
		}
	}
}
