//go:build !windows

package command

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"image/png"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/skip2/go-qrcode"
)

// needNetwork skips without an address that is not loopback's: only then is the
// shared page seen as from another computer.
func needNetwork(t *testing.T) {
	t.Helper()
	all, _ := net.InterfaceAddrs()
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLoopback() && n.IP.IsGlobalUnicast() {
			return
		}
	}
	t.Skip("SKIP: this machine has no network address besides loopback's") // nothing to install
}

// shareFromPage opens the Share drawer and switches sharing on; it returns the links.
func shareFromPage(t *testing.T, ctx context.Context) (watch, own string) {
	t.Helper()
	soon(t, ctx, "the Share button", `document.querySelector('[data-testid=drawer-share]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), document.querySelector('[data-testid=drawer-share]').click(), true)`)
	soon(t, ctx, "the Share drawer", `document.querySelector('[data-testid=share-state]')?.textContent === "Not shared"`, 10*time.Second)
	press(t, ctx, "share-toggle")
	soon(t, ctx, "the link", `document.querySelector('[data-testid=share-watch-0]')?.value && /^Shared/.test(document.querySelector('[data-testid=share-state]').textContent)`, 10*time.Second)
	return value(t, ctx, "share-watch-0"), value(t, ctx, "share-own-0")
}

func press(t *testing.T, ctx context.Context, id string) {
	t.Helper()
	look[bool](t, ctx, `(document.querySelector('[data-testid=`+id+`]').click(), true)`)
}

func value(t *testing.T, ctx context.Context, id string) string {
	t.Helper()
	return look[string](t, ctx, `document.querySelector('[data-testid=`+id+`]').value`)
}

const frames = "window.pulsewright?.stats?.().frames > 10"

// TestSharingFromThePage is a lesson: the owner shares, a watcher comes by the link
// and sees the signal but can touch nothing, is listed, is sent away and stays away;
// new links end the old ones; sharing ends.
func TestSharingFromThePage(t *testing.T) {
	needNetwork(t)
	owner := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	open(t, owner, address)
	watch, own := shareFromPage(t, owner)
	if !strings.Contains(watch, "/?key=") || watch == own {
		t.Fatalf("links %q and %q", watch, own)
	}
	// The picture code holds the link: it is the QR library's own picture of it.
	soon(t, owner, "the picture", `document.querySelector('[data-testid=share-qr]')?.naturalWidth >= 200`, 10*time.Second)
	look[bool](t, owner, `(window.picture = "", fetch(document.querySelector('[data-testid=share-qr]').src).then((r) => r.blob()).then((b) => { const f = new FileReader(); f.onload = () => window.picture = f.result; f.readAsDataURL(b); }), true)`)
	soon(t, owner, "the picture's data", `window.picture !== ""`, 10*time.Second)
	_, data, _ := strings.Cut(look[string](t, owner, "window.picture"), ",")
	bitmap, err := base64.StdEncoding.DecodeString(data)
	if err != nil {
		t.Fatal(err)
	}
	samePicture(t, bitmap, watch)

	watcher := browser(t, 1280, 800)
	open(t, watcher, watch)
	soon(t, watcher, "frames on the watcher's page", frames, 30*time.Second)
	if at := look[string](t, watcher, "location.href"); strings.Contains(at, "key") {
		t.Errorf("the watcher's page is at %s: the key stays in the address", at)
	}
	soon(t, watcher, "the watch-only line", `document.querySelector('[data-testid=watch-only]')?.offsetParent`, 10*time.Second)
	look[bool](t, watcher, `(document.querySelector('[data-testid=cautions-ack]')?.click(), true)`)
	// Whatever could be pressed that changes the program is disabled or hidden.
	for _, id := range []string{"source-open", "note-add", "drawer-share"} {
		if look[bool](t, watcher, `(() => { const e = document.getElementById("`+id+`"); return !!e && !e.disabled && e.offsetParent !== null })()`) {
			t.Errorf("a watcher can press %s", id)
		}
	}
	settings := `[...document.querySelectorAll("#path input, #path select")]`
	if n := look[int](t, watcher, settings+".length"); n < 5 {
		t.Errorf("%d settings found on the path; does this test still know the page?", n)
	}
	if loose := look[[]string](t, watcher, settings+`.filter((e) => e.offsetParent && !e.disabled).map((e) => e.id || e.name || e.className)`); len(loose) > 0 {
		t.Errorf("a watcher can set %v", loose)
	}
	// And what a page could send is refused.
	look[bool](t, watcher, `(window.outcomes = [], Promise.all([["PUT", "/api/v1/channels/0/kind", {kind: "other"}], ["PUT", "/api/v1/source", {address: "demo:chest"}], ["POST", "/api/v1/recording", {}], ["GET", "/api/v1/recordings"], ["GET", "/api/v1/share"]]
		.map(([method, path, body]) => fetch(path, {method, headers: body ? {"Content-Type": "application/json"} : {}, body: body && JSON.stringify(body)}).then((r) => r.status))).then((list) => window.outcomes = list), true)`)
	soon(t, watcher, "the answers", "window.outcomes.length === 5", 10*time.Second)
	if got := fmt.Sprint(look[[]int](t, watcher, "window.outcomes")); got != "[403 403 403 403 403]" {
		t.Errorf("a watcher's requests got %s, want 403 each", got)
	}
	for what, most := range map[string]float64{"watch-line": 3, "source-lines": 1} {
		if lines := look[float64](t, watcher, fmt.Sprintf(`((e) => Math.round(e.scrollHeight / parseFloat(getComputedStyle(e).lineHeight)))(document.querySelector(".%s"))`, what)); lines > most {
			t.Errorf("the watcher's %s takes %v lines at 1280 pixels", what, lines)
		}
	}
	if high := look[float64](t, watcher, `document.querySelector(".top").offsetHeight`); high > 110 {
		t.Errorf("the watcher's head is %v pixels high at 1280 pixels", high)
	}
	picture(t, watcher, "watcher")

	// The owner sees who is there.
	soon(t, owner, "the watcher in the list", `/watching, one page open/.test(document.querySelector('[data-testid=share-visitors]').textContent)`, 15*time.Second)
	picture(t, owner, "owner")
	for _, size := range [][2]int64{{1920, 1080}, {390, 844}} {
		for name, ctx := range map[string]context.Context{"owner": owner, "watcher": watcher} {
			if err := chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1])); err != nil {
				t.Fatal(err)
			}
			time.Sleep(300 * time.Millisecond)
			if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
				t.Errorf("the %s's page at %d pixels is %v pixels too wide", name, size[0], wide)
			}
			picture(t, ctx, fmt.Sprintf("%s-%d", name, size[0]))
		}
	}

	// Sent away, the page says so and does not come back by itself.
	look[bool](t, owner, `(document.querySelector('[data-testid^=share-remove-]').click(), true)`)
	soon(t, watcher, "the watcher to be told", `/owner has closed your link/i.test(document.body.innerText)`, 10*time.Second)
	soon(t, owner, "the list without the watcher", `/Nobody/.test(document.querySelector('[data-testid=share-visitors]').textContent)`, 10*time.Second)
	picture(t, watcher, "sent-away")
	open(t, watcher, strings.SplitAfter(watch, "/?")[0])
	soon(t, watcher, "the way in to be closed", `/ask its owner for the link/i.test(document.querySelector('[data-testid=turned-away]')?.textContent)`, 10*time.Second)
	picture(t, watcher, "turned-away")

	// By the link it may come again, until there are new links.
	open(t, watcher, watch)
	soon(t, watcher, "frames by the link again", frames, 20*time.Second)
	press(t, owner, "share-renew")
	soon(t, owner, "another link", fmt.Sprintf(`document.querySelector('[data-testid=share-watch-0]').value !== %q`, watch), 10*time.Second)
	soon(t, watcher, "the watcher to be told of the closed link", `/owner has closed your link/i.test(document.body.innerText)`, 10*time.Second)
	open(t, watcher, watch)
	soon(t, watcher, "the old link to be refused", `/not valid/.test(document.querySelector('[data-testid=turned-away]')?.textContent)`, 10*time.Second)

	// The owner's link owns.
	open(t, watcher, value(t, owner, "share-own-0"))
	soon(t, watcher, "frames by the owner's link", frames, 20*time.Second)
	if look[bool](t, watcher, `document.body.classList.contains("watch-only")`) {
		t.Error("by the owner's link the page is watch-only")
	}
	press(t, owner, "share-toggle")
	soon(t, owner, "sharing to end", `document.querySelector('[data-testid=share-state]').textContent === "Not shared"`, 10*time.Second)
	soon(t, watcher, "the other owner to be told", `/closed your link|No connection/i.test(document.body.innerText)`, 10*time.Second)
}

// samePicture compares a PNG with the QR library's of a text, dot by dot.
func samePicture(t *testing.T, bitmap []byte, text string) {
	t.Helper()
	got, err := png.Decode(bytes.NewReader(bitmap))
	if err != nil {
		t.Fatal(err)
	}
	code, err := qrcode.New(text, qrcode.Medium)
	if err != nil {
		t.Fatal(err)
	}
	want := code.Image(got.Bounds().Dx())
	for y := range got.Bounds().Dy() {
		for x := range got.Bounds().Dx() {
			r1, _, _, _ := got.At(x, y).RGBA()
			r2, _, _, _ := want.At(x, y).RGBA()
			if r1 != r2 {
				t.Fatalf("at %d, %d the picture differs from the code of %s", x, y, text)
			}
		}
	}
}
