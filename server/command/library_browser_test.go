//go:build !windows

package command

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
)

// TestRecordingsAsALibrary: the list is sorted, tells kind and median rate of files that have no beats stored, and several
// are chosen, downloaded as one archive, put into the trash and taken back.
func TestRecordingsAsALibrary(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	folder := t.TempDir()
	address := program(t, "demo:finger")
	for name, c := range map[string]simulate.Config{"finger 10.bdf": simulate.Finger(), "chest 9.bdf": simulate.Chest()} {
		c.MotionPerMinute = 0
		seconds := 20.0
		if strings.HasPrefix(name, "chest") {
			seconds = 40
		}
		simulatetest.Record(t, c, int64(seconds*c.RateHz), filepath.Join(folder, name))
		bringIn(t, address, filepath.Join(folder, name))
	}
	if err := os.WriteFile(filepath.Join(folder, "chest 10.csv"), []byte("# rate 100 Hz\nlevel [V]\n"+strings.Repeat("1.0\n1.1\n1.2\n", 50)), 0o600); err != nil {
		t.Fatal(err)
	}
	bringIn(t, address, filepath.Join(folder, "chest 10.csv"))
	open(t, ctx, address)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("drawer-recordings").click()`)
	names := `[...document.querySelectorAll(".recording-name")].map((e) => e.textContent).join("|")`
	soon(t, ctx, "three recordings", `document.querySelectorAll(".recording-name").length === 3`, 10*time.Second)
	line := func(name string) string {
		return fmt.Sprintf(`([...document.querySelectorAll("[data-recording]")].find((e) => e.dataset.recording.startsWith(%q))?.querySelector(".recording-line").textContent ?? "")`, name)
	}
	soon(t, ctx, "kinds and median rates", `/ecg · 7[0-9]/.test(`+line("chest 9")+`) && /pulse · 7[0-9]/.test(`+line("finger")+`) && !/bpm/.test(`+line("chest 10")+`)`, 30*time.Second)
	for _, by := range [][2]string{{"longest", "chest 9|finger 10|chest 10"}, {"name", "chest 9|chest 10|finger 10"}} {
		script(t, ctx, fmt.Sprintf(`((e) => { e.value = %q; e.dispatchEvent(new Event("change")); })(at("recordings-sort"))`, by[0]))
		soon(t, ctx, "sorted by "+by[0], names+fmt.Sprintf(` === %q`, by[1]), 5*time.Second)
	}
	script(t, ctx, `at("recordings-all") && (at("recording-0-mark").click(), at("recordings-all").click())`)
	soon(t, ctx, "all chosen", `at("recordings-chosen").textContent === "3 chosen" && at("recordings-compare").disabled`, 5*time.Second)
	everyScreen(t, ctx, "html")
	script(t, ctx, `addEventListener("click", (e) => { if (e.target.id === "recordings-archive") e.preventDefault(); }, true); at("recordings-download").click()`)
	soon(t, ctx, "the archive", `at("recordings-archive")`, 5*time.Second)
	answer, err := http.Get(look[string](t, ctx, `at("recordings-archive").href`))
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil || len(z.File) != 3 || !strings.Contains(answer.Header.Get("Content-Disposition"), ".zip") {
		t.Fatalf("the archive: %v, %d bytes, %v", answer.Header, len(data), err)
	}
	script(t, ctx, `at("recordings-none").click(); at("recording-0-mark").click(); at("recording-1-mark").click()`)
	soon(t, ctx, "two chosen", `at("recordings-chosen").textContent === "2 chosen" && !at("recordings-compare").disabled`, 5*time.Second)
	script(t, ctx, `at("recordings-trash").click()`)
	soon(t, ctx, "one left", `document.querySelectorAll(".recording-name").length === 1 && at("recordings-undo")`, 10*time.Second)
	script(t, ctx, `at("recordings-undo").click()`)
	soon(t, ctx, "all back, with their rates", names+` === "chest 9|chest 10|finger 10" && /ecg · 7[0-9]/.test(`+line("chest 9")+`)`, 10*time.Second)

	// What is being written stays, and so does the focus, when the list is shown anew.
	script(t, ctx, `at("recording-0-more").click(); at("recording-0-note").focus()`)
	keystrokes := func(text string) {
		t.Helper()
		for _, key := range text {
			keyDown(t, ctx, string(key))
		}
	}
	keystrokes("lp")
	keyDown(t, ctx, kb.ArrowLeft)
	script(t, ctx, `((e) => { e.value = "oldest"; e.dispatchEvent(new Event("change")); })(at("recordings-sort"))`)
	keystrokes("am")
	script(t, ctx, `at("recordings-all").click()`)
	keystrokes("p o")
	script(t, ctx, `((e) => { e.value = "name"; e.dispatchEvent(new Event("change")); })(at("recordings-sort"))`)
	soon(t, ctx, "the note as typed", `at("recording-0-note").value === "lamp op" && document.activeElement === at("recording-0-note")`, 5*time.Second)
	script(t, ctx, `at("recording-0-name").focus()`)
	keyDown(t, ctx, kb.End)
	keystrokes(" zz")
	script(t, ctx, `at("recordings-none").click(); at("recording-0-name").select()`)
	keystrokes("zz" + kb.Enter)
	soon(t, ctx, "name and note saved, the focus where it was", names+` === "chest 10|finger 10|zz" && document.querySelector(".recording-note")?.textContent === "lamp op" && document.activeElement === at("recording-2-name")`, 10*time.Second)
	keystrokes("p")
	script(t, ctx, `at("recordings-all").click()`)
	soon(t, ctx, "the next name as typed", `at("recording-2-name").value === "zzp"`, 5*time.Second)
}

// TestRecordingWishesInTurn: what is asked for while something else is awaited is done after it, and a note being written
// while the one before is awaited stays.
func TestRecordingWishesInTurn(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	script(t, ctx, holding)
	script(t, ctx, `at("drawer-recordings").click()`)
	soon(t, ctx, "a sample to keep", `window.pulsewright.stats().lastIndex > 250 && at("record-start")`, 20*time.Second)
	script(t, ctx, `hold("POST", /keep$/); at("keep").click(); at("record-start").click()`)
	soon(t, ctx, "the minutes kept", `held.length === 1`, 10*time.Second)
	script(t, ctx, `release()`)
	soon(t, ctx, "the recording", `/0:0[1-9]/.test(at("record-state").textContent)`, 10*time.Second)
	script(t, ctx, `hold("POST", /notes$/); at("record-live-note").value = "one"; at("record-live-note-add").click()`)
	soon(t, ctx, "the note", `held.length === 1`, 10*time.Second)
	script(t, ctx, `at("record-live-note").value = "tw"; at("record-stop").click(); release()`)
	soon(t, ctx, "both recordings, the second stopped", `document.querySelectorAll(".recording-name").length === 2 && at("recording-mark").hidden`, 10*time.Second)
	if got := look[string](t, ctx, `at("record-live-note").value`); got != "tw" {
		t.Errorf("the next note being written: %q", got)
	}
}

// TestCompareOfTheLastPicked: a recording that was picked before and answers late changes nothing.
func TestCompareOfTheLastPicked(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	for name, rows := range map[string]int{"short": 5000, "long": 20000} {
		path := filepath.Join(t.TempDir(), name+".csv")
		if err := os.WriteFile(path, []byte("# rate 200 Hz\nlevel [V]\n"+strings.Repeat("1.0\n1.2\n", rows/2)), 0o600); err != nil {
			t.Fatal(err)
		}
		bringIn(t, address, path)
	}
	twoChannels(t, ctx, address)
	closeReview(t, ctx)
	script(t, ctx, `at("recording-0-mark").click(); at("recording-1-mark").click(); at("recordings-compare").click()`)
	judged := `document.querySelectorAll('[data-testid=compare-words] li').length > 0 && !document.getElementById("compare").classList.contains("working")`
	soon(t, ctx, "the comparison", judged, 20*time.Second)
	script(t, ctx, `put("compare-b", "two.csv"); put("compare-a", "two.csv")`)
	soon(t, ctx, "another", judged+` && at("compare-a").value === "two.csv" && at("compare-a-to").value.startsWith("1:40")`, 20*time.Second)
	script(t, ctx, `asked.length = 0; hold("GET", /short.csv.notes=0/); put("compare-a", "short.csv"); put("compare-a", "long.csv")`)
	soon(t, ctx, "the one picked last", judged+` && held.length === 1 && asked.some((a) => /long.csv.analysis/.test(a))`, 20*time.Second)
	script(t, ctx, `release()`)
	time.Sleep(300 * time.Millisecond)
	if got := look[string](t, ctx, `[at("compare-a").value, at("compare-a-to").value, ...asked.filter((a) => /(long|short).csv.analysis/.test(a) && !/long.*&to=20000$/.test(a))].join(" ")`); got != "long.csv 1:40.0" {
		t.Errorf("it shows %q", got)
	}
}
