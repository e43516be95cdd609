//go:build !windows

package command

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pulsewright/acquire/acquiretest"
)

// browser starts Chromium; its pages share one process until the test ends.
func browser(t testing.TB, width, height int, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("-short leaves out the tests in a browser")
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		acquiretest.Missing(t, "Chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(width, height),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("autoplay-policy", "no-user-gesture-required"))
	options = append(options, more...)
	allocator, cancel1 := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel2 := chromedp.NewContext(allocator)
	limited, cancel3 := context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(func() { cancel3(); cancel2(); cancel1() })
	return limited
}

// look evaluates a JavaScript expression that gives JSON-able data.
func look[T any](t testing.TB, ctx context.Context, expression string) T {
	t.Helper()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`JSON.stringify(`+expression+` ?? null)`))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	var out T
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		t.Fatalf("%s gave %s: %v", expression, text, err)
	}
	return out
}

// soon waits until a JavaScript condition holds.
func soon(t testing.TB, ctx context.Context, what, condition string, limit time.Duration) {
	t.Helper()
	deadline := time.Now().Add(limit)
	for !look[bool](t, ctx, `!!(`+condition+`)`) {
		if time.Now().After(deadline) {
			picture(t, ctx, "failed")
			t.Fatalf("waiting for %s: %s does not hold; stats %v", what, condition, look[map[string]any](t, ctx, "window.pulsewright?.stats?.()"))
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// picture keeps a screenshot where PULSEWRIGHT_PICTURES says.
func picture(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	folder := os.Getenv("PULSEWRIGHT_PICTURES")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err == nil {
		_ = os.WriteFile(filepath.Join(folder, t.Name()+"-"+name+".png"), png, 0o644)
	}
}

// everyScreen shows the page at a phone's size, a projector's and the usual one, at which it stays; an element of it, by
// its selector, must be nowhere wider than its room.
func everyScreen(t *testing.T, ctx context.Context, element string) {
	t.Helper()
	for _, size := range [][2]int64{{390, 844}, {1920, 1080}, {1280, 800}} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1])); err != nil {
			t.Fatal(err)
		}
		time.Sleep(200 * time.Millisecond)
		if wide := look[float64](t, ctx, fmt.Sprintf(`((e) => e.scrollWidth - e.clientWidth)(document.querySelector(%q))`, element)); wide > 0 {
			t.Errorf("at %d pixels %s is %v pixels too wide", size[0], element, wide)
		}
		picture(t, ctx, fmt.Sprint(size[0]))
	}
}

func open(t testing.TB, ctx context.Context, address string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil {
		t.Fatal(err)
	}
}

// pageStats is what the page tells of itself.
type pageStats struct {
	Frames     int
	LastIndex  float64
	FirstIndex float64
	RateText   string
	State      string
	Dropped    int
	Ranges     []struct {
		Channel, Point int
		Low, High      float64
		Unit           string
	}
}

const statsNow = "window.pulsewright.stats()"

// TestPageShowsABoardLive is the main job in a real browser: a pulse written to a
// pseudo-terminal at 250 lines a second appears with the right rate and scale,
// survives an unplug and a reload, and is seen by a second page.
func TestPageShowsABoardLive(t *testing.T) {
	ctx := browser(t, 1280, 800)
	b := newBench(t)
	play, stop := context.WithCancel(context.Background())
	defer stop()
	go b.play(play, steady(66))
	address := program(t, "serial:"+b.link+"?baud=115200")
	open(t, ctx, address)
	rate := `Math.abs(Number(document.querySelector('[data-testid=rate]').textContent) - 66) <= 1`
	soon(t, ctx, "a rate of 66 ± 1 bpm", rate, 45*time.Second)
	s := look[pageStats](t, ctx, statsNow)
	if len(s.Ranges) == 0 || s.Ranges[0].Unit != "V" || s.Ranges[0].Low < 1 || s.Ranges[0].High > 4.5 || s.Ranges[0].High-s.Ranges[0].Low < 0.9 {
		t.Errorf("the first lane spans %+v: want about a 1 V pulse around 2.5 V", s.Ranges)
	}
	picture(t, ctx, "live")

	// A reload shows no hole.
	before := s.LastIndex
	if err := chromedp.Do(ctx, chromedp.Reload()); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the page after a reload", fmt.Sprintf("window.pulsewright?.stats?.().lastIndex >= %v", before), 10*time.Second)
	if s := look[pageStats](t, ctx, statsNow); s.FirstIndex > 0 {
		t.Errorf("after a reload the page begins at sample %v, the source began at 0", s.FirstIndex)
	}
	soon(t, ctx, "the rate after a reload", rate, 5*time.Second)

	// A second page sees the same.
	second, cancel := chromedp.NewContext(ctx)
	defer cancel()
	open(t, second, address)
	soon(t, second, "the rate on a second page", rate, 10*time.Second)

	// Unplug: no rate is shown, the reason is; plugged in again it comes back.
	script(t, second, `document.querySelector("[data-testid=cautions-ack]")?.click(); document.querySelector("[data-testid=wired-no]")?.click(); document.querySelector("[data-testid=show-open]").click()`)
	b.unplug()
	soon(t, second, "Show to say that the board is away", `document.querySelector("[data-testid=show-state]").textContent === "Nothing arrives" && /plug|wait|gone|away/i.test(document.querySelector("[data-testid=show-reason]").textContent)`, 15*time.Second)
	picture(t, second, "show-unplugged")
	soon(t, ctx, "the page to say that the board is away", `!/\d/.test(document.querySelector('[data-testid=rate]').textContent) && /wait|gone|away/i.test(document.body.innerText)`, 10*time.Second)
	picture(t, ctx, "unplugged")
	b.plug()
	soon(t, ctx, "the rate after plugging in again", rate, 45*time.Second)
	soon(t, second, "the rate on the second page", rate, 10*time.Second)
	picture(t, ctx, "back")
}

// TestPageDrawsSixtyFrames looks that the frame loop runs and draws what comes.
func TestPageDrawsAndNothingOverflows(t *testing.T) {
	address := program(t, "demo:both")
	for _, size := range [][2]int{{1280, 800}, {1920, 1080}, {390, 844}} {
		ctx := browser(t, size[0], size[1])
		open(t, ctx, address)
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(int64(size[0]), int64(size[1]))); err != nil {
			t.Fatal(err)
		}
		soon(t, ctx, "frames", "window.pulsewright?.stats?.().frames > 20", 20*time.Second)
		wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth")
		if wide > 0 {
			t.Errorf("at %d pixels the page is %v pixels too wide", size[0], wide)
		}
		for _, theme := range []string{"light", "dark"} {
			if look[string](t, ctx, "document.documentElement.dataset.theme") != theme {
				look[bool](t, ctx, `(document.querySelector('[data-testid=theme]').click(), true)`)
			}
			time.Sleep(300 * time.Millisecond)
			picture(t, ctx, fmt.Sprintf("%d-%s", size[0], theme))
		}
	}
}

// TestForeignPageCannotReachTheProgram: a page from another origin gets neither
// the stream nor an answer.
func TestForeignPageCannotReachTheProgram(t *testing.T) {
	ctx := browser(t, 800, 600)
	address := program(t, "demo:finger")
	foreign := program(t, "demo:chest") // another port is another origin
	open(t, ctx, foreign)
	soon(t, ctx, "the foreign page", "document.readyState === 'complete'", 10*time.Second)
	ws := "ws" + strings.TrimPrefix(address, "http") + "/api/v1/stream"
	script := fmt.Sprintf(`(() => { window.outcome = "none"; try { const s = new WebSocket(%q, "pulsewright.v1");
		s.onopen = () => window.outcome = "open"; s.onerror = () => { if (window.outcome === "none") window.outcome = "refused"; }; } catch (e) { window.outcome = "refused"; } return true })()`, ws)
	// Without the page's own policy, as a foreign page would be.
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal(err)
	}
	look[bool](t, ctx, script)
	soon(t, ctx, "the stream to be refused", `window.outcome === "refused"`, 10*time.Second)
	look[bool](t, ctx, fmt.Sprintf(`(window.answer = "none", fetch(%q, {method: "PUT", headers: {"Content-Type": "application/json"}, body: '{"address":"demo:chest"}'}).then(() => window.answer = "answered", () => window.answer = "refused"), true)`, address+"/api/v1/source"))
	soon(t, ctx, "the request to be refused", `window.answer === "refused"`, 10*time.Second)
}
