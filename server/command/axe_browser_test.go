//go:build !windows

package command

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pulsewright/acquire/acquiretest"
)

// axeFinding is a violation as axe-core reports it.
type axeFinding struct {
	ID, Impact, Help string
	Nodes            []struct {
		HTML    string
		Summary string `json:"failureSummary"`
	}
}

// keystroke sends real key strokes to the page.
func keystroke(t *testing.T, ctx context.Context, keys string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.KeyEvent(keys)); err != nil {
		t.Fatalf("keys %q: %v", keys, err)
	}
}

// script evaluates JavaScript for its effect.
func script(t testing.TB, ctx context.Context, code string) {
	t.Helper()
	look[bool](t, ctx, `(() => { `+code+`; return true })()`)
}

// axe loads axe-core into the page and returns what it finds; serious and critical
// findings are errors of the test.
func axe(t *testing.T, ctx context.Context, source, where string, seen map[string]bool) {
	t.Helper()
	only := ""
	if strings.HasPrefix(where, "dark") {
		only = `, runOnly: ["color-contrast"]` // all else is as on light ground
	}
	if !look[bool](t, ctx, `!!window.axe`) {
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[string](source+"; 'loaded'")); err != nil {
			t.Fatalf("axe-core does not load: %v", err)
		}
	}
	script(t, ctx, `window.findings = null; axe.run(document, {resultTypes: ["violations"]`+only+`}).then((r) => (window.findings = r.violations.map(({id, impact, help, nodes}) => ({id, impact, help, nodes: nodes.slice(0, 4).map(({html, failureSummary}) => ({html, failureSummary}))}))), (e) => (window.findings = [{id: "error", impact: "critical", help: String(e), nodes: []}]))`)
	soon(t, ctx, "axe-core's findings", `window.findings !== null`, 60*time.Second)
	for _, f := range look[[]axeFinding](t, ctx, `window.findings`) {
		text, _ := json.MarshalIndent(f.Nodes, "  ", " ")
		if told := f.ID + string(text); seen[told] {
			continue
		} else {
			seen[told] = true
		}
		if f.Impact == "serious" || f.Impact == "critical" {
			t.Errorf("%s: %s (%s): %s\n  %s", where, f.ID, f.Impact, f.Help, text)
		} else {
			t.Logf("%s: %s (%s): %s", where, f.ID, f.Impact, f.Help)
		}
	}
}

// TestNothingSeriousForAxe looks with axe-core at the page, every drawer, every
// dialog and the view for a room, on light and on dark ground, wide and narrow.
func TestNothingSeriousForAxe(t *testing.T) {
	t.Parallel()
	source, err := os.ReadFile("../../web/node_modules/axe-core/axe.min.js")
	if errors.Is(err, fs.ErrNotExist) {
		acquiretest.Missing(t, "axe-core (cd web && npm install)")
	}
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:both")
	seen := map[string]bool{}
	for i, theme := range []string{"light", "dark"} {
		open(t, ctx, address)
		soon(t, ctx, "a reading", `window.pulsewright?.stats?.().state === "reading"`, 40*time.Second)
		script(t, ctx, `document.querySelector("[data-testid=cautions-ack]")?.click()`)
		if look[string](t, ctx, `document.documentElement.dataset.theme`) != theme {
			keystroke(t, ctx, "t")
		}
		soon(t, ctx, theme, fmt.Sprintf(`document.documentElement.dataset.theme === %q`, theme), 5*time.Second)
		axe(t, ctx, string(source), theme+", page", seen)
		picture(t, ctx, theme)
		if i == 0 {
			keystroke(t, ctx, "c") // the cursors and their readout
			axe(t, ctx, string(source), theme+", cursors", seen)
			keystroke(t, ctx, "c")
		}
		for _, id := range look[[]string](t, ctx, `[...document.querySelectorAll("[aria-controls=drawer]")].map((b) => b.id)`) {
			script(t, ctx, fmt.Sprintf(`document.getElementById(%q).click()`, id))
			time.Sleep(700 * time.Millisecond)
			axe(t, ctx, string(source), theme+", "+id, seen)
			picture(t, ctx, theme+"-"+id)
			script(t, ctx, `document.querySelector("[data-testid=drawer-close]")?.click()`)
		}
		for name, open := range map[string]string{"sources": "s", "keys": "?", "save": "e", "paper": "P"} {
			keystroke(t, ctx, open)
			soon(t, ctx, "the dialog "+name, `document.querySelector("dialog[open]")`, 5*time.Second)
			time.Sleep(300 * time.Millisecond)
			axe(t, ctx, string(source), theme+", dialog "+name, seen)
			picture(t, ctx, theme+"-"+name)
			script(t, ctx, `document.querySelector("dialog[open]").close()`)
		}
		for name, id := range map[string]string{"cautions": "cautions-open", "scale": "scale-open", "screen": "calibrate"} {
			script(t, ctx, fmt.Sprintf(`document.getElementById(%q).click()`, id))
			soon(t, ctx, "the dialog "+name, `document.querySelector("dialog[open]")`, 5*time.Second)
			axe(t, ctx, string(source), theme+", dialog "+name, seen)
			script(t, ctx, `document.querySelector("dialog[open]").close()`)
		}
		keystroke(t, ctx, "w")
		soon(t, ctx, "the show view", `window.pulsewright.stats().show.open`, 5*time.Second)
		time.Sleep(300 * time.Millisecond)
		axe(t, ctx, string(source), theme+", show", seen)
		keystroke(t, ctx, "t")
		axe(t, ctx, string(source), theme+", show on the other ground", seen)
		keystroke(t, ctx, "\x1b")
		soon(t, ctx, "the page again", `!window.pulsewright.stats().show.open`, 5*time.Second)
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	time.Sleep(500 * time.Millisecond)
	axe(t, ctx, string(source), "narrow, page", seen)
	if strings.TrimSpace(look[string](t, ctx, `document.title`)) == "" {
		t.Error("the page has no title")
	}
}
