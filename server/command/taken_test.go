package command

import (
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
)

// TestTakenOutIsWhatCommandsPrint: what a page downloads of a recording equals what the commands
// make of its file, of all of it and of a stretch; every list has its columns and rows.
func TestTakenOutIsWhatCommandsPrint(t *testing.T) {
	w := wire(t)
	in := filepath.Join(testdata, "lamp_clip_a.edf")
	data, err := os.ReadFile(in)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(w.folder, "clip.edf"), data, 0o600); err != nil {
		t.Fatal(err)
	}
	get := func(query string) (int, string) {
		return sendTo(t, w.here, "GET", "/api/v1/recordings/clip.edf/taken?"+query, "", nil)
	}
	_, beats, _ := call("beats", in)
	_, list, _ := call("intervals", in)
	_, measures, _ := call("intervals", "-measures", in)
	out := filepath.Join(t.TempDir(), "a.csv")
	part := filepath.Join(t.TempDir(), "b.csv")
	call("filter", in, out)
	call("filter", "-point", "hum", "-from", "4", "-to", "9", in, part)
	for query, want := range map[string]string{"what=beats": beats, "what=intervals": list, "what=measures": measures, "what=signal": readText(t, out),
		"what=signal&point=hum&from=1000&to=2250&channel=0": readText(t, part)} {
		if status, got := get(query); status != 200 || got != want {
			t.Errorf("%s: status %d, %.200q, want %.200q", query, status, got, want)
		}
	}
	// Of a stretch the beats are those of the whole that lie in it.
	_, some := get("what=beats&from=1000&to=3000")
	var inside []string
	for i, line := range strings.Split(strings.TrimSpace(beats), "\n") {
		n, _ := strconv.Atoi(strings.Split(line, ",")[0])
		if i == 0 || n >= 1000 && n < 3000 {
			inside = append(inside, line)
		}
	}
	if got := strings.TrimSpace(some); got != strings.Join(inside, "\n") || len(inside) < 8 {
		t.Errorf("beats of a stretch:\n%s\nwant\n%s", got, strings.Join(inside, "\n"))
	}
	for what, columns := range map[string]int{"spectrum": 2, "typical": 4, "figures": 4} {
		status, text := get("what=" + what)
		if status != 200 {
			t.Fatalf("%s: %d %s", what, status, text)
		}
		if rows := table(t, text); len(rows) < 12 || len(rows[1]) != columns {
			t.Errorf("%s: %d rows of %d columns", what, len(rows), len(rows[1]))
		}
	}
	for _, as := range []string{"edf", "bdf", "wav"} {
		_, text := get("what=signal&as=" + as)
		path := filepath.Join(t.TempDir(), "a."+as)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := recording.Open(path)
		if err != nil {
			t.Errorf("%s: %v", as, err)
			continue
		}
		if f.Len() != 5000 {
			t.Errorf("%s: %d samples, want 5000", as, f.Len())
		}
		f.Close()
	}
	for query, said := range map[string]string{"what=bpm": "choose signal, beats", "what=beats&as=wav": "choose csv", "what=signal&point=end": "scale, drift", "what=signal&from=9999": "0 to 5000", "what=beats&channel=3": "counted from 0"} {
		if status, text := get(query); status < 400 || status > 404 || !strings.Contains(text, said) {
			t.Errorf("%s: %d %q, want one that says %q", query, status, text, url.QueryEscape(said))
		}
	}
}
