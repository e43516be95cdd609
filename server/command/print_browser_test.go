//go:build !windows

package command

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// stroke is a line drawn on a printed page: its colour (red, green, blue from 0 to 1) and
// the points of its parts in millimetres from the page's lower left.
type stroke struct {
	colour [3]float64
	parts  [][][2]float64
	fill   bool
}

// pdfStrokes reads what a PDF draws out of its content streams, by the operators of
// ISO 32000-1, 8.2: transformations (cm, q, Q), colours (RG, rg, G, g), paths (m, l, c, re, h)
// and their painting (S, f and others).
func pdfStrokes(t *testing.T, pdf []byte) []stroke {
	t.Helper()
	var all []stroke
	for at := 0; ; {
		next := bytes.Index(pdf[at:], []byte("stream\n"))
		if next < 0 {
			break
		}
		at += next + len("stream\n")
		z, err := zlib.NewReader(bytes.NewReader(pdf[at:]))
		if err != nil {
			continue // not packed: a picture or a font
		}
		content, err := io.ReadAll(z)
		if err == nil && bytes.Contains(content, []byte(" cm\n")) {
			all = append(all, contentStrokes(string(content))...)
		}
	}
	return all
}

type matrix [6]float64

// times is the transformation m, then n.
func (m matrix) times(n matrix) matrix {
	return matrix{m[0]*n[0] + m[1]*n[2], m[0]*n[1] + m[1]*n[3], m[2]*n[0] + m[3]*n[2], m[2]*n[1] + m[3]*n[3], m[4]*n[0] + m[5]*n[2] + n[4], m[4]*n[1] + m[5]*n[3] + n[5]}
}

func contentStrokes(content string) []stroke {
	type state struct {
		m          matrix
		pen, brush [3]float64
	}
	const mm = 25.4 / 72
	now := state{m: matrix{mm, 0, 0, mm, 0, 0}}
	var kept []state
	var numbers []float64
	var parts [][][2]float64
	var all []stroke
	point := func(x, y float64) [2]float64 {
		return [2]float64{x*now.m[0] + y*now.m[2] + now.m[4], x*now.m[1] + y*now.m[3] + now.m[5]}
	}
	for _, word := range strings.Fields(content) {
		if v, err := strconv.ParseFloat(word, 64); err == nil {
			numbers = append(numbers, v)
			continue
		}
		n := numbers
		numbers = nil
		switch {
		case word == "q":
			kept = append(kept, now)
		case word == "Q" && len(kept) > 0:
			now, kept = kept[len(kept)-1], kept[:len(kept)-1]
		case word == "cm" && len(n) == 6:
			now.m = matrix(n).times(now.m)
		case word == "RG" && len(n) == 3:
			now.pen = [3]float64(n)
		case word == "rg" && len(n) == 3:
			now.brush = [3]float64(n)
		case word == "G" && len(n) == 1:
			now.pen = [3]float64{n[0], n[0], n[0]}
		case word == "g" && len(n) == 1:
			now.brush = [3]float64{n[0], n[0], n[0]}
		case word == "m" && len(n) == 2:
			parts = append(parts, [][2]float64{point(n[0], n[1])})
		case (word == "l" || word == "c") && len(n) >= 2 && len(parts) > 0:
			last := &parts[len(parts)-1]
			*last = append(*last, point(n[len(n)-2], n[len(n)-1]))
		case word == "S" || word == "s":
			all = append(all, stroke{colour: now.pen, parts: parts})
			parts = nil
		case word == "f" || word == "f*" || word == "B" || word == "b":
			all = append(all, stroke{colour: now.brush, parts: parts, fill: true})
			parts = nil
		case word == "n":
			parts = nil
		}
	}
	return all
}

// printed prints the page and says what its beforeprint left in window.printed.
func printed[T any](t *testing.T, ctx context.Context, name, note string) ([]stroke, T) {
	t.Helper()
	// After the page's own listener, which says in the foot of each page what it is.
	script(t, ctx, `window.onbeforeprint = () => { window.printed = `+note+`; window.foot = [...document.adoptedStyleSheets].flatMap((s) => [...s.cssRules]).map((r) => r.cssText).join() }`)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPrintBackground()))
	if err != nil {
		t.Fatal(err)
	}
	if folder := os.Getenv("PULSEWRIGHT_PICTURES"); folder != "" {
		_ = os.WriteFile(filepath.Join(folder, t.Name()+"-"+name+".pdf"), pdf, 0o644)
	}
	if look[int](t, ctx, `document.querySelectorAll(".on-paper").length`) != 0 {
		t.Errorf("%s: the sheet of paper is left in the page", name)
	}
	invented := name != "the keys" && !strings.HasPrefix(name, "review of a file")
	if foot := look[string](t, ctx, `window.foot`); !strings.Contains(foot, "@bottom-center") || !strings.Contains(foot, "Learning aid") || strings.Contains(foot, "INVENTED") != invented {
		t.Errorf("%s: in the foot of each page %q", name, foot)
	}
	if look[int](t, ctx, `document.adoptedStyleSheets.length`) != 0 {
		t.Errorf("%s: the foot of the pages is left", name)
	}
	return pdfStrokes(t, pdf), look[T](t, ctx, `window.printed`)
}

// curve is the points of the longest line of a colour #rrggbb, without those that are said twice.
func curve(all []stroke, colour string) [][2]float64 {
	v, _ := strconv.ParseUint(strings.TrimPrefix(colour, "#"), 16, 32)
	var best [][2]float64
	for _, s := range all {
		near := !s.fill
		for i := range 3 {
			near = near && math.Abs(s.colour[i]-float64(v>>(16-8*i)&255)/255) < 0.003
		}
		var points [][2]float64
		for _, part := range s.parts {
			for _, p := range part {
				if len(points) == 0 || points[len(points)-1] != p {
					points = append(points, p)
				}
			}
		}
		if near && len(points) > len(best) {
			best = points
		}
	}
	return best
}

// fits holds a printed curve against its data: one point for each value, in steps of equal
// length to the right, each as high as its value says. It gives millimetres a sample and a unit.
func fits(t *testing.T, name string, points [][2]float64, values []float64) (perSample, perUnit float64) {
	t.Helper()
	if len(points) != len(values) || len(points) < 100 {
		t.Errorf("%s: %d points are printed of %d values", name, len(points), len(values))
		return 0, 0
	}
	last := len(points) - 1
	perSample = (points[last][0] - points[0][0]) / float64(last)
	var v, y, vv, vy float64
	for i, p := range points {
		v, y, vv, vy = v+values[i], y+p[1], vv+values[i]*values[i], vy+values[i]*p[1]
	}
	n := float64(len(points))
	perUnit = (n*vy - v*y) / (n*vv - v*v)
	base := (y - perUnit*v) / n
	var worstX, worstY float64
	for i, p := range points {
		worstX = max(worstX, math.Abs(p[0]-points[0][0]-float64(i)*perSample))
		worstY = max(worstY, math.Abs(p[1]-base-perUnit*values[i]))
	}
	// A hundredth of a CSS pixel, to which an SVG is written, is 0.0026 mm.
	if worstX > 0.01 || worstY > 0.01 || perUnit <= 0 {
		t.Errorf("%s: points are up to %.3f mm aside and %.3f mm above or below their data, %.3g mm a unit", name, worstX, worstY, perUnit)
	}
	return perSample, perUnit
}

// The trace of the first point and its first channel on white paper, as web/js/theme.js has them.
const printedTrace, printedSmooth = "#000000", "#0072b2"

// longestCurve is the data of the longest black curve of the charts on paper.
const longestCurve = `[...document.querySelectorAll(".on-paper path.curve[stroke='#000000']")].map((p) => p.getAttribute("d")).sort((a, b) => b.length - a.length)[0] ?? ""`

// asDrawn holds a printed curve against the path it is printed from: the same points, but for
// one scale and one place for each direction.
func asDrawn(t *testing.T, name string, points [][2]float64, data string) {
	t.Helper()
	var drawn [][2]float64
	for _, part := range strings.FieldsFunc(data, func(r rune) bool { return r == 'M' || r == 'L' }) {
		var p [2]float64
		if _, err := fmt.Sscan(part, &p[0], &p[1]); err != nil {
			t.Fatalf("%s: %q: %v", name, part, err)
		}
		if len(drawn) == 0 || drawn[len(drawn)-1] != p {
			drawn = append(drawn, p)
		}
	}
	if len(drawn) < 100 || len(points) != len(drawn) {
		t.Errorf("%s: %d points are printed of a path of %d", name, len(points), len(drawn))
		return
	}
	scale := (points[len(points)-1][0] - points[0][0]) / (drawn[len(drawn)-1][0] - drawn[0][0])
	for i, p := range points {
		x, y := points[0][0]+scale*(drawn[i][0]-drawn[0][0]), points[0][1]-scale*(drawn[i][1]-drawn[0][1])
		if math.Hypot(p[0]-x, p[1]-y) > 0.02 {
			t.Errorf("%s: point %d is printed at %.3f, %.3f mm and drawn at %.3f, %.3f mm", name, i, p[0], p[1], x, y)
			return
		}
	}
}

// marksAbove holds the signs of the beats, filled triangles, against the beats' samples on the curve.
func marksAbove(t *testing.T, ctx context.Context, name string, all []stroke, points [][2]float64, last int) {
	t.Helper()
	first := last - len(points) + 1
	script(t, ctx, fmt.Sprintf(`window.told = null; fetch("/api/v1/beats?from=%d&to=%d").then((r) => r.json()).then((b) => { window.told = b.channels[0].map((x) => x.sample) })`, first, last-250))
	soon(t, ctx, "the beats", `window.told`, 10*time.Second)
	for _, sample := range look[[]int](t, ctx, `window.told`) {
		if sample < first || sample > last-250 {
			continue
		}
		want, found := points[sample-first], false
		for _, s := range all {
			for _, part := range s.parts {
				found = found || s.fill && len(part) >= 3 && len(part) <= 4 && math.Abs(part[2][0]-want[0]) < 0.02 && part[0][1] > want[1]
			}
		}
		if !found {
			t.Errorf("%s: no sign above the beat at sample %d, %.2f mm from the left", name, sample, want[0])
		}
	}
}

// TestPrintsCurves prints the page live and frozen, from a light and a dark screen, with drawers
// and as the Show view: the curve in the PDF's vector data is the page's samples, on white.
func TestPrintsCurves(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "four seconds", `window.pulsewright?.stats?.().lastIndex > 1000`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click(); { const s = at("seconds-across"); s.value = "2"; s.dispatchEvent(new Event("change")); }`)
	type seen struct {
		Last int
	}
	const note = `({last: Math.min(Math.floor(S().shownEnd), S().lastIndex - 1)})`
	page := func(name string, point, count, last int, points [][2]float64) {
		t.Helper()
		first := last - len(points) + 1
		if off := float64(count) - float64(len(points)); off < -2 || off > 2 {
			t.Errorf("%s: %d points of %d samples across", name, len(points), count)
			return
		}
		fits(t, name, points, look[[]float64](t, ctx, fmt.Sprintf(`Array.from({length: %d}, (_, i) => pulsewright.sample(0, %d, %d + i))`, len(points), point, first)))
	}
	for _, theme := range []string{"light", "dark"} {
		script(t, ctx, fmt.Sprintf(`if (document.documentElement.dataset.theme !== %q) at("theme").click()`, theme))
		for _, state := range []string{"live", "frozen"} {
			if state == "frozen" {
				script(t, ctx, `press("freeze")`)
			}
			name := theme + " " + state
			all, s := printed[seen](t, ctx, strings.ReplaceAll(name, " ", "-"), note)
			page(name+", before", 0, 500, s.Last, curve(all, printedTrace))
			page(name+", after", 3, 500, s.Last, curve(all, printedSmooth))
			marksAbove(t, ctx, name, all, curve(all, printedTrace), s.Last)
			for _, s := range all {
				if s.fill && s.colour[0]+s.colour[1]+s.colour[2] < 0.6 && len(s.parts) == 1 && len(s.parts[0]) > 3 && math.Abs(s.parts[0][0][0]-s.parts[0][2][0]) > 60 {
					t.Errorf("%s: a dark area %v wide is printed", name, s.parts[0])
				}
			}
			if got := look[string](t, ctx, `document.documentElement.dataset.theme`); got != theme {
				t.Errorf("after printing the page is %s, before %s", got, theme)
			}
			if state == "frozen" {
				script(t, ctx, `press("live")`)
			}
		}
	}
	// True to scale: at 25 mm/s a second is 25 mm of the paper.
	script(t, ctx, `press("freeze"); window.print = () => {}; press("save"); press("save-true")`)
	all, s := printed[seen](t, ctx, "true", note)
	points := curve(all, printedTrace)
	perSample, _ := fits(t, "true", points, look[[]float64](t, ctx, fmt.Sprintf(`Array.from({length: %d}, (_, i) => pulsewright.sample(0, 0, %d + i))`, len(points), s.Last-len(points)+1)))
	if math.Abs(250*perSample-25) > 0.01 {
		t.Errorf("a second is %.3f mm of the paper, want 25 mm", 250*perSample)
	}
	if again, _ := printed[seen](t, ctx, "again", note); len(curve(again, printedTrace)) > 510 {
		t.Error("the next print, without asking for it, is true to scale too")
	}
	// Over a dialog: what asks something is not printed, the page behind it is; what is to be read is printed alone.
	script(t, ctx, `press("save")`)
	if all, _ := printed[int](t, ctx, "over a dialog", "1"); len(curve(all, printedTrace)) < 400 {
		t.Error("over the Save dialog the trace is not printed")
	}
	script(t, ctx, `press("save-dialog-close"); press("help")`)
	if all, _ := printed[int](t, ctx, "the keys", "1"); len(curve(all, printedTrace)) > 0 {
		t.Error("with the list of keys the trace is printed too")
	}
	script(t, ctx, `press("help-dialog-close")`)
	// A drawer's chart, and the Show view.
	keyDown(t, ctx, "f")
	soon(t, ctx, "a spectrum", `at("spectrum-facts") || document.querySelector(".drawer-body canvas.plot")`, 10*time.Second)
	time.Sleep(2 * time.Second)
	all, drawn := printed[string](t, ctx, "spectrum", longestCurve)
	asDrawn(t, "spectrum", curve(all, printedTrace), drawn)
	// Its numbers, saved, have a row for each point.
	script(t, ctx, `window.saved.length = 0; press("drawer-save"); press("save-csv"); window.saved[0].text().then((x) => (window.csv = x))`)
	soon(t, ctx, "the numbers", `window.csv`, 5*time.Second)
	csv := strings.Split(strings.TrimSpace(look[string](t, ctx, `window.csv`)), "\r\n")
	if len(csv) < 100 || !strings.HasPrefix(csv[2], "curve,frequency [Hz],") || strings.Count(csv[len(csv)-1], ",") != 2 {
		t.Errorf("%d lines of numbers are saved, the third %q, the last %q", len(csv), csv[min(2, len(csv)-1)], csv[len(csv)-1])
	}
	script(t, ctx, `press("drawer-close"); press("show-open")`)
	soon(t, ctx, "the Show view", `S().show.open`, 5*time.Second)
	script(t, ctx, `press("show-freeze")`)
	time.Sleep(300 * time.Millisecond)
	all, s = printed[seen](t, ctx, "show", `({last: Math.min(Math.floor(S().show.end), S().lastIndex - 1)})`)
	page("show", 3, 500, s.Last, curve(all, printedTrace))
	// Saved, it has the samples that are seen, and says that they are invented.
	script(t, ctx, `window.csv = ""; window.saved.length = 0; press("show-save"); press("save-csv"); window.saved[0].text().then((x) => (window.csv = x))`)
	soon(t, ctx, "the numbers of the Show view", `window.csv`, 5*time.Second)
	saved := look[string](t, ctx, `window.csv`)
	rows := strings.Split(strings.TrimSpace(saved[strings.Index(saved, "time_s"):]), "\r\n")[1:]
	if len(rows) < 498 || len(rows) > 502 || !strings.Contains(saved, "INVENTED") || !strings.Contains(saved, "time_s,cleaned [") {
		t.Errorf("%d rows are saved of the Show view, the file begins %.300q", len(rows), saved)
	}
	newest := look[float64](t, ctx, fmt.Sprintf(`pulsewright.sample(0, 3, %d)`, s.Last))
	var at, v float64
	if _, err := fmt.Sscanf(rows[len(rows)-1], "%f,%f", &at, &v); err != nil || math.Abs(v-newest) > 1e-6 {
		t.Errorf("the last row saved is %q, want the value %g", rows[len(rows)-1], newest)
	}
}

// TestPrintsReview prints five seconds of a recording in Review, from a dark screen: the curve
// in the PDF is the file's samples.
func TestPrintsReview(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	answer, err := http.Get(address + "/api/v1/recordings")
	if err != nil {
		t.Fatal(err)
	}
	var list struct{ Folder string }
	err = json.NewDecoder(answer.Body).Decode(&list)
	_ = answer.Body.Close()
	if err != nil {
		t.Fatal(err)
	}
	var file strings.Builder
	file.WriteString("time_s,lamp clip [V]\n")
	values := make([]float64, 20*250)
	for i := range values {
		values[i] = 2.5 + math.Round(1e4*(0.4*math.Sin(float64(i)/20)+0.1*math.Sin(float64(i*i)/900)))/1e4
		fmt.Fprintf(&file, "%.3f,%.4f\n", float64(i)/250, values[i])
	}
	if err := os.WriteFile(filepath.Join(list.Folder, "lamp.csv"), []byte(file.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the page", `window.pulsewright?.stats?.().lastIndex > 10`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click(); if (document.documentElement.dataset.theme !== "dark") at("theme").click()`)
	keyDown(t, ctx, "r")
	soon(t, ctx, "the list", `document.querySelector(".recording-name:not([disabled])")`, 10*time.Second)
	script(t, ctx, `document.querySelector(".recording-name").click()`)
	soon(t, ctx, "its trace", `pulsewrightReview?.().piece?.exact`, 10*time.Second)
	script(t, ctx, `{ const s = at("review-seconds"); s.value = "5"; s.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "five seconds of it", `(() => { const r = pulsewrightReview(); return r.to - r.from === 1250 && r.piece.exact && r.piece.to - r.piece.from < 4500 })()`, 10*time.Second)
	all, s := printed[reviewStats](t, ctx, "review of a file", reviewNow)
	points := curve(all, printedTrace)
	// One sample beside the window on either side is drawn too, and cut off.
	first := int(math.Floor(s.From)) - 1
	if len(points) < 1250 || first < 0 || first+len(points) > len(values) {
		t.Fatalf("%d points from sample %d on", len(points), first)
	}
	fits(t, "review", points, values[first:first+len(points)])
	script(t, ctx, `press("review-save"); press("save-csv"); window.saved.at(-1).text().then((x) => (window.csv = x))`)
	soon(t, ctx, "the numbers", `window.csv`, 5*time.Second)
	rows := strings.Split(strings.TrimSpace(look[string](t, ctx, `window.csv`)), "\r\n")[2:]
	if len(rows) != 1+1250 || rows[0] != "time_s,lamp clip [V]" {
		t.Fatalf("%d rows are saved, the first %q", len(rows), rows[0])
	}
	for i, row := range rows[1:] {
		var at, v float64
		if _, err := fmt.Sscanf(row, "%f,%f", &at, &v); err != nil || math.Abs(at-(s.From+float64(i))/250) > 1e-6 || math.Abs(v-values[int(s.From)+i]) > 1e-6 {
			t.Fatalf("row %d is %q, want %.6f s and %.4f V", i, row, (s.From+float64(i))/250, values[int(s.From)+i])
		}
	}
	// Compare, of the recording with itself.
	script(t, ctx, `press("review-as-a")`)
	soon(t, ctx, "the comparison", `document.querySelectorAll("[data-testid=compare-words] li").length > 0`, 20*time.Second)
	all, drawn := printed[string](t, ctx, "review of a file, compared", longestCurve)
	asDrawn(t, "compare", curve(all, printedTrace), drawn)
}

// TestPrintsInFirefox: the same of a frozen page in Firefox.
func TestPrintsInFirefox(t *testing.T) {
	t.Parallel()
	f := startFirefox(t)
	f.do("browsingContext.navigate", map[string]any{"context": f.page, "url": program(t, "demo:finger"), "wait": "complete"}, nil)
	const S = "pulsewright.stats()"
	f.soon("four seconds", S+`.lastIndex > 1000`)
	f.press("++ ")
	f.soon("two seconds, held", S+`.secondsAcross === 2 && `+S+`.held`)
	// Firefox has no margin boxes: the foot is a part of the page then.
	f.soon("an ear at the printing", `(addEventListener("beforeprint", () => { window.foot = document.querySelector(".page-foot")?.textContent ?? "" }), true)`)
	var answer struct{ Data []byte }
	f.do("browsingContext.print", map[string]any{"context": f.page, "background": true}, &answer)
	f.soon("the foot of each page, and taken away", `/INVENTED.*[Ll]earning aid/.test(window.foot) && !document.querySelector(".page-foot")`)
	points := curve(pdfStrokes(t, answer.Data), printedTrace)
	if folder := os.Getenv("PULSEWRIGHT_PICTURES"); folder != "" {
		_ = os.WriteFile(filepath.Join(folder, t.Name()+".pdf"), answer.Data, 0o644)
	}
	var values []float64
	if err := json.Unmarshal([]byte(f.look(fmt.Sprintf(`(() => { const n = %d, last = Math.min(Math.floor(%s.shownEnd), %s.lastIndex - 1); return Array.from({length: n}, (_, i) => pulsewright.sample(0, 0, last - n + 1 + i)) })()`, len(points), S, S))), &values); err != nil {
		t.Fatal(err)
	}
	if len(points) < 498 || len(points) > 502 {
		t.Fatalf("%d points of 500 samples across", len(points))
	}
	fits(t, "Firefox", points, values)
}
