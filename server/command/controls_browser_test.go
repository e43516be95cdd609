//go:build !windows

package command

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// A control of the page, how it is used and what its use changes.
type control struct {
	id     string // data-testid
	probe  string // JavaScript; its value differs after each use
	keys   string // with the focus on it; "" is Enter
	mouse  string // "" a click; "drag" to the right; "type" a click, then keys; "pick" a click on a list, then keys
	before string // JavaScript that makes ready for a use
	when   string // what must then hold; "" nothing
	after  string // and that cleans up
}

// where a control's centre is, and whether anything lies over it.
type spot struct {
	X, Y    float64
	Hit     bool
	Over    string
	Focused bool
}

const controlsJS = `
window.S = () => window.pulsewright.stats();
window.at = (id) => document.querySelector('[data-testid="' + id + '"]');
window.press = (id) => at(id).click();
window.shown = (id) => !!at(id)?.checkVisibility({visibilityProperty: true});
window.dialogOpen = () => document.querySelector("dialog[open]")?.id ?? "";
window.shut = () => document.querySelectorAll("dialog[open]").forEach((d) => d.close());
window.saved = [];
{ const make = URL.createObjectURL; URL.createObjectURL = (b) => { window.saved.push(b); return make.call(URL, b); }; }
window.interactive = () => [...document.querySelectorAll('button, select, input, textarea, a[href], summary, [role=slider], [tabindex="0"]')].filter((e) => e.checkVisibility({visibilityProperty: true}));
window.nameOf = (e) => (e.dataset.testid || e.id || e.outerHTML.slice(0, 90)).replace(/\d+/g, "N");
`

// ready puts the helpers above into the page.
func ready(t testing.TB, ctx context.Context) {
	t.Helper()
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(() => {`+strings.ReplaceAll(controlsJS, "`", "")+`})(); "ready"`)); err != nil {
		t.Fatal(err)
	}
}

func centre(t *testing.T, ctx context.Context, id string) spot {
	t.Helper()
	return look[spot](t, ctx, fmt.Sprintf(`(() => {
		const e = at(%q);
		if (!e) return {Over: "not on the page"};
		e.scrollIntoView({block: "nearest", inline: "nearest"});
		const r = e.getBoundingClientRect();
		const X = r.left + r.width / 2, Y = r.top + r.height / 2;
		const over = document.elementFromPoint(X, Y);
		const label = e.closest("label");
		return {X, Y, Hit: !!over && (e.contains(over) || !!label?.contains(over)), Over: over ? over.outerHTML.slice(0, 120) : "nothing"};
	})()`, id))
}

// use works a control by mouse or by keyboard and waits for what must change.
func use(t *testing.T, ctx context.Context, c control, by string) {
	t.Helper()
	if c.after != "" {
		defer script(t, ctx, c.after)
	}
	if c.before != "" {
		script(t, ctx, c.before)
	}
	if c.when != "" {
		soon(t, ctx, c.id+" to be ready", c.when, 10*time.Second)
	}
	soon(t, ctx, c.id+" to be there", fmt.Sprintf(`shown(%q) && !at(%q).disabled`, c.id, c.id), 10*time.Second)
	before := look[string](t, ctx, `String(`+c.probe+`)`)
	keys := c.keys
	if keys == "" {
		keys = kb.Enter
	}
	if by == "mouse" {
		p := centre(t, ctx, c.id)
		still := false // what is clicked while the page moves is missed
		for deadline := time.Now().Add(3 * time.Second); !(p.Hit && still) && time.Now().Before(deadline); {
			time.Sleep(50 * time.Millisecond)
			last := p
			p = centre(t, ctx, c.id)
			still = p.X == last.X && p.Y == last.Y
		}
		if !p.Hit {
			picture(t, ctx, "covered")
			t.Errorf("%s cannot be clicked: %s lies at its middle", c.id, p.Over)
			return
		}
		var err error
		if c.mouse == "drag" {
			err = chromedp.Do(ctx, chromedp.MouseEvent("mousePressed", p.X, p.Y, chromedp.Button("left"), chromedp.ClickCount(1)))
			for i := range 5 {
				if err == nil {
					err = chromedp.Do(ctx, chromedp.MouseEvent("mouseMoved", p.X+float64(12*(i+1)), p.Y, chromedp.Button("left")))
				}
			}
			if err == nil {
				err = chromedp.Do(ctx, chromedp.MouseEvent("mouseReleased", p.X+60, p.Y, chromedp.Button("left"), chromedp.ClickCount(1)))
			}
		} else {
			err = chromedp.Do(ctx, chromedp.MouseClickXY(p.X, p.Y))
		}
		if err != nil {
			t.Fatal(err)
		}
		if c.mouse == "pick" {
			keyDown(t, ctx, kb.Escape) // the list that came down is the system's
		}
		if c.mouse == "pick" || c.mouse == "type" {
			keyDown(t, ctx, keys)
		}
	} else {
		if c.mouse == "pick" { // back, where the other use came from
			keys = map[string]string{kb.ArrowDown: kb.ArrowUp, kb.ArrowUp: kb.ArrowDown}[keys]
		}
		script(t, ctx, fmt.Sprintf(`at(%q).focus()`, c.id))
		if !look[bool](t, ctx, fmt.Sprintf(`document.activeElement === at(%q)`, c.id)) {
			t.Errorf("%s does not take the focus", c.id)
			return
		}
		keyDown(t, ctx, keys)
	}
	deadline := time.Now().Add(8 * time.Second)
	for look[string](t, ctx, `String(`+c.probe+`)`) == before {
		if time.Now().After(deadline) {
			picture(t, ctx, "unchanged-"+c.id)
			t.Errorf("%s by %s: %s stays %s", c.id, by, c.probe, before)
			break
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// gather notes every control that can be seen now.
func gather(t *testing.T, ctx context.Context, seen map[string]string, where string) {
	t.Helper()
	for _, name := range look[[]string](t, ctx, `[...new Set(interactive().map((e) => (e.closest("#drawer") ? "drawer: " : e.closest("#recording-view, .review, .compare") ? "review: " : "") + nameOf(e)))]`) {
		if _, ok := seen[name]; !ok {
			seen[name] = where
		}
	}
}

// drawersTested names the test that uses the controls inside each drawer.
var drawersTested = map[string]string{
	"board": "TestBoardDrawerLeadsToPlaces", "why": "TestWhyDrawerSteps", "check": "TestCheckDrawerShowsTheTrimmerTurned, TestFaultIsFoundOnThePage", "spectrum": "TestSpectrumDrawer",
	"sound": "the Sound drawer's own", "recordings": "TestRecordReviewCompareDownload", "intervals": "the Intervals drawer's own", "share": "TestSharingFromThePage", "firmware": "TestFirmwareDrawer, TestAsTheBoardSeesIt",
	"parts": "TestPartsOfLampClipA",
}

// elsewhere are controls that another test uses, and which.
var elsewhere = []struct{ pattern, test string }{
	{`^sound-`, "the sound input's tests"},
	{`^span-N-`, "each is made as span-N-scale is"},
	{`^source-(ports|recordings|sounds)-N$`, "TestPageShowsABoardLive opens a port, a port of this computer is never opened unasked"},
	{`^(record|keep|review|compare)`, "TestRecordReviewCompareDownload"},
	{`^show-(join-share|follow)$`, "TestJoining, TestPresenterMovesThoseWhoFollow"},
	{`^onboard-open$`, "TestPartsOfLampClipA"},
}

func click(id string) string { return fmt.Sprintf("press(%q);", id) }

// number is a field that arrow keys turn, and a click and arrow keys too.
func number(id, probe string) control {
	return control{id: id, probe: probe, keys: kb.ArrowUp, mouse: "type"}
}

// list is a list of choices. The system draws it when it is clicked, so the click
// proves that it can be reached and the keys choose.
func list(id, probe, keys string) control {
	return control{id: id, probe: probe, keys: keys, mouse: "pick"}
}

// pageControls are those of the page itself, in an order in which they can be used.
func pageControls() []control {
	pathOf := func(part string) string { return `S().channels[S().channel].` + part }
	const millimetres = `if (!S().paper.on) press("paper"); shut();`
	const narrow = `{ const s = at("seconds-across"); s.value = "5"; s.dispatchEvent(new Event("change")); }`
	dialog := func(id, name string) control { return control{id: id, probe: `dialogOpen()`, after: `shut()`} }
	list2 := []control{
		{id: "guide-step-2", probe: `at("guide-text").textContent`, before: click("guide-step-1")},
		{id: "guide-step-3", probe: `at("guide-text").textContent`, before: click("guide-step-1")},
		{id: "guide-step-1", probe: `at("guide-text").textContent`, before: click("guide-step-2")},
		{id: "guide-next", probe: `at("guide-text").textContent`, before: click("guide-step-1")},
		{id: "guide-source", probe: `dialogOpen()`, before: click("guide-step-1"), after: `shut()`},
		{id: "guide-sketch", probe: `dialogOpen()`, before: click("guide-step-1"), after: `shut()`},
		{id: "guide-scale", probe: `dialogOpen()`, before: click("guide-step-2"), after: `shut()`},
		{id: "guide-finger", probe: pathOf("kind"), before: click("guide-step-2") + click("preset-ecg"), when: pathOf(`kind === "ecg"`)},
		{id: "guide-chest", probe: pathOf("kind"), before: click("guide-step-2") + click("preset-pulse"), when: pathOf(`kind === "pulse"`)},
		{id: "guide-check", probe: `at("drawer-check").getAttribute("aria-expanded")`, before: click("guide-step-3") + `at("drawer-close")?.click()`, after: click("drawer-close")},
		{id: "guide-close", probe: `shown("guide")`, before: `if (!shown("guide")) document.dispatchEvent(new KeyboardEvent("keydown", {key: "h", bubbles: true}))`},

		dialog("source-open", "source-dialog"), dialog("help", "help-dialog"), dialog("cautions-open", "cautions-dialog"),
		{id: "theme", probe: `document.documentElement.dataset.theme`},
		{id: "show-open", probe: `S().show.open`, after: click("show-leave")},
		{id: "board-open", probe: `shown("drawer")`},

		{id: "freeze", probe: `S().held`},
		{id: "live", probe: `S().held`, before: `if (!S().held) press("freeze")`},
		{id: "seconds-less", probe: `S().secondsAcross`},
		{id: "seconds-more", probe: `S().secondsAcross`},
		list("seconds-across", `S().secondsAcross`, kb.ArrowDown),
		{id: "span-N-scale", probe: `at("span-0-scale").value`, keys: kb.ArrowDown, mouse: "pick"},
		{id: "auto-all", probe: `at("span-0-scale").value`, before: `{ const s = at("span-0-scale"); s.value = "5"; s.dispatchEvent(new Event("change")); }`},
		{id: "overlay", probe: `S().overlaid`},
		{id: "cursors", probe: `S().cursors.on`},
		{id: "cursor-a", probe: `S().cursors.a`, keys: kb.ArrowRight, mouse: "drag", before: `if (!S().cursors.on) press("cursors")`},
		{id: "cursor-b", probe: `S().cursors.b`, keys: kb.ArrowLeft, mouse: "drag", after: `if (S().cursors.on) press("cursors"); if (S().held) press("live")`, before: `if (!S().cursors.on) press("cursors")`},
		{id: "zoom", probe: `at("zoom").getAttribute("aria-pressed")`},
		{id: "zoom-out", probe: `S().zooms`, before: `if (!S().cursors.on) press("cursors"); press("zoom"); press("cursors")`, after: `if (S().held) press("live")`},
		{id: "paper", probe: `S().paper.on`, after: `shut()`},
		{id: "paper-speed", probe: `S().paper.mmPerSecond`, keys: kb.ArrowDown, mouse: "pick", before: millimetres},
		{id: "paper-height", probe: `S().paper.mmPerVolt`, keys: kb.ArrowUp, mouse: "pick", before: millimetres},
		{id: "calibrate", probe: `dialogOpen()`, before: millimetres, after: `shut()`},
		{id: "note-add", probe: `shown("note-text")`, after: `at("note-text").dispatchEvent(new KeyboardEvent("keydown", {key: "Escape", bubbles: true}))`},
		{id: "note-text", probe: `S().notes`, keys: "warm" + kb.Enter, mouse: "type", before: `if (!shown("note-text")) press("note-add")`},
		{id: "note-save", probe: `S().notes`, before: `if (!shown("note-text")) press("note-add"); at("note-text").value = "cold"`},
		dialog("save", "save-dialog"),
		dialog("sheet-open", "sheet-dialog"),
		dialog("term-scale", "glossary-dialog"), dialog("term-drift", "glossary-dialog"), dialog("term-hum", "glossary-dialog"),
		dialog("term-smooth", "glossary-dialog"), dialog("term-beats", "glossary-dialog"),
		{id: "trace-canvas", probe: `S().held`, keys: kb.ArrowLeft, mouse: "drag", before: narrow + `; if (S().held) press("live")`, after: `if (S().held) press("live")`},
		{id: "scrub", probe: `S().held`, keys: kb.PageUp, before: narrow, after: `if (S().held) press("live")`},

		{id: "channel-0", probe: `S().channel`, before: click("channel-1")},
		{id: "channel-1", probe: `S().channel`, before: click("channel-0"), after: click("channel-0")},
		{id: "preset-pulse", probe: pathOf("kind"), before: click("preset-ecg"), when: pathOf(`kind === "ecg"`)},
		{id: "preset-ecg", probe: pathOf("kind"), before: click("preset-pulse"), when: pathOf(`kind === "pulse"`)},
		dialog("path-open-source", "source-dialog"), dialog("scale-open", "scale-dialog"),
		{id: "path-fold", probe: `shown("drift-on")`},
		{id: "drift-on", probe: pathOf("path.drift.on"), keys: " "},
		number("drift-cutoff", pathOf("path.drift.cutoffHz")),
		list("drift-order", pathOf("path.drift.order"), kb.ArrowDown),
		list("hum-mode", pathOf("path.hum.mode"), kb.ArrowDown),
		list("hum-freq", pathOf("path.hum.freqHz"), kb.ArrowDown),
		number("hum-bandwidth", pathOf("path.hum.bandwidthHz")),
		list("hum-harmonics", pathOf("path.hum.harmonics"), kb.ArrowDown),
		list("smooth-shape", pathOf("path.smooth.shape"), kb.ArrowUp),
		number("smooth-cutoff", pathOf("path.smooth.cutoffHz")),
		{id: "smooth-order", probe: pathOf("path.smooth.order"), keys: kb.ArrowDown, mouse: "pick", before: click("preset-ecg"), when: pathOf(`path.smooth.shape === "butterworth"`) + " && " + pathOf(`path.smooth.order === 2`)},
		{id: "undo", probe: pathOf("path.drift.on"), when: `S().settings.done > window.done && ` + pathOf("path.drift.on") + ` !== window.was`,
			before: `window.done = S().settings.done; window.was = ` + pathOf("path.drift.on") + `; press("drift-on")`},
		{id: "redo", probe: pathOf("path.drift.on"), when: `window.undone && !at("redo").disabled`, before: `window.undone = false; (async () => {
			const count = (what) => S().settings[what], till = async (f) => { while (!f()) await new Promise((r) => setTimeout(r, 30)); };
			const done = count("done"); press("drift-on"); await till(() => count("done") === done + 1); press("undo"); await till(() => count("done") === done && count("undone") === 1); window.undone = true; })()`},
	}
	for _, name := range []string{"scale", "drift", "hum", "smooth", "beats"} {
		list2 = append(list2, control{id: "probe-" + name, probe: `JSON.stringify(S().probes)`})
	}
	return append(list2,
		list("kind", pathOf("kind"), kb.ArrowUp),
		control{id: "banner-close", probe: `shown("banner")`, before: `for (let k = 0; !shown("banner") && k < 12; k++) { if (k % 6 === 5) press("channel-1"); [...document.querySelectorAll(".probe")].find((b) => b.getAttribute("aria-pressed") === "false")?.click(); }`})
}

// TestEveryControlByMouseAndKeyboard uses every control of the page with real mouse
// and key events and sees what it is for happen; a control on the page that no test
// uses, or that has no name for tests, fails it.
func TestEveryControlByMouseAndKeyboard(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:both")
	open(t, ctx, address)
	soon(t, ctx, "a reading", `window.pulsewright?.stats?.().state === "reading"`, 60*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click()`)
	seen, used := map[string]string{}, map[string]bool{}
	digits := regexp.MustCompile(`\d+`)
	work := func(list []control) {
		for _, c := range list {
			used[digits.ReplaceAllString(c.id, "N")] = true
			c.id = strings.ReplaceAll(c.id, "-N-", "-0-")
			for _, by := range []string{"mouse", "keyboard"} {
				use(t, ctx, c, by)
				gather(t, ctx, seen, c.id)
			}
		}
	}
	gather(t, ctx, seen, "page")
	tabReaches(t, ctx)
	work(pageControls())
	if list := look[int](t, ctx, `document.querySelectorAll('[data-testid^=span-]').length`); list == 0 {
		t.Error("no trace has a list of spans")
	}

	// Drawers: each opens and closes by mouse and by its button's key.
	for _, id := range look[[]string](t, ctx, `[...document.querySelectorAll("[aria-controls=drawer]")].map((b) => b.id)`) {
		name := strings.TrimPrefix(id, "drawer-")
		work([]control{{id: id, probe: fmt.Sprintf(`at(%q).getAttribute("aria-expanded")`, id)}})
		work([]control{{id: "drawer-close", probe: `shown("drawer")`, before: fmt.Sprintf(`if (!shown("drawer")) press(%q)`, id)}})
		script(t, ctx, fmt.Sprintf(`press(%q)`, id))
		time.Sleep(300 * time.Millisecond)
		if drawersTested[name] == "" {
			t.Errorf("the drawer %s has no test that uses its controls: add it to drawersTested", name)
		}
		for _, html := range look[[]string](t, ctx, `[...document.querySelectorAll("#drawer button, #drawer select, #drawer input, #drawer textarea")].filter((e) => !e.dataset.testid && !e.dataset.section && !e.closest(".places") && e.checkVisibility()).map((e) => e.outerHTML.slice(0, 160))`) {
			t.Errorf("in the drawer %s a control has no name for tests: %s", name, html)
		}
		script(t, ctx, `at("drawer-close")?.click()`)
	}

	// Dialogs.
	in := func(opener string) string { return fmt.Sprintf(`if (!dialogOpen()) press(%q);`, opener) }
	for id, opener := range map[string]string{"source-dialog": "source-open", "help-dialog": "help", "cautions-dialog": "cautions-open", "scale-dialog": "scale-open", "save-dialog": "save", "sheet-dialog": "sheet-open", "fit-dialog": "calibrate", "glossary-dialog": "term-hum"} {
		before := in(opener)
		if opener == "calibrate" {
			before = `if (!S().paper.on) press("paper");` + before
		}
		work([]control{{id: id + "-close", probe: `dialogOpen()`, before: before}})
	}
	fits := `if (!S().paper.on) press("paper");` + in("calibrate")
	work([]control{
		{id: "cautions-ack", probe: `dialogOpen()`, before: in("cautions-open")},
		{id: "fit-against", probe: `at("fit-length").value`, keys: kb.ArrowDown, mouse: "pick", before: fits},
		{id: "fit-length", probe: `at("fit-length").value`, keys: kb.ArrowRight, mouse: "drag", before: fits},
		{id: "fit-less", probe: `at("fit-length").value`, before: fits},
		{id: "fit-more", probe: `at("fit-length").value`, before: fits},
		{id: "fit-use", probe: `dialogOpen()`, before: fits},
		{id: "fit-forget", probe: `dialogOpen()`, before: fits, after: `if (S().paper.on) press("paper")`},
	})
	script(t, ctx, `window.prints = 0; window.print = () => { window.prints++ }`)
	work([]control{{id: "save-true", probe: `window.prints`, before: in("save")}})
	work([]control{{id: "sheet-handout", probe: `window.prints`, before: in("sheet-open")}, {id: "sheet-lab", probe: `window.prints`, before: in("sheet-open")},
		{id: "sheet-marks", probe: `at("sheet-marks").checked`, keys: " ", before: in("sheet-open"), after: `shut()`},
		{id: "sheet-question", probe: `at("sheet-question").value`, keys: "why?", mouse: "type", before: in("sheet-open"), after: `shut()`}})
	for _, kind := range []string{"png", "svg", "csv"} {
		work([]control{{id: "save-" + kind, probe: `window.saved.filter((b) => /` + kind + `/.test(b.type)).length`, before: in("save"), after: `shut()`}})
	}
	unit := func(field string) control {
		return control{id: "scale-" + field, probe: fmt.Sprintf(`at("scale-%s").value`, field), keys: "1", mouse: "type", before: in("scale-open")}
	}
	converter := in("scale-open") + `if (at("scale-source").value !== "converter") { at("scale-source").value = "converter"; at("scale-source").dispatchEvent(new Event("change")); }`
	reference, bits, full := unit("reference"), unit("bits"), unit("full")
	reference.before, bits.before = converter, converter
	full.before = strings.ReplaceAll(converter, `"converter"`, `"fullscale"`)
	work([]control{
		{id: "scale-source", probe: `at("scale-source").value`, keys: kb.ArrowUp, mouse: "pick", before: converter},
		reference, bits, full,
		{id: "scale-preset", probe: `at("scale-preset").value`, keys: kb.ArrowDown, mouse: "pick", before: in("scale-open")},
		{id: "scale-signed", probe: `at("scale-signed").checked`, keys: " ", before: converter},
		unit("rail-low"), unit("rail-high"), unit("mid-rail"), unit("gain"),
		{id: "scale-invert", probe: `at("scale-invert").checked`, keys: " ", before: in("scale-open"), after: `shut()`},
		{id: "scale-all", probe: `at("scale-all").checked`, keys: " ", before: in("scale-open"), after: `shut()`},
		{id: "scale-apply", probe: `dialogOpen()`, before: in("scale-open")},
	})
	by := func(how string) string {
		return in("source-open") + `at("cableless-how").value = "` + how + `"; at("cableless-how").dispatchEvent(new Event("change"));`
	}
	work([]control{
		{id: "port-baud", probe: `at("port-baud").value`, keys: kb.ArrowDown, mouse: "pick", before: in("source-open")},
		{id: "port-choose", probe: `dialogOpen()`, before: in("source-open"), after: `shut()`},
		{id: "cableless-how", probe: `at("cableless-how").value`, keys: kb.ArrowDown, mouse: "pick", before: in("source-open")},
		{id: "cableless-host", probe: `at("cableless-host").value`, keys: "1", mouse: "type", before: by("tcp")},
		{id: "cableless-port", probe: `at("cableless-port").value`, keys: "1", mouse: "type", before: by("udp")},
		{id: "cableless-here", probe: `at("cableless-here").value`, keys: kb.ArrowDown, mouse: "pick", before: by("udp")},
		{id: "cableless-path", probe: `at("cableless-path").value`, keys: "1", mouse: "type", before: by("fifo")},
		{id: "cableless-open", probe: `at("cableless-error").textContent`, before: by("fifo") + `at("cableless-path").value = "";`, after: `shut()`},
	})
	explain := in("source-open") + `at("source-explain").open = true;`
	work([]control{
		{id: "source-refresh", probe: `window.looked`, before: in("source-open") + `window.looked = 0; { const f = window.fetch; window.fetch = (...a) => { if (/sources/.test(String(a[0]))) window.looked++; return f(...a); }; }`},
		{id: "source-explain-head", probe: `at("source-explain").open`, before: in("source-open")},
		{id: "wiring", probe: `window.fetched`, before: in("source-open") + linkCounter("wiring")},
		{id: "sketch-any_board", probe: `window.fetched`, before: explain + linkCounter("sketch-any_board")},
		{id: "sketch-lamp_clip", probe: `window.fetched`, before: explain + linkCounter("sketch-lamp_clip")},
		{id: "sketch", probe: `at("sketch").scrollTop + at("sketch").scrollLeft + (document.activeElement === at("sketch") ? 1 : 0)`, before: explain + `document.activeElement?.blur()`, keys: kb.ArrowRight},
		{id: "source-address", probe: `at("source-address").value`, keys: "x", mouse: "type", before: in("source-open")},
		{id: "source-open-address", probe: `at("source-error").textContent`, before: in("source-open") + `at("source-error").textContent = ""; at("source-address").value = "demo:nothing" + Math.random()`, after: `shut()`},
		{id: "source-demos-0", probe: `S().epoch`, before: in("source-open"), after: `shut()`},
	})

	// The view for a room.
	show := `if (!S().show.open) press("show-open");`
	pressed := func(id string) string { return fmt.Sprintf(`at(%q).getAttribute("aria-pressed")`, id) }
	work([]control{
		{id: "show-freeze", probe: `S().show.held`, before: show},
		{id: "show-point", probe: `S().show.pointer`, before: show},
		{id: "show-sound", probe: pressed("show-sound"), before: show},
		{id: "show-raw", probe: `S().show.point`, before: show},
		{id: "show-early", probe: pressed("show-early"), before: show + `if (!S().show.sound.on) press("show-sound")`, when: `shown("show-early")`},
		{id: "show-both", probe: `S().show.lanes.join()`, before: show},
		{id: "show-traces", probe: `shown("show-choose")`, before: show},
		{id: "show-lane-0-1", probe: `S().show.lanes.join()`, before: show + `if (!shown("show-choose")) press("show-traces")`},
		{id: "show-choose-close", probe: `shown("show-choose")`, before: show + `if (!shown("show-choose")) press("show-traces")`},
		{id: "show-typical", probe: pressed("show-typical"), before: show},
		{id: "show-ground", probe: `S().show.ground`, before: show},
		{id: "show-full", probe: `document.fullscreenElement !== null`, before: show},
		{id: "show-save", probe: `dialogOpen()`, before: show + `if (dialogOpen()) shut()`, after: `shut()`},
		{id: "show-join-open", probe: `shown("show-join")`, before: show + `if (shown("show-join")) press("show-join-close")`},
		{id: "show-join-close", probe: `shown("show-join")`, before: show + `if (!shown("show-join")) press("show-join-open")`, when: `shown("show-join-close")`},
		{id: "show-present", probe: `S().show.presenting`, before: show},
		{id: "show-line-input", probe: `at("show-line").textContent`, keys: "x", mouse: "type", before: show + `if (!S().show.presenting) press("show-present")`},
		{id: "show-leave", probe: `S().show.open`, before: show},
	})
	// demo 0 is one board; two signals again for the last one.
	script(t, ctx, `fetch("/api/v1/source", {method: "PUT", headers: {"Content-Type": "application/json"}, body: '{"address":"demo:both"}'})`)
	soon(t, ctx, "two channels", `S().channels.length === 2 && S().lastIndex > 500`, 20*time.Second)
	script(t, ctx, `at("cautions-ack")?.click()`)
	work([]control{{id: "show-channel", probe: `S().show.channel`, before: show, after: click("show-leave")}})

	// A recording replayed.
	file := filepath.Join(t.TempDir(), "walk.csv")
	var b strings.Builder
	b.WriteString("time_s,pulse [V]\n")
	for i := range 6000 {
		fmt.Fprintf(&b, "%.2f,%.3f\n", float64(i)/100, 2.5+0.3*float64(i%80)/80)
	}
	if err := os.WriteFile(file, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	open(t, ctx, program(t, "file:"+file))
	soon(t, ctx, "a replay", `window.pulsewright?.stats?.().playback && window.pulsewright.stats().lastIndex > 50`, 30*time.Second)
	ready(t, ctx)
	time.Sleep(500 * time.Millisecond)
	script(t, ctx, `if (dialogOpen()) press("cautions-ack")`)
	gather(t, ctx, seen, "a replay")
	work([]control{
		{id: "playback-pause", probe: `S().playback.speed`},
		{id: "playback-position", probe: `S().lastIndex`, keys: kb.Home, mouse: "drag"},
		list("playback-speed", `S().playback.speed`, kb.ArrowDown),
		{id: "playback-loop", probe: `S().playback.loop`, keys: " "},
	})

	for _, name := range slices.Sorted(maps.Keys(seen)) {
		if strings.HasPrefix(name, "drawer: ") || strings.HasPrefix(name, "review: ") || used[name] {
			continue
		}
		if !slices.ContainsFunc(elsewhere, func(e struct{ pattern, test string }) bool { return regexp.MustCompile(e.pattern).MatchString(name) }) {
			t.Errorf("no test uses the control %s, seen with %s: add it to the table", name, seen[name])
		}
	}
	t.Logf("%d controls seen, %d used by mouse and by keyboard", len(seen), len(used))
}

// linkCounter counts clicks on a download instead of downloading.
func linkCounter(id string) string {
	return fmt.Sprintf(`window.fetched ??= 0; at(%q).onclick = (e) => { e.preventDefault(); window.fetched++; };`, id)
}

// tabReaches walks the page by Tab: every control that is shown and not disabled has
// the focus once, and shows it.
func tabReaches(t *testing.T, ctx context.Context) {
	t.Helper()
	script(t, ctx, `document.activeElement?.blur(); window.reached = new Set(); window.plain = []; window.scrollTo(0, 0); document.addEventListener("focusin", (e) => { reached.add(e.target); const s = getComputedStyle(e.target); if (e.target.matches(":focus-visible") && s.outlineStyle === "none") plain.push(nameOf(e.target)); })`)
	n := look[int](t, ctx, `interactive().length`)
	for range n + 10 {
		keyDown(t, ctx, kb.Tab)
	}
	for _, name := range look[[]string](t, ctx, `interactive().filter((e) => !e.disabled && e.tabIndex >= 0 && !e.closest("[inert]") && !reached.has(e)).map(nameOf)`) {
		t.Errorf("Tab does not reach %s", name)
	}
	for _, name := range look[[]string](t, ctx, `[...new Set(plain)]`) {
		t.Errorf("%s does not show that it has the focus", name)
	}
	script(t, ctx, `document.activeElement?.blur()`)
}
