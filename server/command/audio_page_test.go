//go:build !windows

package command

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pulsewright/acquire/recording"
)

// microphone is a sequence of 16-bit samples whose every run of three is found once.
func microphone(n int) []int16 {
	out := make([]int16, n)
	for i := range out {
		x := uint32(i)*2654435761 + 12345
		x ^= x >> 15
		x *= 2246822519
		x ^= x >> 13
		out[i] = int16(x >> 16)
	}
	return out
}

// writeWAV writes a mono 16-bit file (RFC 2361's plain PCM layout).
func writeWAV(t *testing.T, path string, rateHz int, samples []int16) {
	t.Helper()
	var b bytes.Buffer
	b.WriteString("RIFF")
	for _, v := range []any{uint32(36 + 2*len(samples)), []byte("WAVEfmt "), uint32(16), uint16(1), uint16(1), uint32(rateHz), uint32(2 * rateHz), uint16(2), uint16(16), []byte("data"), uint32(2 * len(samples)), samples} {
		if err := binary.Write(&b, binary.LittleEndian, v); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// fakeMicrophone makes Chromium's audio input play a file.
func fakeMicrophone(file string) []chromedp.ExecAllocatorOption {
	return []chromedp.ExecAllocatorOption{chromedp.Flag("use-fake-ui-for-media-stream", true), chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-file-for-fake-audio-capture", file)}
}

// send sends JSON as the page would and gives the answer.
func send(t *testing.T, method, url string, body any) map[string]any {
	t.Helper()
	data, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequest(method, url, bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	var out map[string]any
	_ = json.NewDecoder(answer.Body).Decode(&out)
	if answer.StatusCode >= 300 {
		t.Fatalf("%s %s: %s: %v", method, url, answer.Status, out)
	}
	return out
}

// openMicrophone chooses the first audio input on the page's source picker.
func openMicrophone(t *testing.T, ctx context.Context, keep string) {
	t.Helper()
	soon(t, ctx, "the page", "window.pulsewright?.stats?.().frames > 5", 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=source-open]').click(), true)`)
	soon(t, ctx, "the list of sources", `document.querySelector('[data-testid=sound-look]')`, 10*time.Second)
	look[bool](t, ctx, fmt.Sprintf(`(document.querySelector('[data-testid=sound-keep]').value = %q, document.querySelector('[data-testid=sound-look]').click(), true)`, keep))
	soon(t, ctx, "an audio input", `document.querySelector('[data-testid=sound-input-0]')`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=sound-input-0]').click(), true)`)
	look[bool](t, ctx, `(document.querySelector('dialog[open] [data-testid=wired-nobody]')?.click(), true)`)
	soon(t, ctx, "sound to be sent", `/sends the sound/.test(document.querySelector('[data-testid=audio-state]').textContent)`, 15*time.Second)
}

// recorded stops the recording under way and gives the counts of its channels.
func recorded(t *testing.T, address string) [][]int32 {
	t.Helper()
	send(t, "DELETE", address+"/api/v1/recording", nil)
	list := send(t, "GET", address+"/api/v1/recordings", nil)
	entry := list["recordings"].([]any)[0].(map[string]any)
	f, err := recording.Open(filepath.Join(list["folder"].(string), entry["id"].(string)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	counts := make([][]int32, len(f.Describe().Channels))
	for i := range counts {
		counts[i] = make([]int32, f.Len())
	}
	if n, err := f.ReadAt(counts, 0); int64(n) != f.Len() {
		t.Fatalf("read %d of %d samples: %v", n, f.Len(), err)
	}
	if len(f.Gaps()) > 0 {
		t.Logf("gaps: %v", f.Gaps())
	}
	return counts
}

// TestBrowserSoundIsTheFilesSamples records what Chromium's audio input gives and
// compares it with the file it was made to play. Chromium hands the file over in
// blocks; it begins with silence and may put silence between blocks, when its
// audio thread is late. Every sample between must be the file's own, in order.
func TestBrowserSoundIsTheFilesSamples(t *testing.T) {
	const rateHz = 44100 // that of Chromium's fake device: another one is resampled by the browser
	file := filepath.Join(t.TempDir(), "mic.wav")
	samples := microphone(30 * rateHz)
	writeWAV(t, file, rateHz, samples)
	ctx := browser(t, 1280, 800, fakeMicrophone(file)...)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	openMicrophone(t, ctx, "full")
	picture(t, ctx, "sound")
	send(t, "POST", address+"/api/v1/recording", map[string]any{"name": "mic"})
	time.Sleep(6 * time.Second)
	counts := recorded(t, address)[0]
	if len(counts) < 5*rateHz {
		t.Fatalf("%d samples recorded in 6 s at %d Hz", len(counts), rateHz)
	}
	place := map[[3]int16]int{}
	for i := range len(samples) - 2 {
		place[[3]int16(samples[i:])] = i
	}
	// A 16-bit step is 256 counts.
	got := make([]int16, len(counts))
	for i, c := range counts {
		if c%256 != 0 {
			t.Fatalf("sample %d is count %d, no whole 16-bit step: something on the way changed it", i, c)
		}
		got[i] = int16(c / 256)
	}
	same, silent, foreign, runs := 0, 0, 0, 0
	for i := 0; i < len(got); {
		if at, ok := place[[3]int16(append(got[i:min(i+3, len(got)):min(i+3, len(got))], 0, 0, 0))]; ok && i+3 <= len(got) {
			runs++
			for i < len(got) && got[i] == samples[at%len(samples)] {
				same, i, at = same+1, i+1, at+1
			}
			continue
		}
		if got[i] == 0 {
			silent++
		} else {
			foreign++
		}
		i++
	}
	t.Logf("%d samples: %d the file's own in %d runs, %d of silence, %d foreign", len(got), same, runs, silent, foreign)
	if foreign > 0 || runs > 12 || same < 9*len(got)/10 {
		t.Errorf("%d samples are not the file's, %d of silence in between, %d of %d are the same", foreign, silent, same, len(got))
	}
}

// TestBrowserSoundComesAndGoes: what happens to the page and its input is said, and
// the trace goes on where it can.
func TestBrowserSoundComesAndGoes(t *testing.T) {
	const rateHz = 44100
	file := filepath.Join(t.TempDir(), "mic.wav")
	writeWAV(t, file, rateHz, microphone(5*rateHz))
	ctx := browser(t, 1280, 800, fakeMicrophone(file)...)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	soon(t, ctx, "the page", "window.pulsewright?.stats?.().frames > 5", 20*time.Second)
	said := func(what, pattern string) {
		t.Helper()
		soon(t, ctx, what, fmt.Sprintf(`/%s/i.test(document.body.innerText)`, pattern), 15*time.Second)
	}
	// Permission refused.
	look[bool](t, ctx, `(window.ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices),
		navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException("no", "NotAllowedError")), true)`)
	look[bool](t, ctx, `(document.querySelector('[data-testid=source-open]').click(), true)`)
	soon(t, ctx, "the list of sources", `document.querySelector('[data-testid=sound-look]')`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=sound-look]').click(), true)`)
	soon(t, ctx, "the first input", `document.querySelector('[data-testid=sound-input-0]') || document.querySelector('[data-testid=source-error]').textContent`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=sound-input-0]')?.click(), true)`)
	look[bool](t, ctx, `(document.querySelector('dialog[open] [data-testid=wired-nobody]')?.click(), true)`)
	said("that permission was refused", "browser refused the audio input")
	look[bool](t, ctx, `(document.querySelector('#source-dialog').close(), true)`)

	// Allowed, with the gain control still on: said. The default rate is about 1 kHz.
	look[bool](t, ctx, `(navigator.mediaDevices.getUserMedia = async (c) => {
		window.heard = await window.ask(c);
		const track = window.heard.getAudioTracks()[0], settings = track.getSettings.bind(track);
		track.getSettings = () => ({...settings(), autoGainControl: true});
		return window.heard;
	}, true)`)
	openMicrophone(t, ctx, "slow")
	said("that the gain control is on", "still has autoGainControl on")
	state := func() map[string]any { return send(t, "GET", address+"/api/v1/state", nil) }
	if s := state(); s["sourceRateHz"].(float64) > 1100 || !strings.HasPrefix(s["source"].(map[string]any)["address"].(string), "sound:browser/") {
		t.Errorf("state %v, %v", s["sourceRateHz"], s["source"])
	}
	said("that the shape is distorted", "shape distorted by the sound card, timing usable")
	grows := func(what string) {
		t.Helper()
		before := look[float64](t, ctx, "window.pulsewright.stats().lastIndex")
		soon(t, ctx, what, fmt.Sprintf("window.pulsewright.stats().lastIndex > %v", before+500), 15*time.Second)
	}
	grows("sound")

	// Hidden: another tab in front. The sound goes on.
	second, cancel := chromedp.NewContext(ctx)
	open(t, second, "about:blank")
	before := state()["lastIndex"].(float64)
	time.Sleep(2 * time.Second)
	if gone := state()["lastIndex"].(float64) - before; gone < 300 {
		t.Errorf("%v points came in 2 s behind another tab", gone)
	}
	cancel()

	// Unplugged: said; plugged in again: goes on, in the same trace.
	epoch := state()["epoch"].(float64)
	look[bool](t, ctx, `(window.heard.getAudioTracks()[0].dispatchEvent(new Event("ended")), true)`)
	said("that it was unplugged", "unplugged, or its permission taken back")
	soon(t, ctx, "the program to wait", `document.body.dataset.status === "waiting"`, 10*time.Second)
	look[bool](t, ctx, `(navigator.mediaDevices.dispatchEvent(new Event("devicechange")), true)`)
	soon(t, ctx, "the sound to come back", `document.body.dataset.status === "running"`, 15*time.Second)
	grows("sound after plugging in again")

	// Loaded anew: the same tab goes on by itself.
	if err := chromedp.Do(ctx, chromedp.Reload()); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the sound after a reload", `/sends the sound/.test(document.querySelector('[data-testid=audio-state]')?.textContent) && document.body.dataset.status === "running"`, 20*time.Second)
	grows("sound after a reload")
	if now := state()["epoch"].(float64); now != epoch {
		t.Errorf("the trace began anew: epoch %v, was %v", now, epoch)
	}

	// Another source: the page stops sending. Closed: the program says so.
	send(t, "PUT", address+"/api/v1/source", map[string]any{"address": "demo:finger"})
	soon(t, ctx, "the page to stop sending", `/no longer sends sound: another source/.test(document.querySelector('[data-testid=audio-state]').textContent)`, 30*time.Second)
	openMicrophone(t, ctx, "slow")
	open(t, ctx, "about:blank")
	deadline := time.Now().Add(10 * time.Second)
	for !strings.Contains(fmt.Sprint(state()["statusText"]), "the page that sent the sound was closed") {
		if time.Now().After(deadline) {
			t.Fatalf("after the page was closed the program says %q", state()["statusText"])
		}
		time.Sleep(100 * time.Millisecond)
	}
}
