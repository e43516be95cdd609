//go:build linux

package command

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pulsewright/acquire/acquiretest"
	"pulsewright/dsp/filter"
)

// soundLoop runs a sound server of its own whose output and input are pipes, joined
// by a board computed here. It gives the environment that programs need to use it.
type soundLoop struct {
	board atomic.Pointer[func(v float64) float64] // nil: joined directly
	env   []string
}

const loopRateHz = 44100 // what Chromium runs at: another is resampled

func newSoundLoop(t *testing.T) *soundLoop {
	t.Helper()
	for _, part := range []string{"pulseaudio", "pactl"} {
		if _, err := exec.LookPath(part); err != nil {
			acquiretest.Missing(t, part)
		}
	}
	dir := t.TempDir()
	l := &soundLoop{}
	l.env = []string{"PULSE_RUNTIME_PATH=" + dir, "PULSE_STATE_PATH=" + dir, "PULSE_SERVER=unix:" + dir + "/native"}
	server := exec.Command("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1", "--realtime=no", "--high-priority=no",
		"--log-target=file:"+dir+"/log",
		"-L", "module-native-protocol-unix socket="+dir+"/native auth-anonymous=1",
		"-L", fmt.Sprintf("module-pipe-sink sink_name=out file=%s/out rate=%d format=s16le channels=1 use_system_clock_for_timing=yes", dir, loopRateHz),
		"-L", fmt.Sprintf("module-pipe-source source_name=in file=%s/in rate=%d format=s16le channels=1", dir, loopRateHz))
	server.Env = append(os.Environ(), append(l.env, "HOME="+dir, "XDG_RUNTIME_DIR="+dir)...)
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Process.Kill(); _ = server.Wait() })
	var out, in *os.File
	for range 500 {
		list := exec.Command("pactl", "list", "short", "sources")
		list.Env = server.Env
		if text, err := list.Output(); err == nil && len(text) > 0 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	choose := exec.Command("pactl", "set-default-source", "in")
	choose.Env = server.Env
	if text, err := choose.CombinedOutput(); err != nil {
		t.Fatalf("pactl: %v: %s", err, text)
	}
	var err error
	if out, err = os.OpenFile(filepath.Join(dir, "out"), os.O_RDWR, 0); err != nil {
		t.Fatal(err)
	}
	if in, err = os.OpenFile(filepath.Join(dir, "in"), os.O_RDWR, 0); err != nil {
		t.Fatal(err)
	}
	go l.run(out, in)
	t.Cleanup(func() { out.Close(); in.Close() })
	return l
}

// run is the wire and the board, at the sound server's pace.
func (l *soundLoop) run(out, in *os.File) {
	all := make([]byte, 8192)
	kept := 0
	for {
		n, err := out.Read(all[kept:])
		if err != nil {
			return
		}
		n += kept
		buffer := all[:n&^1]
		board := l.board.Load()
		for i := 0; i < len(buffer); i += 2 {
			v := float64(int16(binary.LittleEndian.Uint16(buffer[i:])))
			if board != nil {
				v = (*board)(v)
			}
			binary.LittleEndian.PutUint16(buffer[i:], uint16(int16(math.Round(math.Max(-32768, math.Min(32767, v))))))
		}
		if _, err := in.Write(buffer); err != nil {
			return
		}
		kept = copy(all, all[len(buffer):n])
	}
}

// lowPass is one resistor and one capacitor, solved exactly for a voltage that
// goes straight from sample to sample.
func lowPass(cornerHz float64) func(v float64) float64 {
	a := 2 * math.Pi * cornerHz / loopRateHz
	decay, gain := math.Exp(-a), -math.Expm1(-a)/a
	r, last := 0.0, 0.0
	return func(v float64) float64 {
		r = r*decay + (v-last)*gain
		last = v
		return v - r
	}
}

// board is that low-pass of 16 Hz and after it a notch at 50 Hz, 10 Hz wide.
func board(t *testing.T) func(v float64) float64 {
	t.Helper()
	sections, err := filter.Notch(loopRateHz, 50, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	notch, err := filter.NewCascade(sections, loopRateHz)
	if err != nil {
		t.Fatal(err)
	}
	low := lowPass(16)
	one := make([]float64, 1)
	return func(v float64) float64 {
		one[0] = low(v)
		notch.Process(one, one)
		return one[0]
	}
}

func withEnv(env []string) []chromedp.ExecAllocatorOption {
	return []chromedp.ExecAllocatorOption{chromedp.Env(env...), chromedp.Flag("use-fake-ui-for-media-stream", true), chromedp.Flag("mute-audio", false)}
}

// TestPageMeasuresABoardsResponse: the page plays a sweep through the browser's
// output into a sound server, an RC low-pass of 16 Hz and a 50 Hz notch stand between
// its output and input, and what the drawer shows is their closed form.
func TestPageMeasuresABoardsResponse(t *testing.T) {
	l := newSoundLoop(t)
	ctx := browser(t, 1280, 800, withEnv(l.env)...)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	soon(t, ctx, "the page", "window.pulsewright?.stats?.().frames > 5", 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=drawer-sound]').click(), true)`)
	soon(t, ctx, "the drawer", `document.querySelector('[data-testid=response-open]')`, 5*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=response-level]').value = "0.7", document.querySelector('[data-testid=response-seconds]').value = "5", document.querySelector('[data-testid=response-open]').click(), true)`)
	soon(t, ctx, "the sound card", `!document.querySelector('[data-testid=response-loop]').disabled || document.querySelector('[data-testid=sound-error]').textContent`, 15*time.Second)
	if text := look[string](t, ctx, `document.querySelector('[data-testid=sound-error]').textContent`); text != "" {
		t.Fatalf("the page says %q", text)
	}
	// A busy computer loses sound, which the program notices: then the run is made again.
	said := func(id string) string {
		return look[string](t, ctx, fmt.Sprintf(`document.querySelector('[data-testid=%s]').textContent`, id))
	}
	run := func(id string) bool {
		t.Helper()
		look[bool](t, ctx, fmt.Sprintf(`(document.querySelector('[data-testid=response-said]').textContent = "", document.querySelector('[data-testid=%s]').click(), true)`, id))
		soon(t, ctx, "the end of the run", `/peak/.test(document.querySelector('[data-testid=response-said]').textContent) || document.querySelector('[data-testid=sound-error]').textContent`, 30*time.Second)
		text := said("sound-error")
		if text != "" && !strings.Contains(text, "busy") && !strings.Contains(text, "sound was lost") {
			t.Fatalf("the page says %q", text)
		}
		if text != "" {
			t.Log(text)
		}
		return text == ""
	}
	low := board(t)
	done := false
	for range 6 {
		l.board.Store(nil)
		if !run("response-loop") {
			continue
		}
		l.board.Store(&low)
		if done = run("response-board"); done {
			break
		}
	}
	if !done {
		t.Skip("this computer is too busy to play and record 8 s without a loss")
	}
	soon(t, ctx, "the corner", `/dB at/.test(document.querySelector('[data-testid=response-corners]').textContent)`, 10*time.Second)
	picture(t, ctx, "response")
	var got struct {
		Response struct{ FreqHz, GainDB, PhaseDegrees []float64 }
	}
	text, err := json.Marshal(send(t, "GET", address+"/api/v1/response", nil))
	if err == nil {
		err = json.Unmarshal(text, &got)
	}
	if err != nil {
		t.Fatal(err)
	}
	worst, turn := 0.0, 0.0
	for i, f := range got.Response.FreqHz {
		n := complex(50*50-f*f, 0)
		want := 1 / complex(1, f/16) * n / (n + complex(0, 10*f))
		if f < 5 || f > 1000 || cmplx.Abs(want) < 0.005 {
			continue
		}
		worst = math.Max(worst, math.Abs(got.Response.GainDB[i]-20*math.Log10(cmplx.Abs(want))))
		turn = math.Max(turn, math.Abs(math.Remainder(got.Response.PhaseDegrees[i]-cmplx.Phase(want)*180/math.Pi, 360)))
	}
	t.Logf("%d points, from 5 Hz to 1 kHz within %.3f dB and %.2f°; %s", len(got.Response.FreqHz), worst, turn, said("response-corners"))
	if worst > 0.2 || turn > 2 {
		t.Errorf("off by %.3f dB and %.2f° between 5 Hz and 1 kHz", worst, turn)
	}
}
