//go:build !windows

package command

import (
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"pulsewright/acquire/recording"
)

// TestReviewTimesAndStretchNotes: a time that is written is gone to, the axis shows the clock's time when asked, and a
// note speaks of the stretch between the cursors, on the page and in a download.
func TestReviewTimesAndStretchNotes(t *testing.T) {
	t.Parallel()
	ctx, address := chestBroughtIn(t)
	reviewFirst(t, ctx, address)
	soon(t, ctx, "the notes", reviewNow+`.annotated > 0`, 10*time.Second)
	for range 5 {
		keyDown(t, ctx, "+")
	}
	goTo := func(text string) {
		t.Helper()
		keyDown(t, ctx, "g")
		script(t, ctx, fmt.Sprintf(`at("review-go").value = %q; at("review-go").form.requestSubmit()`, text))
	}
	middle := func(seconds float64) {
		t.Helper()
		if r := look[reviewStats](t, ctx, reviewNow); math.Abs((r.From+r.To)/2/r.RateHz-seconds) > 0.01 {
			t.Errorf("the middle lies at %g s, want %g", (r.From+r.To)/2/r.RateHz, seconds)
		}
	}
	goTo("0:20.5")
	middle(20.5)
	goTo("soon")
	soon(t, ctx, "what a time is", `/soon is no time/.test(at("review-error").textContent)`, 5*time.Second)
	keyDown(t, ctx, kb.Escape)
	goTo("1:00")
	soon(t, ctx, "where the end is", `/ends at 0:30/.test(at("review-error").textContent)`, 5*time.Second)
	keyDown(t, ctx, kb.Escape)
	goTo("10")
	middle(10)

	keyDown(t, ctx, "t")
	soon(t, ctx, "the clock's time", `/^\d\d:\d\d:\d\d\.\d\d to /.test(at("review-where").textContent) && at("review-clock").getAttribute("aria-pressed") === "true"`, 5*time.Second)
	look[string](t, ctx, `(fetch("/api/v1/recordings/chest.bdf").then((r) => r.json()).then((d) => (window.begun = d.started)), window.begun ?? "")`)
	soon(t, ctx, "when it began", `window.begun`, 5*time.Second)
	started := look[string](t, ctx, `window.begun`)
	began, err := time.Parse(time.RFC3339Nano, started)
	if err != nil {
		t.Fatal(err)
	}
	goTo(began.Add(12 * time.Second).Truncate(time.Second).Local().Format("15:04:05"))
	middle(began.Add(12 * time.Second).Truncate(time.Second).Sub(began).Seconds())

	keyDown(t, ctx, "c")
	keyDown(t, ctx, "n")
	script(t, ctx, `at("review-note-span").click(); at("review-note").value = "clip loose"; at("review-note-save").click()`)
	soon(t, ctx, "the note with from and to", `/\d\d:\d\d:\d\d\.\d\u2009–\u2009\d\d:\d\d:\d\d\.\dclip loose/.test(at("review-notes").textContent)`, 5*time.Second)
	r := look[reviewStats](t, ctx, reviewNow)
	everyScreen(t, ctx, "dialog.review")
	answer, err := http.Get(address + "/api/v1/recordings/chest.bdf/file?as=edf")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	out := filepath.Join(t.TempDir(), "out.bdf")
	if err != nil || os.WriteFile(out, data, 0o600) != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	list := f.Annotations()
	i := slices.IndexFunc(list, func(a recording.Annotation) bool { return a.Text == "clip loose" })
	if i < 0 || list[i].Sample != min(r.Cursors.A, r.Cursors.B) || math.Abs(list[i].DurationSeconds-math.Abs(float64(r.Cursors.B-r.Cursors.A))/r.RateHz) > 1e-4 {
		t.Errorf("in the download: %v; the cursors stood at %d and %d", list, r.Cursors.A, r.Cursors.B)
	}
}
