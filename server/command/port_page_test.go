//go:build !windows

package command

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// fakeSerial gives a page a navigator.serial with one board, which prints
// (n*n*7+n*13) % 1021, 250 lines a second, from every opening on, and rubbish at any
// baud rate but 57600. It can be unplugged and plugged in again.
const fakeSerial = `(() => {
  const events = new EventTarget();
  let timer = 0, n = 0, controller = null;
  const board = {
    plugged: true, readable: null, opened: [], closed: 0,
    getInfo: () => ({ usbVendorId: 0x1209, usbProductId: 1 }),
    setSignals: async () => {},
    open: async ({ baudRate }) => {
      if (!board.plugged) throw new DOMException("gone", "NetworkError");
      if (board.readable) throw new DOMException("open already", "InvalidStateError");
      board.opened.push(baudRate);
      board.readable = new ReadableStream({ start: (c) => { controller = c; } });
      const text = new TextEncoder();
      const born = performance.now();
      let printed = 0;
      timer = setInterval(() => {
        let lines = "";
        for (const due = (performance.now() - born) / 4; printed < due; printed++, n++) lines += (n * n * 7 + n * 13) % 1021 + "\r\n";
        const bytes = text.encode(lines);
        // Cut where no line ends, as packets do.
        const cut = Math.floor(bytes.length / 3);
        for (const part of [bytes.slice(0, cut), bytes.slice(cut)])
          if (part.length > 0) controller.enqueue(baudRate === 57600 ? part : part.map((b) => b ^ 0xa5));
      }, 20);
    },
    close: async () => { clearInterval(timer); board.readable = null; board.closed++; },
  };
  window.fakeBoard = {
    board,
    unplug: () => { clearInterval(timer); board.plugged = false; board.readable = null; controller.error(new DOMException("gone", "NetworkError")); },
    plug: () => { board.plugged = true; events.dispatchEvent(new Event("connect")); },
  };
  Object.defineProperty(navigator, "serial", { value: Object.assign(events, { requestPort: async () => board, getPorts: async () => board.plugged ? [board] : [] }) });
})()`

// printedInOrder fails unless counts are what the fake board prints, none left out.
func printedInOrder(t *testing.T, counts []int32) {
	t.Helper()
	print := func(n int64) int32 { return int32((n*n*7 + n*13) % 1021) }
	for first := range int64(1021) { // the numbers repeat after 1021
		if print(first) != counts[0] || print(first+1) != counts[1] || print(first+2) != counts[2] {
			continue
		}
		for i, c := range counts {
			if c != print(first+int64(i)) {
				t.Fatalf("sample %d is %d, the board printed %d", i, c, print(first+int64(i)))
			}
		}
		return
	}
	t.Fatalf("the recording begins with %v, which the board never prints", counts[:3])
}

// A board on the page's computer: chosen, its baud rate mended, recorded exactly, unplugged, plugged in, loaded anew.
func TestBoardThroughTheBrowser(t *testing.T) {
	ctx := browser(t, 1280, 800)
	beforehand(t, ctx, fakeSerial)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	soon(t, ctx, "the page", "window.pulsewright?.stats?.().frames > 5", 20*time.Second)
	choose := func(baud int) {
		look[bool](t, ctx, `(document.querySelector('[data-testid=source-open]').click(), true)`)
		soon(t, ctx, "the list of sources", `document.querySelector('[data-testid=port-choose]')`, 10*time.Second)
		look[bool](t, ctx, fmt.Sprintf(`(document.querySelector('[data-testid=port-baud]').value = "%d", document.querySelector('[data-testid=port-choose]').click(), true)`, baud))
		look[bool](t, ctx, `(document.querySelector('dialog[open] [data-testid=wired-finger]')?.click(), true)`)
	}
	choose(9600) // wrong: the right one is found by having the page open its port anew
	soon(t, ctx, "the board to be sent", `/sends the board 1209:0001/.test(document.querySelector('[data-testid=port-state]').textContent)`, 20*time.Second)
	picture(t, ctx, "port")
	running := `(async () => { const s = await (await fetch("/api/v1/state")).json(); return s.status === "running" && s.source.address === "serial:browser/1209:0001?baud=57600" && s.channels.length === 1; })()`
	awaitTrue(t, ctx, "samples", running)
	send(t, "POST", address+"/api/v1/recording", map[string]any{"name": "port"})
	time.Sleep(4 * time.Second)
	counts := recorded(t, address)[0]
	if len(counts) < 3*250 {
		t.Fatalf("%d samples recorded in 4 s of 250 Hz", len(counts))
	}
	printedInOrder(t, counts)

	look[bool](t, ctx, `(fakeBoard.unplug(), true)`)
	soon(t, ctx, "the unplugging to be seen", `/unplugged/.test(document.querySelector('[data-testid=port-state]').textContent)`, 10*time.Second)
	awaitTrue(t, ctx, "the program to wait", `(async () => (await (await fetch("/api/v1/state")).json()).status === "waiting")()`)
	look[bool](t, ctx, `(fakeBoard.plug(), true)`)
	awaitTrue(t, ctx, "the board to come back", running)

	open(t, ctx, address)
	awaitTrue(t, ctx, "the board after loading the page anew", running)

	look[bool](t, ctx, `(fetch("/api/v1/source", {method: "PUT", headers: {"Content-Type": "application/json"}, body: '{"address":"demo:finger"}'}), true)`)
	soon(t, ctx, "the port to be let go", `fakeBoard.board.readable === null && /no longer sends/.test(document.querySelector('[data-testid=port-state]').textContent)`, 20*time.Second)
}

// beforehand runs a script in every page that is loaded, before the page's own.
func beforehand(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return err
	})); err != nil {
		t.Fatal(err)
	}
}

// awaitTrue waits until a promise of the page's gives true.
func awaitTrue(t *testing.T, ctx context.Context, what, promise string) {
	t.Helper()
	look[bool](t, ctx, `(window.awaited = false, true)`)
	soon(t, ctx, what, `(`+promise+`.then((v) => { window.awaited = v; }, () => {}), window.awaited)`, 20*time.Second)
}

// A browser without Web Serial says so in words.
func TestNoPortsInThisBrowser(t *testing.T) {
	ctx := browser(t, 1280, 800)
	beforehand(t, ctx, `delete Navigator.prototype.serial`)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "the page", "window.pulsewright?.stats?.().frames > 5", 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=source-open]').click(), true)`)
	soon(t, ctx, "words about ports", `/cannot reach serial ports/.test(document.querySelector('[data-testid=port-hint]')?.textContent) && !document.querySelector('[data-testid=port-choose]')`, 10*time.Second)
}
