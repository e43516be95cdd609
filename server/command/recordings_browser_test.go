//go:build !windows

package command

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pulsewright/acquire/recording"
)

// keyDown sends one key to whatever has the focus.
func keyDown(t *testing.T, ctx context.Context, key string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.KeyEvent(key)); err != nil {
		t.Fatalf("key %q: %v", key, err)
	}
}

// reviewStats is what the Review view tells of itself.
type reviewStats struct {
	Open             bool
	ID               string
	From, To, Length float64
	RateHz, PaintMs  float64
	OpenMs, ViewMs   float64
	Notes            int
	Beats            []int
	Ranges           [][2]float64
	Cursors          struct {
		On   bool
		A, B int64
	}
}

const reviewNow = "window.pulsewrightReview()"

// TestRecordReviewCompareDownload is what a person does with a recording, in a real
// browser: record with notes, stop, look at it, zoom, measure, note, filter, replay
// from a place, compare with another, download, delete and undo, drop a file.
func TestRecordReviewCompareDownload(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:both")
	open(t, ctx, address)
	click := func(id string) {
		t.Helper()
		if !look[bool](t, ctx, fmt.Sprintf(`((e) => (e && !e.disabled ? (e.click(), true) : false))(document.querySelector('[data-testid="%s"]'))`, id)) {
			picture(t, ctx, "failed")
			t.Fatalf("%s is not there or disabled", id)
		}
	}
	fillIn := func(id, text string) {
		t.Helper()
		look[bool](t, ctx, fmt.Sprintf(`((e) => { e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); e.dispatchEvent(new Event("change", {bubbles: true})); return true })(document.querySelector('[data-testid="%s"]'))`, text, id))
	}
	text := func(id string) string {
		return look[string](t, ctx, fmt.Sprintf(`document.querySelector('[data-testid="%s"]')?.textContent ?? ""`, id))
	}
	soon(t, ctx, "a beat", `window.pulsewright?.stats?.().beats?.some((n) => n > 3)`, 40*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), true)`)

	// Record, with notes.
	keyDown(t, ctx, "r")
	soon(t, ctx, "the drawer", `document.querySelector('[data-testid=record-start]')`, 5*time.Second)
	fillIn("record-name", "board A")
	fillIn("record-note", "lamp clip, 10 kΩ")
	click("record-start")
	soon(t, ctx, "the recording to be told", `/board A, 0:0[2-9]/.test(document.querySelector('[data-testid=record-state]').textContent) && !document.querySelector('[data-testid=recording-mark]').hidden`, 10*time.Second)
	fillIn("record-live-note", "trimmer turned")
	click("record-live-note-add")
	picture(t, ctx, "recording")
	time.Sleep(3 * time.Second)
	click("record-stop")
	soon(t, ctx, "the list", `document.querySelector('[data-testid=recording-0]')?.textContent === "board A" && document.querySelector('[data-testid=recording-mark]').hidden`, 10*time.Second)
	soon(t, ctx, "its notes to be counted", `/2 notes/.test(document.querySelector('.recording-line').textContent)`, 5*time.Second)
	if line := look[string](t, ctx, `document.querySelector('.recording-line').textContent`); !strings.Contains(line, "2 channels") || !strings.Contains(line, "250\u00a0Hz") {
		t.Errorf("the list says %q", line)
	}

	// A second one: the past that nobody recorded.
	fillIn("record-name", "board B")
	fillIn("keep-minutes", "1")
	click("keep")
	soon(t, ctx, "the kept minute", `document.querySelectorAll('[data-recording]').length === 2`, 10*time.Second)
	folder := look[string](t, ctx, `document.querySelector('[data-testid=recordings-folder]').textContent`)[len("Saved in "):]
	files, _ := filepath.Glob(filepath.Join(folder, "*board A INVENTED.edf"))
	if len(files) != 1 {
		t.Fatalf("files %v in %s", files, folder)
	}
	f, err := recording.Open(files[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	counts := [][]int32{make([]int32, f.Len()), make([]int32, f.Len())}
	if _, err := f.ReadAt(counts, 0); err != nil {
		t.Fatal(err)
	}
	a := look[int](t, ctx, `[...document.querySelectorAll('[data-recording]')].findIndex((e) => /board A/.test(e.dataset.recording))`)

	// Look at it.
	click(fmt.Sprintf("recording-%d", a))
	soon(t, ctx, "the review", reviewNow+`.piece?.exact && `+reviewNow+`.beats.length === 2`, 10*time.Second)
	r := look[reviewStats](t, ctx, reviewNow)
	if int64(r.Length) != f.Len() || r.From != 0 || r.To != r.Length || r.RateHz != 250 {
		t.Errorf("the review shows %g to %g of %g samples at %g Hz; the file has %d", r.From, r.To, r.Length, r.RateHz, f.Len())
	}
	least, most := math.Inf(1), math.Inf(-1)
	for _, n := range counts[0] {
		v := f.Describe().Channels[0].Value(n)
		least, most = min(least, v), max(most, v)
	}
	if low, high := r.Ranges[0][0], r.Ranges[0][1]; low > least || high < most || high-low > 3*(most-least) {
		t.Errorf("the lane reaches from %g to %g, the samples from %g to %g", low, high, least, most)
	}
	if said := text("review-notes"); !strings.Contains(said, "lamp clip, 10 kΩ") || !strings.Contains(said, "trimmer turned") {
		t.Errorf("notes: %q", said)
	}
	for range 4 {
		keyDown(t, ctx, "+")
	}
	keyDown(t, ctx, kb.ArrowRight)
	zoomed := look[reviewStats](t, ctx, reviewNow)
	if got, want := (zoomed.To-zoomed.From)/(r.To-r.From), math.Pow(1.5, -4); math.Abs(got/want-1) > 0.01 {
		t.Errorf("four times zoomed in shows %g of the width, want %g", got, want)
	}
	keyDown(t, ctx, "c")
	soon(t, ctx, "the readout", `/V/.test(document.querySelector('[data-testid=review-readout] td')?.textContent ?? "")`, 5*time.Second)
	r = look[reviewStats](t, ctx, reviewNow)
	shown := look[[]string](t, ctx, `[...document.querySelectorAll('[data-testid=review-readout] tbody td')].map((e) => e.textContent)`)
	for c := range 2 {
		channel := f.Describe().Channels[c]
		va, vb := channel.Value(counts[c][r.Cursors.A]), channel.Value(counts[c][r.Cursors.B])
		for i, want := range []float64{va, vb, vb - va} {
			if got := volts(t, shown[3*c+i]); math.Abs(got-want) > 0.006*math.Abs(want)+1e-6 {
				t.Errorf("channel %d, column %d shows %q, the file has %g V", c, i, shown[3*c+i], want)
			}
		}
	}
	var bpm float64
	if _, err := fmt.Sscanf(text("review-delta-bpm"), "%f", &bpm); err != nil || math.Abs(bpm-60*250/float64(r.Cursors.B-r.Cursors.A)) > 0.06 {
		t.Errorf("between samples %d and %d it shows %q", r.Cursors.A, r.Cursors.B, text("review-delta-bpm"))
	}
	keyDown(t, ctx, "n")
	fillIn("review-note", "two beats")
	click("review-note-save")
	soon(t, ctx, "the note", `/two beats/.test(document.querySelector('[data-testid=review-notes]').textContent)`, 5*time.Second)
	picture(t, ctx, "review")
	fillIn("review-path-on", "on")
	soon(t, ctx, "the filtered channel", reviewNow+`.ranges[0][1] < 2 && `+reviewNow+`.ranges[0][0] < 0`, 5*time.Second)
	picture(t, ctx, "filtered")

	// Compare it with the other.
	click("review-as-a")
	soon(t, ctx, "the comparison", `document.querySelectorAll('[data-testid=compare-words] li').length > 2`, 20*time.Second)
	if n := look[int](t, ctx, `document.querySelectorAll('[data-testid=compare-figures] tbody tr').length`); n < 8 {
		t.Errorf("%d rows of figures", n)
	}
	if words := text("compare-beat-words"); !strings.Contains(words, "B: median of ") {
		t.Errorf("typical beat: %q", words)
	}
	picture(t, ctx, "compare")
	script(t, ctx, `window.savedOfB = ""; fetch(document.querySelector('[data-testid=compare-b-save-figures]').href).then(async (r) => { window.savedOfB = r.status + " " + (await r.text()); })`)
	soon(t, ctx, "Save of B: figures", `/^200 figure,value,unit,reason/.test(window.savedOfB)`, 20*time.Second)
	for _, size := range [][2]int64{{390, 844}, {1920, 1080}} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1])); err != nil {
			t.Fatal(err)
		}
		time.Sleep(300 * time.Millisecond)
		for _, id := range []string{"compare", "review"} {
			if wide := look[float64](t, ctx, fmt.Sprintf(`((e) => e.scrollWidth - e.clientWidth)(document.getElementById(%q))`, id)); wide > 0 {
				t.Errorf("at %d pixels %s is %g too wide", size[0], id, wide)
			}
		}
		picture(t, ctx, fmt.Sprintf("compare-%d", size[0]))
	}
	click("compare-close")
	picture(t, ctx, "review-1920")
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 800)); err != nil {
		t.Fatal(err)
	}

	// Replay from cursor A.
	fillIn("review-speed", "2")
	from := look[reviewStats](t, ctx, reviewNow).Cursors.A
	click("review-replay")
	state := `(fetch("/api/v1/state").then((r) => r.json()).then((s) => (window.stateNow = s)), window.stateNow)`
	soon(t, ctx, "the replay", `(`+state+`)?.source.address.startsWith("file:") && window.stateNow.playback?.position > 0`, 15*time.Second)
	if p := look[struct{ Position, Speed float64 }](t, ctx, `window.stateNow.playback`); p.Position < float64(from) || p.Speed != 2 {
		t.Errorf("it plays at %g from %g, want speed 2 from %d on", p.Speed, p.Position, from)
	}
	soon(t, ctx, "the live page to show it", `!document.getElementById("review").open && window.pulsewright.stats().lastIndex > 0`, 10*time.Second)

	// Download.
	click(fmt.Sprintf("recording-%d-more", a))
	soon(t, ctx, "more", fmt.Sprintf(`document.querySelector('[data-testid=recording-%d-as-csv]')`, a), 5*time.Second)
	soon(t, ctx, "the speed chosen in Review", fmt.Sprintf(`document.querySelector('[data-testid=recording-%d-speed]').value === "2"`, a), 5*time.Second)
	fillIn(fmt.Sprintf("recording-%d-speed", a), "5")
	click(fmt.Sprintf("recording-%d-more", a))
	click(fmt.Sprintf("recording-%d-more", a))
	soon(t, ctx, "the speed chosen here", fmt.Sprintf(`document.querySelector('[data-testid=recording-%d-speed]').value === "5"`, a), 5*time.Second)
	get := func(as string) []byte {
		t.Helper()
		link := look[string](t, ctx, fmt.Sprintf(`document.querySelector('[data-testid=recording-%d-as-%s]').href`, a, as))
		answer, err := http.Get(link)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		data, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != http.StatusOK || !strings.Contains(answer.Header.Get("Content-Disposition"), "board A INVENTED."+as) {
			t.Fatalf("%s: %s, %v, %v", link, answer.Status, answer.Header, err)
		}
		return data
	}
	rows := csv.NewReader(bytes.NewReader(get("csv")))
	rows.Comment = '#'
	table, err := rows.ReadAll()
	if err != nil || int64(len(table)) != f.Len()+1 {
		t.Errorf("the CSV has %d rows for %d samples: %v", len(table), f.Len(), err)
	}
	if wav := get("wav"); string(wav[:4]) != "RIFF" {
		t.Errorf("the WAV begins %q", wav[:4])
	}
	again := filepath.Join(t.TempDir(), "again.edf")
	if err := os.WriteFile(again, get("edf"), 0o600); err != nil {
		t.Fatal(err)
	}
	g, err := recording.Open(again)
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	if notes := g.NotesBetween(0, g.Len()+1); g.Len() != f.Len() || !strings.Contains(fmt.Sprint(notes), "two beats") {
		t.Errorf("the EDF+ has %d samples, notes %v", g.Len(), notes)
	}

	click(fmt.Sprintf("recording-%d-as-csv", a))
	soon(t, ctx, "what the CSV does not hold", fmt.Sprintf(`/a CSV file has no place for them: .*\d+ beats?/.test(document.querySelector('[data-testid=recording-%d-lost]').textContent)`, a), 10*time.Second)
	look[bool](t, ctx, fmt.Sprintf(`(document.querySelector('[data-testid=recording-%d-lost]').scrollIntoView({block: "center"}), true)`, a))
	everyScreen(t, ctx, fmt.Sprintf("[data-testid=recording-%d-lost]", a))

	// Delete and undo; drop a file.
	click(fmt.Sprintf("recording-%d-delete", a))
	soon(t, ctx, "it to be in the trash", `document.querySelectorAll('[data-recording]').length === 1 && document.querySelector('[data-testid=recordings-undo]')`, 5*time.Second)
	click("recordings-undo")
	soon(t, ctx, "it to be back", `document.querySelectorAll('[data-recording]').length === 2`, 5*time.Second)
	look[bool](t, ctx, `(() => { const d = new DataTransfer(); d.items.add(new File(["# rate 100 Hz\npulse [V]\n1.0\n1.1\n1.2\n"], "evening.csv")); document.querySelector('.drawer-body').dispatchEvent(new DragEvent("drop", {dataTransfer: d, bubbles: true, cancelable: true})); return true })()`)
	soon(t, ctx, "the look at the file", `document.querySelector('[data-testid=import-dialog]')?.open && !document.querySelector('[data-testid=import-go]').disabled`, 10*time.Second)
	click("import-go")
	soon(t, ctx, "the dropped file", `[...document.querySelectorAll('.recording-name')].some((e) => e.textContent === "evening")`, 10*time.Second)
	look[bool](t, ctx, `(() => { const d = new DataTransfer(); d.items.add(new File(["nothing"], "evening.pdf")); document.querySelector('.drawer-body').dispatchEvent(new DragEvent("drop", {dataTransfer: d, bubbles: true, cancelable: true})); return true })()`)
	soon(t, ctx, "a refusal with its remedy", `/evening\.pdf.*\.edf/.test(document.querySelector('[data-testid=import-outcomes]').textContent)`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelectorAll("dialog[open]").forEach((d) => d.close()), true)`)
	// Empty the trash: only after a second word that names what is lost.
	soon(t, ctx, "the dropped file's buttons", `document.querySelector('[data-recording="evening.csv"] [data-testid$=-delete]')`, 5*time.Second)
	click(look[string](t, ctx, `document.querySelector('[data-recording="evening.csv"] [data-testid$=-delete]').dataset.testid`))
	soon(t, ctx, "the dropped file in the trash", `document.querySelector('[data-testid=trash-empty]')`, 5*time.Second)
	click("trash")
	click("trash-empty")
	asked := look[string](t, ctx, `document.querySelector('[data-testid=trash-ask]').textContent`)
	if !strings.Contains(asked, "evening") || !strings.Contains(asked, "36\u00a0B") || !look[bool](t, ctx, `document.activeElement.dataset.testid === "trash-keep"`) {
		t.Errorf("before deleting for good it says %q", asked)
	}
	click("trash-keep")
	soon(t, ctx, "the trash as it was", `document.querySelector('[data-testid=trash-0]') && document.activeElement.dataset.testid === "trash-empty"`, 5*time.Second)
	click("trash-empty")
	click("trash-delete")
	soon(t, ctx, "an empty trash", `document.querySelector('[data-testid=trash]').parentElement.hidden && document.querySelectorAll('[data-recording]').length === 2`, 5*time.Second)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
		t.Errorf("with the drawer at 390 pixels the page is %v pixels too wide", wide)
	}
	picture(t, ctx, "drawer-390")
}

// volts reads "12.3 mV" with the page's signs.
func volts(t *testing.T, text string) float64 {
	t.Helper()
	var v float64
	var unit string
	if _, err := fmt.Sscanf(strings.NewReplacer("\u00a0", " ", "−", "-").Replace(text), "%f %s", &v, &unit); err != nil {
		t.Fatalf("%q is no value: %v", text, err)
	}
	for _, p := range []struct {
		unit  string
		times float64
	}{{"V", 1}, {"mV", 1e-3}, {"µV", 1e-6}} {
		if unit == p.unit {
			return v * p.times
		}
	}
	t.Fatalf("%q: unit %q", text, unit)
	return 0
}
