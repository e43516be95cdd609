//go:build !windows

package command

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
)

// chestBroughtIn is a page and the address of its program, which has an annotated chest in its list.
func chestBroughtIn(t *testing.T) (ctx context.Context, address string) {
	t.Helper()
	ctx = browser(t, 1280, 800)
	path := filepath.Join(t.TempDir(), "chest.bdf")
	annotatedChest(t, path, -1)
	address = program(t, "demo:finger")
	bringIn(t, address, path)
	return ctx, address
}

// annotatedChest writes half a minute of a simulated chest lead as EDF+ with its true R peaks annotated
// in it, but for the beat drop; it returns the R peaks.
func annotatedChest(t *testing.T, path string, drop int) (truth []int64) {
	t.Helper()
	c := simulate.Chest()
	c.MotionPerMinute = 0
	plain := filepath.Join(t.TempDir(), "plain.bdf")
	_, g := simulatetest.Record(t, c, int64(30*c.RateHz), plain)
	f, err := recording.Open(plain)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var notes []recording.Annotation
	for i, b := range g.Truth().Beats[0] {
		if b.Sample >= f.Len() {
			break
		}
		truth = append(truth, b.Sample)
		kind := "N"
		if i == 10 {
			kind = "V"
		}
		if i != drop {
			notes = append(notes, recording.Annotation{Sample: b.Sample, Text: recording.AnnotatedText(kind)})
		}
	}
	if err := recording.ExportEDF(path, f, recording.ExportOptions{Notes: notes}); err != nil {
		t.Fatal(err)
	}
	return truth
}

// bringIn brings a file into the program's folder of recordings.
func bringIn(t *testing.T, address, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.Post(address+"/api/v1/recordings?name="+url.QueryEscape(filepath.Base(path)), "application/octet-stream", bytes.NewReader(data))
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("importing %s: %v, %v", path, answer, err)
	}
	answer.Body.Close()
}

// reviewFirst opens the page and, in Review, the first recording of the list.
func reviewFirst(t *testing.T, ctx context.Context, address string) {
	t.Helper()
	open(t, ctx, address)
	script(t, ctx, `document.querySelector('[data-testid=drawer-recordings]').click()`)
	soon(t, ctx, "the recording", `document.querySelector('[data-testid=recording-0]')`, 10*time.Second)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("recording-0").click()`)
	soon(t, ctx, "the review", reviewNow+`.piece?.exact`, 10*time.Second)
}

// TestReviewScoresAnnotatedBeats: annotated beats are told, Score says which are missed and extra, and
// m steps to each.
func TestReviewScoresAnnotatedBeats(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	path := filepath.Join(t.TempDir(), "chest.bdf")
	truth := annotatedChest(t, path, 20)
	address := program(t, "demo:finger")
	bringIn(t, address, path)
	reviewFirst(t, ctx, address)
	soon(t, ctx, "the annotated beats", fmt.Sprintf(`%s.annotated === %d && !at("review-score-open").hidden`, reviewNow, len(truth)-1), 10*time.Second)
	keyDown(t, ctx, "s")
	soon(t, ctx, "the score", `!at("review-score").hidden && /EC57/.test(at("review-score-rule").textContent)`, 20*time.Second)
	type faults struct{ Missed, Extra []int64 }
	got := look[faults](t, ctx, reviewNow+".faults")
	if n := len(got.Extra); n == 0 || n > 2 || got.Extra[n-1]-truth[20] > 20 || truth[20]-got.Extra[n-1] > 20 {
		t.Errorf("extra %v, want %d", got.Extra, truth[20])
	}
	said := look[[]string](t, ctx, `[...at("review-score-facts").querySelectorAll("dd")].map((e) => e.textContent)`)
	missed, found := len(got.Missed), len(truth)-1-len(got.Missed)+len(got.Extra)
	if want := fmt.Sprintf("%.2f\u00a0%%", 100*(1-float64(missed)/float64(len(truth)-1))); said[0] != want || said[3] != fmt.Sprint(len(truth)-1) || said[4] != fmt.Sprint(found) {
		t.Errorf("it says %q, want Se %s, %d annotated, %d found", said, want, len(truth)-1, found)
	}
	for range 10 {
		keyDown(t, ctx, "-")
	}
	for range 6 {
		keyDown(t, ctx, "+")
	}
	soon(t, ctx, "the beats found, beside them", reviewNow+`.beats[0] > 30`, 20*time.Second)
	for range len(got.Missed) + len(got.Extra) {
		keyDown(t, ctx, "m")
	}
	if r := look[reviewStats](t, ctx, reviewNow); r.From > float64(truth[20]) || r.To < float64(truth[20]) {
		t.Errorf("m leads to %g to %g, the extra beat lies at %d", r.From, r.To, truth[20])
	}
	// The extra beat deleted by hand: scored is what is seen, and it is said; as found it counts again.
	extra := got.Extra[len(got.Extra)-1]
	keyDown(t, ctx, "e")
	keyDown(t, ctx, "B")
	if look[int64](t, ctx, reviewNow+".chosen") != extra {
		keyDown(t, ctx, "b")
	}
	if chosen := look[int64](t, ctx, reviewNow+".chosen"); chosen != extra {
		t.Fatalf("chosen %d, want the extra beat %d", chosen, extra)
	}
	keyDown(t, ctx, "x")
	soon(t, ctx, "the score of what is seen", fmt.Sprintf(`/Beats as edited/.test(at("review-score-facts").textContent) && /1 beat edited by hand: 1 deleted/.test(at("review-score-rule").textContent) && %s.faults.extra.length === %d`, reviewNow, len(got.Extra)-1), 20*time.Second)
	everyScreen(t, ctx, "dialog.review")
	script(t, ctx, `at("review-score-which").value = "1"; at("review-score-which").dispatchEvent(new Event("change"))`)
	soon(t, ctx, "the score as found", fmt.Sprintf(`/as they were found/.test(at("review-score-rule").textContent) && %s.faults.extra.length === %d`, reviewNow, len(got.Extra)), 20*time.Second)
	keyDown(t, ctx, "e")
	keyDown(t, ctx, "s")
	soon(t, ctx, "the panel put away", `at("review-score").hidden && `+reviewNow+`.faults === null`, 5*time.Second)
}
