//go:build !windows

package command

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// pageObject is a page of a PDF (ISO 32000-1, 7.7.3.3), not the tree of them.
var pageObject = regexp.MustCompile(`/Type /Page\b`)

// sheet presses a choice of the Paper dialog and prints: what stands on the sheet, the lines of
// the PDF, which is one page long, and what note says on the printed page.
func sheet(t *testing.T, ctx context.Context, name, open, choice string, size chromedp.PaperSize) (words string, all []stroke, drawn string) {
	t.Helper()
	script(t, ctx, fmt.Sprintf(`window.printings = 0; window.print = () => { window.printings++ }; press(%q); press(%q)`, open, choice))
	soon(t, ctx, "the sheet "+name, `window.printings === 1`, 20*time.Second)
	if look[bool](t, ctx, `(document.querySelector(".print-sheet").scrollHeight > document.querySelector(".print-sheet").clientHeight + 1 || getComputedStyle(document.querySelector(".print-sheet")).visibility !== "hidden" || at("sheet-dialog").open)`) {
		t.Errorf("%s: the sheet is seen on the screen, or is too long for its page: %s", name, look[string](t, ctx, `document.querySelector(".print-sheet").dataset.fit`))
	}
	words = look[string](t, ctx, `document.querySelector(".print-sheet").textContent`)
	drawn = look[string](t, ctx, `[...document.querySelectorAll(".print-sheet path.trace[stroke='#000000']")].map((p) => p.getAttribute("d")).sort((a, b) => b.length - a.length)[0] ?? ""`)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPrintBackground()))
	if err != nil {
		t.Fatal(err)
	}
	if folder := os.Getenv("PULSEWRIGHT_PICTURES"); folder != "" {
		_ = os.WriteFile(filepath.Join(folder, t.Name()+"-"+strings.ReplaceAll(name, " ", "-")+".pdf"), pdf, 0o644)
	}
	if pages := len(pageObject.FindAll(pdf, -1)); pages != 1 {
		t.Errorf("%s: %d pages", name, pages)
	}
	if !look[bool](t, ctx, `document.querySelectorAll(".print-sheet, .on-paper").length === 0`) {
		t.Errorf("%s: the sheet is left in the page", name)
	}
	return words, pdfStrokes(t, pdf), drawn
}

// says holds a sheet against words that stand on it.
func says(t *testing.T, name, words string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(words, w) {
			t.Errorf("%s: %q does not stand on %q", name, w, words)
		}
	}
}

// millimetres holds the empty grid's strongest lines: 10 mm apart across the page, and upright
// as well as lying ones.
func millimetres(t *testing.T, name string, all []stroke) {
	t.Helper()
	var upright []float64
	lying := 0
	for _, s := range all {
		if s.fill || math.Abs(s.colour[0]-0xb5/255.0) > 0.003 {
			continue
		}
		for _, p := range s.parts {
			if last := p[len(p)-1]; math.Abs(p[0][0]-last[0]) < 0.01 {
				upright = append(upright, p[0][0])
			} else {
				lying++
			}
		}
	}
	if len(upright) != 19 || lying != 13 {
		t.Errorf("%s: %d upright and %d lying lines a centimetre apart, want 19 and 13", name, len(upright), lying)
		return
	}
	for i := 1; i < len(upright); i++ {
		if d := upright[i] - upright[i-1]; math.Abs(d-10) > 0.02 {
			t.Errorf("%s: lines %d and %d are %.3f mm apart, want 10 mm", name, i-1, i, d)
		}
	}
}

// TestPrintsSheets prints the handout and the lab sheet, live from a dark screen and from Review,
// on A4 and Letter: one page, its curve the samples, its words what was said.
func TestPrintsSheets(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	soon(t, ctx, "twelve seconds, judged", `window.pulsewright?.stats?.().lastIndex > 3000 && pulsewright.stats().state === "reading"`, 60*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click(); if (document.documentElement.dataset.theme !== "dark") at("theme").click();
		{ const s = at("seconds-across"); s.value = "5"; s.dispatchEvent(new Event("change")); } press("freeze")`)
	last := look[int](t, ctx, `Math.min(Math.floor(S().shownEnd), S().lastIndex - 1)`)
	samples := func(name string, points [][2]float64) {
		t.Helper()
		fits(t, name, points, look[[]float64](t, ctx, fmt.Sprintf(`Array.from({length: %d}, (_, i) => pulsewright.sample(0, 0, %d + i))`, len(points), last-len(points)+1)))
		if len(points) < 1248 || len(points) > 1252 {
			t.Errorf("%s: %d points of 1250 samples", name, len(points))
		}
	}
	asks(t, "PUT", address+"/api/v1/channels/0/board", `{"board":{"board":1,"supplyVolts":5,"midRail":{"top":10000,"bottom":10000},"converter":{"referenceVolts":5,"bits":10,"rateHz":250},"stages":[{"stage":"phototransistor","parts":{"load":10000,"lamp":0.01,"transfer":0.01}},{"stage":"low-pass","parts":{"resistor":"1k","trimmer":{"value":"20k","at":0.25},"capacitor":"1u"}}]}}`, nil)
	soon(t, ctx, "the board on the page", `!at("sheet-open").disabled && S().lastIndex > 0`, 10*time.Second)

	always := []string{"INVENTED", "Board of ", "supply 5\u00a0V; mid-rail of 10\u00a0kΩ and 10\u00a0kΩ", "lamp’s current 10\u00a0mA", "trimmer 20\u00a0kΩ at 25 %", "converter 5\u00a0V, 10 bits", "Volts of ", "one count is ", "Name", "250\u00a0Hz", "5 s from ", "drift below 0.3 Hz removed", "above 15 Hz removed", "Learning aid, not a medical device."}
	for _, p := range []struct {
		name string
		size chromedp.PaperSize
	}{{"A4", chromedp.PaperA4}, {"Letter", chromedp.PaperLetter}} {
		name := "handout " + p.name
		words, all, _ := sheet(t, ctx, name, "sheet-open", "sheet-handout", p.size)
		says(t, name, words, append(always, "Handout", "Date", "Answer", "Draw here")...)
		samples(name, curve(all, printedTrace))
		marksAbove(t, ctx, name, all, curve(all, printedTrace), last)
		millimetres(t, name, all)
		name = "lab sheet " + p.name
		words, all, _ = sheet(t, ctx, name, "sheet-open", "sheet-lab", p.size)
		says(t, name, words, append(always, "Lab sheet", "mean of ", "Rate at ", "bpm, ", "Hum ", "Clipping ", "Polarity ", "Swing: ", "✓ good")...)
		samples(name, curve(all, printedTrace))
	}
	// For a class to find the beats itself: a question, and no marks.
	script(t, ctx, `press("sheet-open"); at("sheet-question").value = "How many beats in a minute?"; press("sheet-marks"); shut()`)
	words, all, _ := sheet(t, ctx, "handout unmarked", "sheet-open", "sheet-handout", chromedp.PaperLetter)
	says(t, "handout unmarked", words, "How many beats in a minute?")
	samples("handout unmarked", curve(all, printedTrace))
	for _, s := range all {
		if s.fill && len(s.parts) > 0 && len(s.parts[0]) >= 3 && len(s.parts[0]) <= 4 && s.parts[0][0][1] == s.parts[0][1][1] && s.parts[0][2][0] > s.parts[0][0][0] && s.parts[0][2][0] < s.parts[0][1][0] {
			t.Errorf("handout unmarked: a sign of a beat at %v", s.parts[0])
		}
	}
	if regexp.MustCompile(`\d ms`).MatchString(words) || !look[bool](t, ctx, `S().beats[0] > 5`) {
		t.Errorf("handout unmarked: intervals stand on %q, or the page has lost its beats", words)
	}
	if got := look[string](t, ctx, `document.documentElement.dataset.theme + S().held`); got != "darktrue" {
		t.Errorf("after printing the page is %q, want dark and held as before", got)
	}
	// Of a recording in Review.
	script(t, ctx, `fetch("/api/v1/keep", {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify({minutes: 1, name: "bench 3"})}).then((r) => r.text()).then((x) => (window.kept = x))`)
	soon(t, ctx, "the recording", `window.kept`, 10*time.Second)
	keyDown(t, ctx, "r")
	soon(t, ctx, "the list", `document.querySelector(".recording-name:not([disabled])")`, 10*time.Second)
	script(t, ctx, `document.querySelector(".recording-name").click()`)
	soon(t, ctx, "its trace", `pulsewrightReview?.().piece?.exact && pulsewrightReview().beats.length`, 10*time.Second)
	for _, kind := range []string{"handout", "lab"} {
		name := "review " + kind
		words, all, drawn := sheet(t, ctx, name, "review-sheet", "sheet-"+kind, chromedp.PaperLetter)
		says(t, name, words, "INVENTED", "bench 3", "Name", "250\u00a0Hz", "0:00.00 to ", "drawn as recorded; path when recorded: drift below 0.3 Hz removed", "Learning aid")
		asDrawn(t, name, curve(all, printedTrace), drawn)
		if kind == "lab" {
			says(t, name, words, "Median rate", "Median of ", "Swing: ")
		} else {
			millimetres(t, name, all)
		}
	}
	// Much to say on one page: in smaller letters, with the worst of it without remedies.
	script(t, ctx, `const ask = window.fetch; window.fetch = async (a, ...rest) => {
		const answer = await ask(a, ...rest);
		if (!String(a.url ?? a).includes("/analysis")) return answer;
		const j = await answer.json();
		for (const v of j.report.verdicts) { v.text += " and so it goes on".repeat(window.more); v.remedy += " Change a part.".repeat(window.more); }
		return new Response(JSON.stringify(j), {headers: {"Content-Type": "application/json"}});
	}`)
	for _, more := range []int{5, 12} {
		script(t, ctx, fmt.Sprintf(`window.more = %d`, more))
		words, _, _ := sheet(t, ctx, fmt.Sprintf("review lab, %d times as much", more), "review-sheet", "sheet-lab", chromedp.PaperLetter)
		says(t, "a long lab sheet", words, strings.Repeat(" and so it goes on", more), "Polarity ")
	}
}
