package server

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// played asks for the sweep and gives what comes back through a function.
func played(t *testing.T, body string, through func(i int, x []float64) float64) string {
	t.Helper()
	x := make([]float64, len(body)/4)
	for i := range x {
		x[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32([]byte(body)[4*i:])))
	}
	x = append(x, make([]float64, 3*8000)...)
	out := make([]byte, 0, 4*len(x))
	for i := range x {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(through(i, x))))
	}
	return string(out)
}

// TestResponseOverREST: a board that averages four samples has the gain
// |sin(4w/2)/(4 sin(w/2))| with w = 2π f/8000 and a delay of 1.5 samples.
func TestResponseOverREST(t *testing.T) {
	h := demo(t)
	const query = "?rateHz=8000&seconds=8"
	octets := map[string]string{"Content-Type": "application/octet-stream"}
	status, stimulus := request(t, h, "GET", "/api/v1/response/stimulus"+query, "", nil)
	if status != 200 || len(stimulus) != 4*8*8000 {
		t.Fatalf("stimulus: %d, %d bytes", status, len(stimulus))
	}
	loop := played(t, stimulus, func(i int, x []float64) float64 { return 0.5 * x[i] })
	board := played(t, stimulus, func(i int, x []float64) (v float64) {
		for k := range 4 {
			if i >= k {
				v += 0.125 * x[i-k]
			}
		}
		return v
	})
	for kind, run := range map[string]string{"loop": loop, "board": board} {
		if status, body := request(t, h, "POST", "/api/v1/response/runs"+query+"&kind="+kind, run, octets); status != 200 {
			t.Fatalf("%s: %d %s", kind, status, body)
		}
	}
	status, body := request(t, h, "GET", "/api/v1/response", "", nil)
	var got responseState
	if err := json.Unmarshal([]byte(body), &got); err != nil || status != 200 || got.Response == nil {
		t.Fatalf("%d %.200s %v", status, body, err)
	}
	for i, f := range got.Response.FreqHz {
		w := 2 * math.Pi * f / 8000
		dB, degrees := 20*math.Log10(math.Abs(math.Sin(2*w)/(4*math.Sin(w/2)))), -1.5*w*180/math.Pi
		if math.Abs(got.Response.GainDB[i]-dB) > 0.05 || math.Abs(got.Response.PhaseDegrees[i]-degrees) > 0.5 {
			t.Fatalf("at %.4g Hz %.3f dB and %.2f°, want %.3f and %.2f", f, got.Response.GainDB[i], got.Response.PhaseDegrees[i], dB, degrees)
		}
	}
	if n := len(got.Response.FreqHz); n < 150 {
		t.Errorf("%d points", n)
	}
	for _, c := range []struct{ query, body, says string }{
		{query + "&kind=loop", loop[:400], "must be"},
		{query + "&kind=ear", loop, "loop"},
		{query + "&kind=loop", strings.Repeat("\x00\x00\x00\x00", 11*8000), "hardly anything"},
		{query + "&kind=loop", strings.Repeat("\x00\x00\x80\x3f", 11*8000), "full scale"},
		{query + "&kind=loop", strings.Repeat("\xff\xff\xff\x7f", 11*8000), "lost"},
		{"?rateHz=8000&seconds=1000&kind=loop", loop, "seconds"},
	} {
		if status, body := request(t, h, "POST", "/api/v1/response/runs"+c.query, c.body, octets); status < 400 || !strings.Contains(body, c.says) {
			t.Errorf("%s with %d bytes: %d %s, want %q", c.query, len(c.body), status, body, c.says)
		}
	}
	if status, _ := request(t, h, "DELETE", "/api/v1/response", "", nil); status != 204 {
		t.Errorf("forgetting: %d", status)
	}
	if _, body := request(t, h, "GET", "/api/v1/response", "", nil); !strings.Contains(body, `"response":null`) {
		t.Errorf("after forgetting: %.200s", body)
	}
}

// loopCard is a sound card whose input hears its output, board samples late.
type loopCard struct{ board, closed int }

func (c *loopCard) Name() string { return "loop" }
func (c *loopCard) Close() error { c.closed++; return nil }
func (c *loopCard) Run(_ context.Context, x []float64, total int) ([]float64, error) {
	y := make([]float64, total)
	copy(y[500+c.board:], x)
	return y, nil
}

func TestResponseThroughTheProgramsOwnCard(t *testing.T) {
	s, h := demoServer(t)
	js := map[string]string{"Content-Type": "application/json"}
	if status, body := request(t, h, "PUT", "/api/v1/response/card", `{}`, js); status != 422 || !strings.Contains(body, "portaudio") {
		t.Errorf("without a sound card: %d %s", status, body)
	}
	card := &loopCard{}
	s.openCard = func(input, output string, rateHz float64) (Card, error) {
		if input != "line in" || output != "default" || rateHz != 8000 {
			t.Errorf("opened %q and %q at %g Hz", input, output, rateHz)
		}
		return card, nil
	}
	if status, body := request(t, h, "POST", "/api/v1/response/card/runs", `{"kind":"loop"}`, js); status != 409 {
		t.Errorf("a run before the card is open: %d %s", status, body)
	}
	if status, body := request(t, h, "PUT", "/api/v1/response/card", `{"input":"line in","rateHz":8000}`, js); status != 200 {
		t.Fatalf("%d %s", status, body)
	}
	for _, kind := range []string{"loop", "board"} {
		if status, body := request(t, h, "POST", "/api/v1/response/card/runs", `{"kind":"`+kind+`","level":0.5,"seconds":5}`, js); status != 200 || !strings.Contains(body, "6 dB below") {
			t.Fatalf("%s: %d %s", kind, status, body)
		}
		card.board = 2 // 0.25 ms: −0.09° a hertz
	}
	_, body := request(t, h, "GET", "/api/v1/response", "", nil)
	var got responseState
	if err := json.Unmarshal([]byte(body), &got); err != nil || got.Response == nil {
		t.Fatalf("%.200s %v", body, err)
	}
	for i, f := range got.Response.FreqHz {
		if math.Abs(got.Response.GainDB[i]) > 0.02 || math.Abs(got.Response.PhaseDegrees[i]+0.09*f) > 0.5 {
			t.Fatalf("at %.4g Hz %.3f dB and %.2f°, want 0 and %.2f", f, got.Response.GainDB[i], got.Response.PhaseDegrees[i], -0.09*f)
		}
	}
	// A run of another length makes the one before useless.
	if status, body := request(t, h, "POST", "/api/v1/response/card/runs", `{"kind":"loop","level":0.5,"seconds":6}`, js); status != 200 {
		t.Fatalf("%d %s", status, body)
	}
	if _, body := request(t, h, "GET", "/api/v1/response", "", nil); !strings.Contains(body, `"loop":true,"board":false`) || !strings.Contains(body, `"response":null`) {
		t.Errorf("after a loop-back of 6 s: %.200s", body)
	}
	for _, bad := range []string{`{"kind":"ear"}`, `{"kind":"loop","level":2}`, `{"kind":"loop","seconds":900}`} {
		if status, body := request(t, h, "POST", "/api/v1/response/card/runs", bad, js); status != 400 {
			t.Errorf("%s: %d %s", bad, status, body)
		}
	}
	if status, _ := request(t, h, "DELETE", "/api/v1/response/card", "", nil); status != 204 || card.closed != 1 {
		t.Errorf("closing: %d, closed %d times", status, card.closed)
	}
}
