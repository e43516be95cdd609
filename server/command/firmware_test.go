package command

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

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
	steep := filepath.Join(t.TempDir(), "steep.json")
	if err := os.WriteFile(steep, []byte(`{"drift": {"on": true, "cutoffHz": 0.5, "order": 8}, "smooth": {"shape": "butterworth", "cutoffHz": 47.677, "order": 8}}`), 0o600); err != nil {
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
		{[]string{"firmware", "-form", "small", edf}, 0, "int16_t", "counts at most besides"},
		{[]string{"firmware", "-form", "small", "-rate", "97.3", "-path", steep}, 1, "", "choose the form exact"},
		{[]string{"firmware", "-whole", "c", edf}, 0, "int64_t", "counts at most besides"},
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

// TestSeenAfterTheEnd: after a replay's end the board sees nothing, and the answer says why
// and what to do; the path's C can still be had, and of a canceller there is none.
func TestSeenAfterTheEnd(t *testing.T) {
	edf, _ := record(t, simulate.Finger(), 5, ".edf")
	address := program(t, "file:"+edf+"?speed=100") + "/api/v1"
	get := func(path string) (int, string) {
		answer, err := http.Get(address + path)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return answer.StatusCode, string(text)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if _, state := get("/state"); strings.Contains(state, `"status":"ended"`) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the replay did not end")
		}
	}
	if code, text := get("/channels/0/path/firmware/seen"); code != http.StatusConflict || !strings.Contains(text, "no source is open") || !strings.Contains(text, "open the recording again") {
		t.Errorf("seen: %d %s", code, text)
	}
	if code, text := get("/channels/0/path/firmware?form=small"); code != http.StatusOK || !strings.Contains(text, `"noiseCounts":0.1`) {
		t.Errorf("firmware: %d %.200s", code, text)
	}
	var path any
	asks(t, "PUT", address+"/channels/0/path", `{"hum":{"mode":"cancel","freqHz":50}}`, &path)
	if code, text := get("/channels/0/path/firmware"); code != http.StatusUnprocessableEntity || !strings.Contains(text, "choose the notch") {
		t.Errorf("with a canceller: %d %.200s", code, text)
	}
}
