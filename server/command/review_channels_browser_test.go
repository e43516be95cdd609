//go:build !windows

package command

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
)

// TestReviewSaysWhatAChannelIs: a recording of plain numbers becomes a chest lead in volts in Review,
// with what it is worth computed from the converter, and what was said can be taken back. 5 V ÷ 2^10 ÷ 100
// is 48.8 µV.
func TestReviewSaysWhatAChannelIs(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 900)
	address := program(t, "demo:finger")
	var csv strings.Builder
	csv.WriteString("# rate 100 Hz\nvalue\n")
	for i := range 1000 {
		csv.WriteString([]string{"510\n", "511\n", "560\n", "512\n"}[i/20%4])
	}
	r, err := http.NewRequest("POST", address+"/api/v1/recordings?name=board.csv", strings.NewReader(csv.String()))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/octet-stream")
	answer, err := http.DefaultClient.Do(r)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("uploading: %v, %v", answer, err)
	}
	answer.Body.Close()
	open(t, ctx, address)
	script(t, ctx, `document.querySelector('[data-testid=drawer-recordings]').click()`)
	soon(t, ctx, "the recording", `document.querySelector('[data-testid=recording-0]')`, 5*time.Second)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("recording-0").click()`)
	soon(t, ctx, "counts", `at("review-channel-0-scale-words")?.textContent.startsWith("counts")`, 10*time.Second)

	script(t, ctx, `{ const i = at("review-channel-0-label"); i.value = "chest lead"; i.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "its name", `at("review-channels")?.querySelector('[role=group]')?.getAttribute("aria-label") === "chest lead"`, 10*time.Second)
	script(t, ctx, `{ const i = at("review-channel-0-kind"); i.value = "ecg"; i.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "a way back", `at("review-channel-0-forget") && at("review-channel-0-kind").value === "ecg"`, 10*time.Second)
	script(t, ctx, `at("review-channel-0-scale").click()`)
	soon(t, ctx, "the dialog", `at("review-scale-dialog")?.open`, 5*time.Second)
	script(t, ctx, `{ at("review-scale-source").value = "converter"; at("review-scale-source").dispatchEvent(new Event("change"));
		at("review-scale-reference").value = "5"; at("review-scale-bits").value = "10"; at("review-scale-gain").value = "100"; at("review-scale-apply").click(); }`)
	soon(t, ctx, "volts", `!at("review-scale-dialog").open && at("review-channel-0-scale-words").textContent.replaceAll("\u00a0", " ").includes("one count is 48.8 µV")`, 10*time.Second)
	script(t, ctx, `at("review-channels").scrollIntoView()`)
	picture(t, ctx, "review-channels")

	script(t, ctx, `{ const i = at("review-channel-0-label"); i.value = ""; i.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "why an empty name is refused", `at("review-channels").querySelector(".error").textContent.includes("give one")`, 5*time.Second)
	script(t, ctx, `at("review-channel-0-forget").click()`)
	soon(t, ctx, "counts again", `at("review-channel-0-scale-words").textContent.startsWith("counts") && at("review-channel-0-label").value === "value"`, 10*time.Second)
}

// holding makes the page wait: hold("PATCH", /beats/) keeps back the next answer to such a request, as the server gives it,
// and release() lets those held arrive.
const holding = `{ const real = window.fetch; let wanted = null; window.held = [];
	window.hold = (method, path) => { wanted = { method, path }; };
	window.release = () => { const all = window.held; window.held = []; for (const go of all) go(); };
	window.asked = [];
	window.fetch = async (path, init) => {
		window.asked.push((init?.method ?? "GET") + " " + path);
		const hit = wanted && (init?.method ?? "GET") === wanted.method && wanted.path.test(path);
		if (hit) wanted = null;
		const answer = await real(path, init);
		if (hit) await new Promise((go) => window.held.push(go));
		return answer;
	};
	window.at = (id) => document.querySelector('[data-testid="' + id + '"]');
	window.put = (id, value) => { at(id).value = value; at(id).dispatchEvent(new Event("change")); }; }`

// write presses the keys of a text.
func write(t *testing.T, ctx context.Context, text string) {
	t.Helper()
	for _, key := range text {
		keyDown(t, ctx, string(key))
	}
}

// twoChannels brings in a recording of two channels, 100 s long, and opens it in Review.
func twoChannels(t *testing.T, ctx context.Context, address string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "two.csv")
	csv := "# rate 100 Hz\nfirst [V],second [V]\n" + strings.Repeat("1,2\n1.5,2.5\n", 5000)
	if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	bringIn(t, address, path)
	open(t, ctx, address)
	script(t, ctx, holding)
	script(t, ctx, `at("drawer-recordings").click()`)
	soon(t, ctx, "the recording", `at("recording-0")`, 5*time.Second)
	script(t, ctx, `at("recording-0").click()`)
	soon(t, ctx, "its beats", reviewNow+`.beats.length === 2`, 10*time.Second)
}

func closeReview(t *testing.T, ctx context.Context) {
	t.Helper()
	script(t, ctx, `at("review-close").click()`)
	soon(t, ctx, "the review closed", `!`+reviewNow+`.id`, 5*time.Second)
}

// TestReviewKeepsWhatIsWritten: the answer to one channel's name takes neither the next one's, half written, nor the path
// laid over, the lanes, the cursors and the place.
func TestReviewKeepsWhatIsWritten(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 900)
	address := program(t, "demo:finger")
	twoChannels(t, ctx, address)
	script(t, ctx, `at("review-channel-1-scale").click()`)
	soon(t, ctx, "whose scale it is", `document.getElementById("review-scale-dialog-title")?.textContent === "How many volts is one count of " + at("review-channel-1-label").value + "?"`, 5*time.Second)
	script(t, ctx, `at("review-scale-dialog").close()`)
	script(t, ctx, `put("review-path-on", "on"); put("review-smooth-cutoff", "7"); at("review-lane-1").click(); at("review-cursors").click(); at("review-channel-0-label").focus(); at("review-channel-0-label").select(); hold("PATCH", /recordings/)`)
	write(t, ctx, "red"+kb.Tab+kb.Tab)
	for range 3 {
		if look[bool](t, ctx, `document.activeElement === at("review-channel-1-label")`) {
			break
		}
		keyDown(t, ctx, kb.Tab)
	}
	write(t, ctx, "up")
	soon(t, ctx, "the answer", `held.length === 1`, 5*time.Second)
	script(t, ctx, `document.getElementById("review").querySelector("canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "+", bubbles: true})); window.before = `+reviewNow+`; window.opened = at("review-channel-0-label"); release()`)
	soon(t, ctx, "the channel's name", `at("review-channels").querySelector('[role=group]').getAttribute("aria-label") === "red" && at("review-channel-0-label") !== opened`, 10*time.Second)
	write(t, ctx, "per")
	if got := look[string](t, ctx, `[at("review-channel-1-label").value, at("review-path-on").value, at("review-smooth-cutoff").value, at("review-lane-1").checked, `+reviewNow+`.cursors.on, `+reviewNow+`.from === before.from && `+reviewNow+`.to === before.to].join(" ")`); got != "upper on 7 false true true" {
		t.Errorf("what is written and laid over: %q", got)
	}
	write(t, ctx, kb.Enter)
	soon(t, ctx, "the second name, saved", `at("review-facts").textContent.includes("red, upper")`, 10*time.Second)
	script(t, ctx, `fetch("/api/v1/state").then((r) => r.json()).then((s) => { window.live = s.source.address; })`)
	soon(t, ctx, "the live source as it was", `window.live === "demo:finger"`, 5*time.Second)
}

// TestReviewAnswersInAnyOrder: a note written while the notes are read stays, and the channel of the beats chosen while they
// are read; values at the cursors are of the path that is laid over now.
func TestReviewAnswersInAnyOrder(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 900)
	address := program(t, "demo:finger")
	twoChannels(t, ctx, address)
	closeReview(t, ctx)
	script(t, ctx, `hold("GET", /recordings\/[^\/?]+$/); at("recording-0").click()`)
	soon(t, ctx, "the notes held", `held.length === 1`, 10*time.Second)
	script(t, ctx, `at("review-note-add").click(); at("review-note").value = "here"; at("review-note-save").click()`)
	soon(t, ctx, "the note", reviewNow+`.notes === 1`, 5*time.Second)
	script(t, ctx, `hold("GET", /beats/); release()`)
	soon(t, ctx, "the beats held", `held.length === 1`, 5*time.Second)
	script(t, ctx, `put("review-beat-channel", "1"); release()`)
	soon(t, ctx, "the beats", reviewNow+`.beats.length === 2`, 5*time.Second)
	if got := look[string](t, ctx, `[`+reviewNow+`.notes, at("review-beat-channel").value].join(" ")`); got != "1 1" {
		t.Errorf("notes and channel of the beats: %q", got)
	}
	script(t, ctx, `at("review-note-0-remove").click()`)
	soon(t, ctx, "no note", reviewNow+`.notes === 0`, 5*time.Second)

	readout := `[...document.querySelectorAll('[data-testid=review-readout] tbody tr:first-child td')].map((e) => e.textContent)`
	script(t, ctx, `at("review-cursors").click()`)
	soon(t, ctx, "values", readout+`[0].includes("V")`, 5*time.Second)
	want := look[[]string](t, ctx, readout)
	script(t, ctx, `hold("GET", /columns=1&path=/); put("review-path-on", "on")`)
	soon(t, ctx, "the filtered values held", `held.length === 1`, 5*time.Second)
	script(t, ctx, `put("review-path-on", "off")`)
	soon(t, ctx, "values as recorded", readout+`[0].includes("V")`, 5*time.Second)
	script(t, ctx, `release()`)
	time.Sleep(300 * time.Millisecond)
	if got := look[[]string](t, ctx, readout); !slices.Equal(got, want) {
		t.Errorf("values as recorded: %q, want %q", got, want)
	}
}
