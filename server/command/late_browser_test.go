//go:build !windows

package command

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
)

// holdJS holds the page's requests whose address matches window.hold, and the answers to those that match window.late, until
// free() lets them go; what changes something and matches window.refuse is refused.
const holdJS = `{ const real = window.fetch; window.hold = window.late = window.refuse = null; window.held = [];
	window.fetch = (url, init) => {
		if (init?.method !== "GET" && refuse?.test(url)) return Promise.resolve(new Response('{"error": "no"}', {status: 500}));
		if (hold?.test(url)) return new Promise((ok) => held.push(() => ok(real(url, init))));
		const answer = real(url, init);
		return late?.test(url) ? new Promise((ok) => held.push(() => ok(answer))) : answer;
	};
	window.free = () => held.splice(0).forEach((go) => go());
	window.pick = (id, v) => { const e = at(id); e.value = v; e.dispatchEvent(new Event("change", {bubbles: true})); }; }`

// TestTypedStays: a number being typed on the path is not written over by what the program tells meanwhile.
func TestTypedStays(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "a second", `window.pulsewright?.stats?.().lastIndex > 250`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click(); at("drift-cutoff").focus(); at("drift-cutoff").select()`)
	keyDown(t, ctx, "0.7")
	time.Sleep(2500 * time.Millisecond)
	if v := look[string](t, ctx, `at("drift-cutoff").value`); v != "0.7" {
		t.Errorf("0.7 was typed, and %s stands there", v)
	}
	keyDown(t, ctx, kb.Tab)
	soon(t, ctx, "the cutoff", `S().channels[0].path.drift.cutoffHz === 0.7`, 10*time.Second)
	script(t, ctx, `fetch("/api/v1/channels/0/kind", {method: "PUT", headers: {"Content-Type": "application/json"}, body: '{"kind": "ecg"}'})`)
	soon(t, ctx, "what another sets", `at("drift-cutoff").value === "0.5"`, 10*time.Second)
}

// TestChangesFasterThanAnswers: what is changed on the path while a change is on its way is built on that one, and undoing
// a scale leaves what was measured since.
func TestChangesFasterThanAnswers(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "a second", `window.pulsewright?.stats?.().lastIndex > 250`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, holdJS+`at("cautions-ack")?.click(); hold = /path$/; pick("drift-cutoff", "0.7"); pick("smooth-shape", "rc")`)
	soon(t, ctx, "the first change on its way", `held.length === 1`, 5*time.Second)
	time.Sleep(1500 * time.Millisecond) // states without it come
	if shown := look[string](t, ctx, `at("drift-cutoff").value + at("smooth-shape").value`); shown != "0.7rc" {
		t.Errorf("while a change is on its way the page shows %s", shown)
	}
	script(t, ctx, `hold = null; free()`)
	soon(t, ctx, "both changes", `S().channels[0].path.smooth.shape === "rc" && S().channels[0].path.drift.cutoffHz === 0.7 && S().settings.done === 2`, 10*time.Second)
	script(t, ctx, `press("undo"); press("undo")`)
	soon(t, ctx, "both undone", `S().channels[0].path.smooth.shape !== "rc" && S().channels[0].path.drift.cutoffHz === 0.3 && S().settings.undone === 2`, 10*time.Second)

	script(t, ctx, `press("scale-open"); at("scale-rail-low").value = "0"; at("scale-rail-high").value = "3.3"; at("scale-mid-rail").value = ""; at("scale-mid-rail").focus()`)
	for typed, want := range map[string]string{"165": "it must not lie above the upper supply rail, 3.3 V", "1,6.5": "“1,6.5” is no number"} {
		script(t, ctx, `at("scale-mid-rail").focus(); at("scale-mid-rail").select()`)
		keyDown(t, ctx, typed)
		keyDown(t, ctx, kb.Enter)
		soon(t, ctx, want, fmt.Sprintf(`document.querySelector("#scale-dialog .error").textContent.includes(%q) && at("scale-dialog").open && !document.querySelector(".scale-form").inert`, want), 5*time.Second)
	}
	script(t, ctx, `at("scale-gain").value = "2"; at("scale-mid-rail").focus(); at("scale-mid-rail").select()`)
	keyDown(t, ctx, "1,65")
	keyDown(t, ctx, kb.Enter)
	soon(t, ctx, "a mid-rail with a decimal comma", `S().channels[0].scale.midRailVolts === 1.65`, 5*time.Second)
	soon(t, ctx, "the gain", `S().channels[0].scale.gain === 2 && S().settings.done === 1`, 10*time.Second)
	script(t, ctx, `fetch("/api/v1/channels/0/scale", {method: "PUT", headers: {"Content-Type": "application/json"}, body: JSON.stringify({...S().channels[0].scale, midRailVolts: 1.25})})`)
	soon(t, ctx, "what was measured since", `S().channels[0].scale.midRailVolts === 1.25`, 10*time.Second)
	script(t, ctx, `press("undo")`)
	soon(t, ctx, "the gain to be undone", `S().channels[0].scale.gain === 1`, 10*time.Second)
	if !look[bool](t, ctx, `S().channels[0].scale.midRailVolts === 1.25`) {
		t.Error("undoing the gain wiped what was measured since")
	}
}

// TestLateLooks: while a text file is asked about, a look at it that was asked for before the newest change says nothing, and
// a unit being typed stays.
func TestLateLooks(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "a second", `window.pulsewright?.stats?.().lastIndex > 250`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, holdJS+`at("cautions-ack")?.click()`)
	rows := "time_ms;clip;room\n"
	for i := range 200 {
		rows += fmt.Sprintf("%d;2,%03d;%d\n", 8*i, 500+i%40, 300+i%7)
	}
	dropFiles(t, ctx, map[string][]byte{"late.txt": []byte(rows)})
	const settled = `at("import-dialog")?.open && !at("import-go").disabled`
	soon(t, ctx, "the question", settled, 10*time.Second)
	script(t, ctx, `hold = /preview/; pick("import-kind", "pulse")`)
	soon(t, ctx, "the look on its way", `held.length === 1`, 5*time.Second)
	script(t, ctx, `pick("import-role-2", "none"); at("import-unit-1").focus(); free()`)
	keyDown(t, ctx, "m")
	soon(t, ctx, "the next look on its way", `held.length === 1`, 5*time.Second)
	if got := look[string](t, ctx, `[at("import-role-2").value, at("import-unit-1").value, at("import-go").disabled].join(" ")`); got != "none m true" {
		t.Errorf("after a late look the role, the unit and whether it waits are %q", got)
	}
	script(t, ctx, `hold = null; free()`)
	soon(t, ctx, "the look with both", settled+` && /^1 channel/.test(at("import-result").innerText)`, 10*time.Second)
	keyDown(t, ctx, "V")
	soon(t, ctx, "millivolts", settled+` && /0\.0025.* V/.test(at("import-traces").innerText)`, 10*time.Second)
	if got := look[string](t, ctx, `at("import-unit-1").value`); got != "mV" {
		t.Errorf("mV was typed, and %s stands there", got)
	}
}

// TestScaleChangedTwice: when a scale changes again while the past is awaited, all of the past is in the new unit.
func TestScaleChangedTwice(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "six seconds", `window.pulsewright?.stats?.().lastIndex > 1500`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, holdJS+`window.to = S().lastIndex; window.was = [];
		for (let i = 0; i < to; i++) was.push(pulsewright.sample(0, 0, i));
		window.gain = (gain) => void fetch("/api/v1/channels/0/scale", {method: "PUT", headers: {"Content-Type": "application/json"}, body: JSON.stringify({...S().channels[0].scale, gain})});
		late = /history/; gain(2)`)
	soon(t, ctx, "the past in the first unit on its way", `held.length === 1 && S().lastIndex > to + 50`, 10*time.Second)
	script(t, ctx, `gain(4)`)
	soon(t, ctx, "the past in the second unit on its way", `held.length === 2`, 10*time.Second)
	script(t, ctx, `late = null; held.pop()(); setTimeout(free, 300)`)
	soon(t, ctx, "the past", `S().firstIndex === 0`, 10*time.Second)
	time.Sleep(time.Second)
	if n := look[int](t, ctx, `was.filter((v, i) => !Number.isNaN(v) && Math.abs(pulsewright.sample(0, 0, i) - v / 4) > 1e-4).length`); n > 0 {
		t.Errorf("%d of %d samples are in another unit", n, look[int](t, ctx, `was.length`))
	}
}

// TestRefusedIsNotLost: a note that is refused stays to be kept; a scale cannot be changed while it is being applied; sharing
// that is refused is not announced; and a board remembered in another tab stays remembered.
func TestRefusedIsNotLost(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "a second", `window.pulsewright?.stats?.().lastIndex > 250`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, holdJS+`at("cautions-ack")?.click(); refuse = /notes/; press("note-add"); at("note-text").value = "finger warmed"; press("note-save")`)
	soon(t, ctx, "the refusal", `shown("banner-text") || document.getElementById("banner-text").checkVisibility()`, 5*time.Second)
	if got := look[string](t, ctx, `shown("note-text") ? at("note-text").value : "nothing"`); got != "finger warmed" {
		t.Errorf("of a refused note there stays %q", got)
	}
	script(t, ctx, `refuse = null; press("note-save")`)
	soon(t, ctx, "the note", `S().notes === 1 && !shown("note-text")`, 5*time.Second)

	script(t, ctx, `press("scale-open"); hold = /scale/; at("scale-gain").focus(); at("scale-gain").select()`)
	keyDown(t, ctx, "2"+kb.Enter)
	soon(t, ctx, "the scale on its way", `held.length === 1`, 5*time.Second)
	keyDown(t, ctx, "5")
	if got := look[string](t, ctx, `at("scale-gain").value`); got != "2" {
		t.Errorf("while a gain of 2 is applied it becomes %s, which is lost", got)
	}
	script(t, ctx, `hold = null; refuse = /scale/; free()`)
	soon(t, ctx, "the gain", `S().channels[0].scale.gain === 2 && dialogOpen() === ""`, 5*time.Second)
	script(t, ctx, `press("scale-open"); at("scale-apply").focus()`)
	keyDown(t, ctx, kb.Enter)
	soon(t, ctx, "the refusal of a scale", `document.querySelector("#scale-dialog .error").textContent !== "" && document.activeElement === at("scale-apply")`, 5*time.Second)
	script(t, ctx, `shut(); refuse = /share/; press("drawer-share")`)

	soon(t, ctx, "the Share drawer", `at("share-state")?.textContent === "Not shared"`, 10*time.Second)
	time.Sleep(1600 * time.Millisecond) // what is announced soon after another waits
	script(t, ctx, `document.getElementById("live-region").textContent = ""; press("share-toggle")`)
	soon(t, ctx, "the refusal to share", `at("share-problem").textContent !== "" && !at("share-toggle").disabled`, 5*time.Second)
	if got := look[string](t, ctx, `document.getElementById("live-region").textContent`); strings.Contains(got, "shared") {
		t.Errorf("refused, and %q is announced", got)
	}

	script(t, ctx, `refuse = null; press("drawer-check")`)
	soon(t, ctx, "the meters", `shown("remember")`, 20*time.Second)
	script(t, ctx, `press("remember")`)
	soon(t, ctx, "one remembered", `at("remembered").options.length === 1`, 5*time.Second)
	const elsewhere = `window.key = Object.keys(localStorage).find((k) => /check/.test(k) && /demo:finger/.test(k)); window.list = JSON.parse(localStorage[key]); localStorage[key] = JSON.stringify([...list, {...list[0], name: "of another tab"}]);`
	script(t, ctx, elsewhere+`press("remember")`)
	soon(t, ctx, "all remembered", `at("remembered").options.length === 3 && /of another tab/.test(at("remembered").textContent)`, 5*time.Second)
	script(t, ctx, elsewhere+`press("forget")`)
	soon(t, ctx, "one forgotten", `at("remembered").options.length === 3 && JSON.parse(localStorage[key]).length === 3`, 5*time.Second)
}

// TestFirstStepsDoneStayAway: a page loaded anew after all three steps were done does not begin with them again.
func TestFirstStepsDoneStayAway(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	file, err := filepath.Abs("../../testdata/lamp_clip_a.edf")
	if err != nil {
		t.Fatal(err)
	}
	address := program(t, "file:"+file)
	open(t, ctx, address)
	ready(t, ctx)
	soon(t, ctx, "all steps done", `[1, 2, 3].every((n) => at("guide-step-" + n).textContent.includes("✓"))`, 40*time.Second)
	if !look[bool](t, ctx, `shown("guide")`) {
		t.Error("the steps went while they were looked at")
	}
	open(t, ctx, address)
	ready(t, ctx)
	soon(t, ctx, "a reading", `S().state === "reading"`, 40*time.Second)
	if look[bool](t, ctx, `shown("guide")`) {
		t.Error("the first steps are back after they were all done")
	}
}
