//go:build !windows

package command

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestReviewEditsBeats: beats are chosen, moved, added and removed by keys and pointer, undone and done again; the
// list, the intervals and what is saved follow, and opened again all is as it was left.
func TestReviewEditsBeats(t *testing.T) {
	t.Parallel()
	ctx, address := chestBroughtIn(t)
	reviewFirst(t, ctx, address)
	soon(t, ctx, "the notes and beats", reviewNow+`.annotated > 0`, 10*time.Second)
	now := func() []int64 { return look[[]int64](t, ctx, reviewNow+`.marks[0].map((m) => m.sample)`) }
	saved := func() string {
		t.Helper()
		answer, err := http.Get(address + "/api/v1/recordings/chest.bdf/taken?what=beats")
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	keyDown(t, ctx, "e") // none are stored: they are found
	soon(t, ctx, "how to edit in words", `at("review-edit-help")?.checkVisibility() && /drag it.*Undo: Ctrl z.*saved/.test(at("review-edit-help").textContent)`, 5*time.Second)
	soon(t, ctx, "the beats found", reviewNow+`.beats[0] > 30 && at("review-find-beats").hidden`, 20*time.Second)
	found := now()
	for range 5 {
		keyDown(t, ctx, "+")
	}
	script(t, ctx, `at("review-canvas").focus()`)
	keyDown(t, ctx, "b")
	chosen := look[int64](t, ctx, reviewNow+".chosen")
	keyDown(t, ctx, kb.ArrowRight)
	keyDown(t, ctx, kb.ArrowRight)
	said := func(want string) {
		t.Helper()
		soon(t, ctx, "it to say "+want, fmt.Sprintf(`at("review-edited").textContent === %q`, want), 5*time.Second)
	}
	said("1 beat edited by hand: 1 moved.")
	if got := look[int64](t, ctx, reviewNow+".chosen"); got != chosen+2 {
		t.Errorf("two steps to the right lead from %d to %d", chosen, got)
	}
	keyDown(t, ctx, "b")
	gone := look[int64](t, ctx, reviewNow+".chosen")
	keyDown(t, ctx, "x")
	said("2 beats edited by hand: 1 moved, 1 deleted.")
	script(t, ctx, `at("review-edit-undo").click()`)
	said("1 beat edited by hand: 1 moved.")
	script(t, ctx, `at("review-edit-redo").click()`)
	said("2 beats edited by hand: 1 moved, 1 deleted.")

	// A double click adds one at the peak near it; a drag moves it.
	x := func(sample int64) float64 {
		return look[float64](t, ctx, fmt.Sprintf(`((r, b) => b.left + 70 + (%d - r.from) / (r.to - r.from) * (b.width - 70))(%s, at("review-canvas").getBoundingClientRect())`, sample, reviewNow))
	}
	y := look[float64](t, ctx, `((b) => b.top + b.height / 2)(at("review-canvas").getBoundingClientRect())`)
	if err := chromedp.Do(ctx, chromedp.MouseClickXY(x(gone)+4, y, chromedp.ClickCount(2))); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the beat added", reviewNow+`.marks[0].some((m) => m.byHand && Math.abs(m.sample - `+fmt.Sprint(gone)+`) <= 2)`, 5*time.Second)
	said("3 beats edited by hand: 1 added, 1 moved, 1 deleted.")
	picture(t, ctx, "added")
	added := look[int64](t, ctx, reviewNow+".chosen")
	from := x(added)
	if err := chromedp.Do(ctx, chromedp.MouseEvent("mousePressed", from, y, chromedp.Button("left"), chromedp.ClickCount(1)), chromedp.MouseEvent("mouseMoved", from+10, y, chromedp.Button("left")),
		chromedp.MouseEvent("mouseMoved", from+30, y, chromedp.Button("left")), chromedp.MouseEvent("mouseReleased", from+30, y, chromedp.Button("left"), chromedp.ClickCount(1))); err != nil {
		t.Fatal(err)
	}
	perPx := look[float64](t, ctx, `((r, b) => (r.to - r.from) / (b.width - 70))(`+reviewNow+`, at("review-canvas").getBoundingClientRect())`)
	soon(t, ctx, "the beat moved", fmt.Sprintf(`Math.abs(%s.chosen - %d - %g) <= 2`, reviewNow, added, 30*perPx), 5*time.Second)
	said("3 beats edited by hand: 1 added, 1 moved, 1 deleted.")
	moved := look[int64](t, ctx, reviewNow+".chosen")
	soon(t, ctx, "the server to know", `fetch("/api/v1/recordings/chest.bdf").then((r) => r.json()).then((d) => (window.known = d.edits["0"])), window.known?.some((e) => e.at === `+fmt.Sprint(moved)+`)`, 5*time.Second)
	table := saved()
	for _, want := range []string{fmt.Sprintf("\n%d,", chosen+2), fmt.Sprintf("\n%d,", moved), ",moved\n", ",added\n"} {
		if !strings.Contains(table, want) {
			t.Errorf("the CSV has no %q", want)
		}
	}
	if strings.Contains(table, fmt.Sprintf("\n%d,", gone)) {
		t.Errorf("the CSV has the beat at %d", gone)
	}

	// The intervals say it too.
	keyDown(t, ctx, "i")
	soon(t, ctx, "the intervals", `/3 beats edited by hand: 1 added, 1 moved, 1 deleted/.test(at("review-intervals-where").textContent)`, 20*time.Second)
	keyDown(t, ctx, "i")
	everyScreen(t, ctx, "dialog.review")

	// Opened again it is as it was; as found, none is edited.
	left := now()
	script(t, ctx, `at("review-close").click()`)
	soon(t, ctx, "the review closed", `!`+reviewNow+`.id`, 5*time.Second)
	script(t, ctx, `at("recording-0").click()`)
	soon(t, ctx, "it as it was left", fmt.Sprintf(`JSON.stringify(%s.marks[0]?.map((m) => m.sample)) === %q`, reviewNow, strings.ReplaceAll(fmt.Sprint(left), " ", ",")), 20*time.Second)
	soon(t, ctx, "it as found", fmt.Sprintf(`JSON.stringify(%s.marks[0]?.map((m) => m.sample)) === %q || (at("review-edit-reset")?.click(), false)`, reviewNow, strings.ReplaceAll(fmt.Sprint(found), " ", ",")), 20*time.Second)
}

// TestReviewEditsWhileItWaits: a beat added while beats are found stays, and one that is being added when another recording is
// opened goes to neither.
func TestReviewEditsWhileItWaits(t *testing.T) {
	t.Parallel()
	ctx, address := chestBroughtIn(t)
	twoChannels(t, ctx, address)
	closeReview(t, ctx)
	script(t, ctx, `window.named = (name) => [...document.querySelectorAll(".recording-name")].find((e) => e.textContent === name); named("chest").click()`)
	soon(t, ctx, "the notes and beats", reviewNow+`.annotated > 0`, 10*time.Second)
	script(t, ctx, `hold("GET", /find=0/); at("review-edit").click()`)
	soon(t, ctx, "the beats held", `held.length === 1`, 20*time.Second)
	script(t, ctx, `at("review-edit-add").click()`)
	soon(t, ctx, "the beat added", reviewNow+`.beats[0] === 1 && asked.some((a) => a.startsWith("PATCH"))`, 5*time.Second)
	script(t, ctx, `release()`)
	soon(t, ctx, "the beats found", reviewNow+`.beats[0] > 30`, 10*time.Second)
	if n := look[int](t, ctx, reviewNow+`.marks[0].filter((m) => m.byHand).length`); n != 1 {
		t.Errorf("%d beats by hand, want the one added", n)
	}
	script(t, ctx, `asked.length = 0; hold("GET", new RegExp("columns=" + (2 * Math.round(0.3 * `+reviewNow+`.rateHz) + 1) + "$")); at("review-in").click(); at("review-canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowRight", bubbles: true})); at("review-edit-add").click()`)
	soon(t, ctx, "the place of a beat held", `held.length === 1`, 5*time.Second)
	closeReview(t, ctx)
	script(t, ctx, `named("two").click()`)
	soon(t, ctx, "the other recording", reviewNow+`.id.startsWith("two") && `+reviewNow+`.beats.length === 2`, 10*time.Second)
	script(t, ctx, `release()`)
	time.Sleep(300 * time.Millisecond)
	if patched := look[[]string](t, ctx, `asked.filter((a) => a.startsWith("PATCH"))`); len(patched) > 0 {
		t.Errorf("a beat went to %q", patched)
	}
}
