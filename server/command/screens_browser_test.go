//go:build !windows

package command

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestScreens takes pictures of the page for people to look at, into the folder that
// PULSEWRIGHT_SCREENS names: three sizes, light and dark. TestScreenshot takes the one
// of the README.
func TestScreens(t *testing.T) {
	folder := os.Getenv("PULSEWRIGHT_SCREENS")
	if folder == "" {
		t.Skip("PULSEWRIGHT_SCREENS names no folder for the pictures")
	}
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:both"))
	soon(t, ctx, "a reading", `window.pulsewright?.stats?.().state === "reading"`, 40*time.Second)
	script(t, ctx, `document.querySelector("[data-testid=cautions-ack]")?.click()`)
	script(t, ctx, `fetch("/api/v1/keep", {method: "POST", headers: {"Content-Type": "application/json"}, body: '{"minutes": 1, "name": "board A"}'})`)
	for _, size := range [][2]int64{{1280, 800}, {1920, 1080}, {390, 844}} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1])); err != nil {
			t.Fatal(err)
		}
		for _, theme := range []string{"light", "dark"} {
			if look[string](t, ctx, `document.documentElement.dataset.theme`) != theme {
				keystroke(t, ctx, "t")
			}
			screens(t, ctx, filepath.Join(folder, fmt.Sprintf("%d-%s-", size[0], theme)))
		}
	}
}

// screens takes each of the page's main views.
func screens(t *testing.T, ctx context.Context, prefix string) {
	t.Helper()
	shoot := func(name string) {
		time.Sleep(800 * time.Millisecond)
		png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(prefix+name+".png", png, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	shoot("main")
	script(t, ctx, `document.querySelector("[data-testid=drawer-check]").click()`)
	shoot("check")
	script(t, ctx, `document.querySelector("[data-testid=drawer-recordings]").click()`)
	shoot("recordings")
	if look[bool](t, ctx, `!!document.querySelector("[data-testid=recording-0]")`) {
		script(t, ctx, `document.querySelector("[data-testid=recording-0]").click()`)
		shoot("review")
		script(t, ctx, `document.querySelector("[data-testid=review-close]").click()`)
	}
	script(t, ctx, `document.querySelector("[data-testid=drawer-close]")?.click()`)
	keystroke(t, ctx, "s")
	shoot("source")
	script(t, ctx, `document.querySelector("dialog[open]").close()`)
	keystroke(t, ctx, "w")
	shoot("show")
	keystroke(t, ctx, "\x1b")
}

// TestScreenshot takes the README's picture to where PULSEWRIGHT_SCREENSHOT says.
func TestScreenshot(t *testing.T) {
	path := os.Getenv("PULSEWRIGHT_SCREENSHOT")
	if path == "" {
		t.Skip("PULSEWRIGHT_SCREENSHOT names no file for the picture")
	}
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 800)); err != nil {
		t.Fatal(err)
	}
	ready(t, ctx)
	soon(t, ctx, "a reading", `S().state === "reading" && S().lastIndex > 250 * 12`, 60*time.Second)
	script(t, ctx, `at("guide-close")?.click()`)
	time.Sleep(time.Second)
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	if len(png) > 200_000 {
		t.Errorf("the picture has %d bytes; keep it under 200 000", len(png))
	}
	if err := os.WriteFile(path, png, 0o644); err != nil {
		t.Fatal(err)
	}
}
