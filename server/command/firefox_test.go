//go:build !windows

package command

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
	"github.com/coder/websocket/wsjson"

	"pulsewright/acquire/acquiretest"
)

// firefox is a page in Firefox, driven by W3C WebDriver BiDi.
type firefox struct {
	t    *testing.T
	ctx  context.Context
	c    *websocket.Conn
	id   int
	page string
	// errors are what the page wrote to its console as an error.
	errors []string
}

// startFirefox opens a page of 1280 by 800 in a Firefox of its own.
func startFirefox(t *testing.T) *firefox {
	t.Helper()
	if testing.Short() {
		t.Skip("-short leaves out the tests in a browser")
	}
	path := ""
	for _, name := range []string{"firefox-esr", "firefox"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		acquiretest.Missing(t, "Firefox")
	}
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	profile, err := os.MkdirTemp("", "pulsewright-firefox-")
	if err != nil {
		t.Fatal(err)
	}
	p := exec.CommandContext(ctx, path, "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port", "0", "about:blank")
	p.Env = append(os.Environ(), "HOME="+profile)
	said, err := p.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	f := &firefox{t: t, ctx: ctx}
	t.Cleanup(func() {
		if f.c != nil {
			_ = wsjson.Write(ctx, f.c, map[string]any{"id": f.id + 1, "method": "browser.close", "params": map[string]any{}})
			f.c.CloseNow()
		}
		time.AfterFunc(5*time.Second, cancel)
		_ = p.Wait()
		cancel()
		os.RemoveAll(profile)
	})
	address := make(chan string, 1)
	go func() {
		line := regexp.MustCompile(`WebDriver BiDi listening on (ws://\S+)`)
		for s := bufio.NewScanner(said); s.Scan(); {
			if m := line.FindStringSubmatch(s.Text()); m != nil {
				address <- m[1]
			}
		}
		close(address)
	}()
	url, ok := <-address
	if !ok {
		t.Fatal("Firefox ended before it could be driven")
	}
	if f.c, _, err = websocket.Dial(ctx, url+"/session", nil); err != nil {
		t.Fatal(err)
	}
	f.c.SetReadLimit(64 << 20)
	f.do("session.new", map[string]any{"capabilities": map[string]any{}}, nil)
	f.do("session.subscribe", map[string]any{"events": []string{"log.entryAdded"}}, nil)
	var tree struct{ Contexts []struct{ Context string } }
	f.do("browsingContext.getTree", map[string]any{}, &tree)
	f.page = tree.Contexts[0].Context
	f.do("browsingContext.setViewport", map[string]any{"context": f.page, "viewport": map[string]int{"width": 1280, "height": 800}}, nil)
	return f
}

// do sends a command and reads until its answer has come.
func (f *firefox) do(method string, params map[string]any, result any) {
	f.t.Helper()
	f.id++
	if err := wsjson.Write(f.ctx, f.c, map[string]any{"id": f.id, "method": method, "params": params}); err != nil {
		f.t.Fatal(err)
	}
	for {
		var m struct {
			ID      int
			Type    string
			Method  string
			Message string
			Result  json.RawMessage
			Params  struct{ Level, Text string }
		}
		if err := wsjson.Read(f.ctx, f.c, &m); err != nil {
			f.t.Fatalf("%s: %v", method, err)
		}
		switch {
		case m.Method == "log.entryAdded" && m.Params.Level == "error":
			f.errors = append(f.errors, m.Params.Text)
		case m.ID != f.id:
		case m.Type == "error":
			f.t.Fatalf("%s: %s", method, m.Message)
		default:
			if result != nil {
				if err := json.Unmarshal(m.Result, result); err != nil {
					f.t.Fatalf("%s: %v", method, err)
				}
			}
			return
		}
	}
}

// look evaluates a JavaScript expression and returns it as JSON.
func (f *firefox) look(expression string) string {
	f.t.Helper()
	var out struct {
		Type             string
		Result           struct{ Value string }
		ExceptionDetails struct{ Text string }
	}
	f.do("script.evaluate", map[string]any{"expression": "JSON.stringify((" + expression + ") ?? null)", "target": map[string]string{"context": f.page}, "awaitPromise": false, "userActivation": true}, &out)
	if out.Type != "success" {
		f.t.Fatalf("%s: %s", expression, out.ExceptionDetails.Text)
	}
	return out.Result.Value
}

// soon waits for a condition.
func (f *firefox) soon(what, condition string) {
	f.t.Helper()
	for end := time.Now().Add(20 * time.Second); f.look("!!("+condition+")") != "true"; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			f.t.Fatalf("waiting for %s: %s does not hold; stats %s", what, condition, f.look("window.pulsewright?.stats()"))
		}
	}
}

// act performs the input actions of one device.
func (f *firefox) act(kind string, actions ...map[string]any) {
	f.t.Helper()
	source := map[string]any{"type": kind, "id": kind, "actions": actions}
	f.do("input.performActions", map[string]any{"context": f.page, "actions": []any{source}}, nil)
}

// press types keys one after the other.
func (f *firefox) press(keys string) {
	f.t.Helper()
	for _, k := range keys {
		f.act("key", map[string]any{"type": "keyDown", "value": string(k)}, map[string]any{"type": "keyUp", "value": string(k)})
	}
}

// Keys as WebDriver numbers them.
const (
	wdEscape, wdEnd, wdLeft, wdShift = "\ue00c", "\ue010", "\ue012", "\ue008"
)

// TestFirefox goes through the page in Firefox: a live trace and rate, keys, a drag that
// zooms, every drawer, the view for a room, the refusal of an audio input, a recording.
func TestFirefox(t *testing.T) {
	f := startFirefox(t)
	address := program(t, "demo:finger")
	f.do("browsingContext.navigate", map[string]any{"context": f.page, "url": address, "wait": "complete"}, nil)
	const S = "pulsewright.stats()"
	f.soon("a rate", `/^\d\d+$/.test(`+S+`.rateText)`)
	f.soon("frames", S+`.frames > 30 && `+S+`.lastIndex > 500`)
	// Ink of more than the paper and the grid on the trace's canvas.
	f.soon("ink of the trace", `((c) => { const p = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let n = 0; for (let i = 0; i < p.length; i += 4) if (p[i + 3] > 127) n++; return n > 300; })(document.querySelector("#trace .trace-ink"))`)

	f.press("++")
	f.soon("two seconds across", S+`.secondsAcross === 2 && `+S+`.lastIndex > 1000`)
	f.press(" ")
	f.soon("the paper held", S+`.held`)
	f.press(wdLeft)
	f.soon("it scrolled back", S+`.shownEnd < `+S+`.lastIndex - 100`)
	f.press("c")
	f.soon("cursors", S+`.cursors.on`)
	f.press("c" + wdEnd)
	f.soon("back to live", "!"+S+`.held`)
	before := f.look(S + ".secondsAcross")
	f.press("z")
	point := func(kind string, x, y, ms int) map[string]any {
		return map[string]any{"type": kind, "x": x, "y": y, "duration": ms, "button": 0}
	}
	f.act("pointer", point("pointerMove", 300, 250, 0), map[string]any{"type": "pointerDown", "button": 0}, point("pointerMove", 450, 270, 100), point("pointerMove", 600, 280, 100), map[string]any{"type": "pointerUp", "button": 0})
	f.soon("the drag to zoom", S+`.zooms === 1 && `+S+`.secondsAcross < `+before)
	f.act("key", map[string]any{"type": "keyDown", "value": wdShift}, map[string]any{"type": "keyDown", "value": "Z"}, map[string]any{"type": "keyUp", "value": "Z"}, map[string]any{"type": "keyUp", "value": wdShift})
	f.soon("the zoom undone", S+`.secondsAcross === `+before)
	f.press(wdEnd)

	for key, title := range map[string]string{"k": "Check", "i": "Intervals", "f": "Spectrum", "r": "Recordings", "y": "Why", "u": "Sound input", "l": "Share", "b": "Link", "g": "Firmware"} {
		f.press(key)
		f.soon(title, fmt.Sprintf(`document.querySelector("#drawer h2")?.textContent === %q && !document.querySelector("#drawer .error")?.textContent`, title))
		f.press(wdEscape)
	}
	f.press("w")
	f.soon("the view for a room", S+`.show.open && /^\d\d+$/.test(document.querySelector('[data-testid=show-rate]').textContent)`)
	f.press(wdEscape)

	// No audio input here, or one that is refused: it is said with what to do.
	f.press("s")
	f.soon("the sources", `[...document.querySelectorAll("dialog[open] button")].some((b) => /audio inputs/.test(b.textContent))`)
	f.look(`[...document.querySelectorAll("dialog[open] button")].find((b) => /audio inputs/.test(b.textContent)).click()`)
	f.soon("a refusal", `/no audio input|not allowed|refused/i.test(document.querySelector("dialog[open]").textContent)`)
	f.press(wdEscape)

	f.look(`fetch("/api/v1/keep", { method: "POST", headers: { "Content-Type": "application/json" }, body: '{"minutes":1,"name":"fox"}' }).then((r) => (window.kept = r.status)) && 0`)
	f.soon("a kept recording", `window.kept === 200`)
	f.press("r")
	f.soon("it in the list", `document.querySelector('[data-testid=recording-0]')`)
	f.look(`document.querySelector('[data-testid=recording-0]').click()`)
	f.soon("its review", `pulsewrightReview().piece?.exact`)
	f.press("i")
	f.soon("its intervals", `document.querySelector('[data-testid=review-intervals-where]').textContent !== ""`)
	f.look(`document.querySelector('[data-testid=review-canvas]').focus()`)
	f.press("+")
	f.soon("a narrower window", `pulsewrightReview().to < pulsewrightReview().length`)
	if dropped := f.look(S + ".dropped"); dropped != "0" {
		t.Errorf("%s frames dropped", dropped)
	}
	if len(f.errors) > 0 {
		t.Errorf("the page complained: %s", strings.Join(f.errors, "\n"))
	}
}
