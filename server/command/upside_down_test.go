package command

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/server"
	"pulsewright/server/hub"
	"pulsewright/server/library"
	"pulsewright/server/session"
)

// foreign writes counts as another program's EDF+, which has nothing but its header to go by:
// counts from −2000 to 2000 stand for physical limits in volts.
func foreign(t *testing.T, path string, rateHz float64, counts []int32, physical [2]string) {
	t.Helper()
	c := acquire.Channel{Label: "ECG chest", Unit: "V", VoltsPerCount: 0.001, MinCount: -2000, MaxCount: 2000}
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{ClaimedRateHz: rateHz, Channels: []acquire.Channel{c}}, NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write([][]int32{counts}, 0); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []struct {
		at, width int
		text      string
	}{{256 + 2*104, 8, physical[0]}, {256 + 2*112, 8, physical[1]}, {256 + 2*120, 8, "-2000"}, {256 + 2*128, 8, "2000"}, {256 + 2*224, 32, ""}} {
		copy(b[f.at:], fmt.Sprintf("%-*s", f.width, f.text))
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestLimitsUpsideDown: EDF allows the physical minimum above the maximum (Kemp et al. 1992 and
// the EDF FAQ: "negative gain"). Such a file of mirrored counts is the same signal, so
// beats, check, Review and Compare say the same of it.
func TestLimitsUpsideDown(t *testing.T) {
	folder := t.TempDir()
	config := simulate.Chest()
	counts, _ := simulatetest.Run(t, config, int64(40*config.RateHz))
	up, down := make([]int32, len(counts[0])), make([]int32, len(counts[0]))
	for i, v := range counts[0] {
		if v != acquire.MissingCount {
			v = max(min(v-2048, 1999), -1999)
			up[i], down[i] = v, -v
		}
	}
	foreign(t, filepath.Join(folder, "up.edf"), config.RateHz, up, [2]string{"-2", "2"})
	foreign(t, filepath.Join(folder, "down.edf"), config.RateHz, down, [2]string{"2", "-2"})

	for _, command := range []string{"beats", "check", "rate"} {
		var said [2]string
		for i, name := range []string{"up.edf", "down.edf"} {
			status, out, errors := call(command, filepath.Join(folder, name))
			if status > 1 || out == "" {
				t.Errorf("%s %s: %d %s%s", command, name, status, out, errors)
			}
			said[i] = strings.ReplaceAll(out, name, "it")
		}
		if said[0] != said[1] {
			t.Errorf("%s says of one\n%s\nof the other\n%s", command, said[0], said[1])
		}
	}
	if _, out, _ := call("beats", filepath.Join(folder, "down.edf")); strings.Count(out, "\n") < 30 {
		t.Errorf("hardly a beat found:\n%s", out)
	}

	store := library.NewStore(folder)
	reviews := library.NewReviews(store)
	defer reviews.Close()
	routes := server.New(server.Config{Session: session.New(session.Config{Hub: hub.New(1)}), Page: fstest.MapFS{}, Recordings: server.Recordings{Store: store, Reviews: reviews}}).Handler()
	get := func(target string) string {
		w := httptest.NewRecorder()
		q := httptest.NewRequest("GET", "http://127.0.0.1/api/v1"+target, nil)
		q.RemoteAddr = "127.0.0.1:50000"
		routes.ServeHTTP(w, q)
		if w.Code != http.StatusOK {
			t.Errorf("%s: %d %s", target, w.Code, w.Body)
		}
		return w.Body.String()
	}
	for _, query := range []string{"/view?from=0&to=10000&columns=200", "/beats?find=0", "/analysis?channel=0", "/variability?channel=0"} {
		a, b := get("/recordings/up.edf"+query), get("/recordings/down.edf"+query)
		if strings.ReplaceAll(a, "up.edf", "it") != strings.ReplaceAll(b, "down.edf", "it") {
			t.Errorf("%s differs: %.300s\n%.300s", query, a, b)
		}
	}
}
