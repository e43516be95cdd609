//go:build !windows

package command

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/simulate"
)

// TestEveryDemoSaysItIsInvented: its name does, and what it describes.
func TestEveryDemoSaysItIsInvented(t *testing.T) {
	if len(simulate.Demos()) < 3 {
		t.Fatal("no demos")
	}
	for _, d := range simulate.Demos() {
		a, err := acquire.ParseAddress(d.Address)
		if err != nil {
			t.Fatal(err)
		}
		s, err := simulate.Open(context.Background(), a)
		if err != nil {
			t.Fatal(err)
		}
		if i := s.Describe(); !i.Invented || !strings.Contains(strings.ToLower(i.Name), "invented") {
			t.Errorf("%s is called %q, invented %v", d.Address, i.Name, i.Invented)
		}
		s.Close()
	}
}

// TestInventedIsMarked looks for the tag in each place where a demo's signal appears:
// header, title of the tab, Show, pictures, prints, numbers, the list, a recording that is
// looked at, the file's name and the file; and that a demo asks nobody about electrodes.
func TestInventedIsMarked(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:chest"))
	ready(t, ctx)
	soon(t, ctx, "frames", `S().lastIndex > 600`, 20*time.Second)
	tagged := func(where, expression string) {
		t.Helper()
		if text := look[string](t, ctx, expression); !strings.Contains(text, acquire.InventedTag) {
			t.Errorf("%s: %q is not marked %s", where, text, acquire.InventedTag)
		}
	}
	savedAs := func(where, opener string) {
		t.Helper()
		for _, as := range []string{"svg", "csv"} {
			script(t, ctx, `window.text = ""; press("`+opener+`"); press("save-`+as+`"); saved[saved.length - 1].text().then((s) => (window.text = s))`)
			soon(t, ctx, "the "+as+" of "+where, `text !== ""`, 5*time.Second)
			tagged(where+", "+as, `text`)
			if !look[bool](t, ctx, `/learning aid/i.test(text)`) {
				t.Errorf("%s, %s: lacks the learning aid", where, as)
			}
		}
	}
	seen := func(id string) string { return fmt.Sprintf(`shown(%q) ? at(%q).textContent : ""`, id, id) }
	tagged("header", seen("source-invented"))
	tagged("title", `document.title`)
	if dialog := look[string](t, ctx, `dialogOpen()`); dialog != "" {
		t.Errorf("a demo opens the dialog %s", dialog)
	}
	script(t, ctx, `press("show-open")`)
	tagged("show", seen("show-invented"))
	if !look[bool](t, ctx, `(/learning aid/i.test(at("show").innerText) && /invented chest leads/i.test(at("show-source").textContent) && !shown("show-projector"))`) {
		t.Error("show lacks the learning aid or the source's name, or warns of a projector where nobody is wired")
	}
	picture(t, ctx, "show")
	script(t, ctx, `press("show-leave")`)
	savedAs("page", "save")
	// The tag is painted into the PNG, on a canvas that is not in the page.
	script(t, ctx, `window.text = ""; window.count = saved.length; { const fill = CanvasRenderingContext2D.prototype.fillText; CanvasRenderingContext2D.prototype.fillText = function (s, ...at) { if (!this.canvas.isConnected) window.text += s; return fill.call(this, s, ...at); }; } press("save"); press("save-png")`)
	soon(t, ctx, "the PNG", `saved.length > count && /png/.test(saved[saved.length - 1].type)`, 10*time.Second)
	tagged("png", `text`)
	script(t, ctx, `if (dialogOpen()) shut(); press("source-open")`)
	soon(t, ctx, "the demos", `at("source-demos-0")`, 10*time.Second)
	if plain := look[string](t, ctx, `[...document.querySelectorAll("[data-testid^=source-demos-]")].filter((e) => !/invented/i.test(e.querySelector("b").textContent)).map((e) => e.textContent).join("; ")`); plain != "" {
		t.Errorf("the list of sources has demos whose names do not say that they are invented: %s", plain)
	}
	script(t, ctx, `if (dialogOpen()) shut()`)
	// On paper everything is hidden that a print rule names; the tag and its ancestors are not.
	tagged("print", `[...document.styleSheets].flatMap((s) => [...s.cssRules]).filter((r) => r.media?.mediaText === "print").flatMap((r) => [...r.cssRules]).some((r) => r.style?.display === "none" && at("source-invented").closest(r.selectorText)) ? "" : at("source-invented").textContent`)
	script(t, ctx, `fetch("/api/v1/keep", {method: "POST", headers: {"Content-Type": "application/json"}, body: '{"minutes": 1, "name": "board A"}'}); press("drawer-recordings")`)
	soon(t, ctx, "the list", `at("recording-0")`, 10*time.Second)
	soon(t, ctx, "what is known of it", `document.querySelector("[data-recording] .invented")?.checkVisibility()`, 10*time.Second)
	tagged("list", `[...document.querySelectorAll("[data-recording] .invented")].filter((e) => e.checkVisibility()).map((e) => e.textContent).join()`)
	script(t, ctx, `press("recording-0")`)
	soon(t, ctx, "the review", `shown("review-invented")`, 10*time.Second)
	tagged("review", seen("review-invented"))
	soon(t, ctx, "its trace", `pulsewrightReview().piece?.exact`, 10*time.Second)
	savedAs("review", "review-save")
	script(t, ctx, `press("review-as-a")`)
	soon(t, ctx, "the comparison", `at("compare")?.open && at("compare").querySelector("option")`, 10*time.Second)
	tagged("compare", `[...at("compare").querySelectorAll("select")].map((s) => s.selectedOptions[0]?.textContent ?? "").join()`)
	soon(t, ctx, "both sides", `document.querySelectorAll("[data-testid=compare-words] li").length > 0`, 20*time.Second)
	savedAs("compare", "compare-save")
	folder := strings.TrimPrefix(look[string](t, ctx, `at("recordings-folder").textContent`), "Saved in ")
	files, _ := filepath.Glob(filepath.Join(folder, "*board A INVENTED.edf"))
	if len(files) != 1 {
		all, _ := filepath.Glob(filepath.Join(folder, "*"))
		t.Fatalf("no recording with the tag in its name among %q", all)
	}
	raw, err := os.ReadFile(files[0])
	if err != nil || !strings.Contains(string(raw[88:168]), acquire.InventedTag) {
		t.Errorf("the recording field is %q, %v", raw[88:168], err)
	}
}

// TestWiredIsAskedFor: a live source asks before it opens; yes brings the cautions in
// the same dialog; another person and replugging ask again.
func TestWiredIsAskedFor(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	b := newBench(t)
	play, stop := context.WithCancel(context.Background())
	defer stop()
	go b.play(play, steady(66))
	open(t, ctx, program(t, "demo:finger"))
	ready(t, ctx)
	soon(t, ctx, "the page", `S().lastIndex > 100`, 20*time.Second)
	script(t, ctx, `press("source-open"); at("source-address").value = "serial:`+b.link+`?baud=115200"; press("source-open-address")`)
	soon(t, ctx, "the question", `shown("wired-yes") && !shown("wired-cautions")`, 5*time.Second)
	if name := look[string](t, ctx, `at("source-name").textContent`); !strings.Contains(name, "nvented") {
		t.Errorf("%s opened before the answer", name)
	}
	script(t, ctx, `press("wired-yes")`)
	soon(t, ctx, "the cautions", `shown("wired-cautions") && /batteries only/.test(at("wired-cautions").textContent)`, 2*time.Second)
	picture(t, ctx, "cautions")
	script(t, ctx, `press("wired-ack")`)
	soon(t, ctx, "the board", `/pty|pts|tty|serial|board/i.test(at("source-name").textContent) && !dialogOpen() && S().lastIndex > 100 && !shown("source-invented")`, 30*time.Second)
	script(t, ctx, `press("show-open")`)
	soon(t, ctx, "the projector's line", `shown("show-projector")`, 3*time.Second)
	script(t, ctx, `press("show-leave"); press("wired-person")`)
	soon(t, ctx, "the question for another person", `shown("wired-nobody")`, 2*time.Second)
	script(t, ctx, `press("wired-nobody")`)
	soon(t, ctx, "an end of it", `!dialogOpen()`, 2*time.Second)
	b.unplug()
	soon(t, ctx, "the board to be away", `document.body.dataset.status === "waiting"`, 15*time.Second)
	soon(t, ctx, "the word of it to a screen reader", `/away/.test(at("live-region").textContent)`, 2*time.Second)
	b.plug()
	soon(t, ctx, "the question after replugging", `shown("wired-finger")`, 45*time.Second)
	script(t, ctx, `press("wired-finger")`)
	// Two hours later.
	script(t, ctx, `const real = Date.now; Date.now = () => real() + 2 * 3600 * 1000 + 1000`)
	soon(t, ctx, "the question after two hours", `shown("wired-finger")`, 5*time.Second)
}
