package library

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

// What a download does not hold can be asked before it, and is what the command convert tells.
func TestLostInADownload(t *testing.T) {
	store := NewStore(t.TempDir())
	written(t, store.Folder(), "light.edf", acquire.Channel{Label: "light", Kind: acquire.KindPulse, MaxCount: 100, MinCount: -100}, 250, map[int64][]int32{0: make([]int32, 1000)}, 0)
	if err := store.AddMark("light.edf", recording.Annotation{Sample: 100, Text: "hand moved"}); err != nil {
		t.Fatal(err)
	}
	for as, want := range map[string]string{"csv": "annotations (1) have no place in a CSV file and are left out", "wav": "annotations (1) have no place in a WAV file and are left out", "edf": ""} {
		code, answer := ask(t, store, nil, "GET", "/recordings/"+url.PathEscape("light.edf")+"/file/lost?as="+as, "")
		var out struct{ Lost []string }
		if err := json.Unmarshal(answer, &out); err != nil || code != http.StatusOK || out.Lost == nil {
			t.Fatalf("%s: %d %s", as, code, answer)
		}
		if (len(out.Lost) > 0) != (want != "") || want != "" && !slices.ContainsFunc(out.Lost, func(s string) bool { return strings.Contains(s, want) }) {
			t.Errorf("as %s: %q is lost, want %q", as, out.Lost, want)
		}
	}
	if code, _ := ask(t, store, nil, "GET", "/recordings/light.edf/file/lost?as=txt", ""); code != http.StatusBadRequest {
		t.Errorf("another format is answered with %d", code)
	}
}
