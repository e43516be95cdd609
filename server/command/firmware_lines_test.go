//go:build !windows

package command

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire/simulate"
	"pulsewright/dsp/firmware"
	"pulsewright/dsp/signalpath"
)

// TestBoardsOwnLinesAreReadBack: what the whole program prints goes through a
// pseudo-terminal into this program as it is. The raw column arrives count by count; path,
// beats and rate that the page makes of it agree with those the board printed.
func TestBoardsOwnLinesAreReadBack(t *testing.T) {
	if testing.Short() {
		t.Skip("short: takes 20 s of the clock")
	}
	const rate = 250
	b := newBench(t)
	path, err := signalpath.New(signalpath.Preset("pulse", rate), rate)
	if err != nil {
		t.Fatal(err)
	}
	sections, err := path.Sections()
	if err != nil {
		t.Fatal(err)
	}
	board, err := firmware.NewBoard(sections, firmware.Pulse, firmware.Config{RateHz: rate, Bits: 10})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	printed := make(chan struct{})
	go func() {
		defer close(printed)
		printBoardLines(ctx, t, board, b.write)
	}()
	address := program(t, "serial:"+b.link+"?baud=115200")
	pages := readColumns(t, ctx, address, 18*rate)
	cancel()
	<-printed

	if got := strings.Join(pages.labels, ","); got != "raw,filtered,beat,bpm" {
		t.Fatalf("columns %s", got)
	}
	if got := strings.Join(pages.kinds, ","); got != "pulse,pulse,other,other" {
		t.Errorf("kinds %s: the beat and the rate that a board prints are no signals", got)
	}
	differ, compared, rates, apart := 0.0, 0, 0, 0.0
	for i := 9 * rate; i < len(pages.raw); i++ {
		if i > 0 && pages.raw[i] != math.Trunc(pages.raw[i]) {
			t.Fatalf("sample %d of the raw column is %v: no count", i, pages.raw[i])
		}
		differ = max(differ, math.Abs(pages.filtered[i]-pages.smooth[i]))
		compared++
	}
	for _, r := range pages.readings {
		if r.at < len(pages.bpm) && !math.IsNaN(pages.bpm[r.at]) {
			rates++
			apart = max(apart, math.Abs(pages.bpm[r.at]-r.bpm))
		}
	}
	t.Logf("the path apart by %.2f counts at most in %d samples; the rate by %.1f bpm at most in %d readings; %d beats printed, %d found by the page", differ, compared, apart, rates, pages.printedBeats, pages.pageBeats)
	if compared < 5*rate || differ > 2 {
		t.Errorf("filtered column and page's path: %.2f counts apart in %d samples", differ, compared)
	}
	if rates < 5 || apart > 5 {
		t.Errorf("rates: %.1f bpm apart in %d readings", apart, rates)
	}
	if d := pages.printedBeats - pages.pageBeats; pages.printedBeats < 8 || d > 2 || d < -2 {
		t.Errorf("%d beats printed, %d found by the page", pages.printedBeats, pages.pageBeats)
	}
}

// printBoardLines feeds the board with an invented finger, in real time, and writes its lines.
func printBoardLines(ctx context.Context, t *testing.T, board *firmware.Board, write func([]byte)) {
	finger := simulate.Finger() // 10 bits, 250 Hz
	finger.MotionPerMinute = 0
	g, err := simulate.New(finger)
	if err != nil {
		t.Error(err)
		return
	}
	counts := [][]int32{make([]int32, 1)}
	write([]byte(board.Header()))
	start := time.Now()
	for n := 0; ctx.Err() == nil; n++ {
		if due := start.Add(time.Duration(float64(n) / board.RateHz() * 1e9)); time.Until(due) > time.Millisecond {
			time.Sleep(time.Until(due))
		}
		g.Next(counts)
		write([]byte(board.Line(board.Take(counts[0][0]))))
	}
}

// columns is what a page gets of the board's channels.
type columns struct {
	labels, kinds              []string
	raw, filtered, smooth, bpm []float64
	readings                   []struct {
		at  int
		bpm float64
	}
	printedBeats, pageBeats int
}

// readColumns follows the stream for so many samples.
func readColumns(t *testing.T, ctx context.Context, address string, samples int) columns {
	t.Helper()
	c, _, err := websocket.Dial(ctx, "ws"+strings.TrimPrefix(address, "http")+"/api/v1/stream", &websocket.DialOptions{Subprotocols: []string{"pulsewright.v1"}})
	if err != nil {
		t.Fatal(err)
	}
	defer c.CloseNow()
	c.SetReadLimit(64 << 20)
	var all columns
	epoch := -1.0
	for len(all.raw) < samples {
		kind, data, err := c.Read(ctx)
		if err != nil {
			t.Fatalf("after %d samples: %v", len(all.raw), err)
		}
		if kind == websocket.MessageText {
			var m struct {
				Type     string  `json:"type"`
				Epoch    float64 `json:"epoch"`
				Channel  int     `json:"channel"`
				Channels []struct{ Label, Kind string }
				State    string            `json:"state"`
				RateBPM  float64           `json:"rateBpm"`
				Beats    []json.RawMessage `json:"beats"`
			}
			if json.Unmarshal(data, &m) != nil {
				continue // one whose fields are of other kinds
			}
			switch {
			case m.Type == "state" && len(m.Channels) > 0:
				if m.Epoch != epoch {
					all, epoch = columns{}, m.Epoch
				}
				all.labels, all.kinds = nil, nil
				for _, ch := range m.Channels {
					all.labels, all.kinds = append(all.labels, ch.Label), append(all.kinds, ch.Kind)
				}
			case m.Type == "reading" && m.Channel == 0 && m.State == "reading":
				all.readings = append(all.readings, struct {
					at  int
					bpm float64
				}{len(all.raw) - 1, m.RateBPM})
			case m.Type == "beats" && m.Channel == 0 && len(all.raw) > 6*250:
				all.pageBeats += len(m.Beats)
			}
			continue
		}
		n, channels, points := int(binary.LittleEndian.Uint32(data[16:])), int(binary.LittleEndian.Uint16(data[20:])), int(binary.LittleEndian.Uint16(data[22:]))
		if channels != 4 {
			t.Fatalf("%d channels", channels)
		}
		value := func(channel, point, i int) float64 {
			return float64(math.Float32frombits(binary.LittleEndian.Uint32(data[40+4*((channel*points+point)*n+i):])))
		}
		for i := range n {
			all.raw = append(all.raw, value(0, signalpath.PointScale, i))
			all.smooth = append(all.smooth, value(0, signalpath.PointSmooth, i))
			all.filtered = append(all.filtered, value(1, signalpath.PointScale, i))
			all.bpm = append(all.bpm, value(3, signalpath.PointScale, i))
			if len(all.raw) > 6*250 && value(2, signalpath.PointScale, i) > 0 {
				all.printedBeats++
			}
		}
	}
	return all
}
