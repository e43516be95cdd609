package session

import (
	"context"
	"fmt"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/server/hub"
)

// span is a time, in seconds since the board was switched on.
type span struct{ from, to float64 }

// bench is a board on a bridge on a computer that stalls: who counts what when.
type bench struct {
	hz          float64
	flush       float64 // seconds between two deliveries of the bridge; 0: each lump of 4096 bytes
	lineBytes   float64
	silent      span   // the board prints nothing
	stalls      []span // the computer reads nothing
	looksEvery  float64
	learning    float64 // opening takes so long, and gives all it heard in one block
	board, seen int64   // the board's count, samples read since it was opened
}

// read is when the computer reads what has come at a time.
func (b *bench) read(at float64) float64 {
	if b.looksEvery > 0 {
		at = math.Ceil(at/b.looksEvery) * b.looksEvery
	}
	for _, s := range b.stalls {
		if at > s.from && at < s.to {
			at = s.to
		}
	}
	return at + 2e-4
}

// blocks are what the source delivers of what the board prints in a span: the count is
// that of the board.
func (b *bench) blocks(plugged span, origin time.Time) (list []acquire.Block) {
	const buffer = 4096
	b.board, b.seen = int64(math.Ceil(plugged.from*b.hz)), 0
	opened := plugged.from + b.learning
	end := 0.0 // of the read before
	var waiting int64
	for at := plugged.from; ; {
		var come int64 // the board's count at this delivery
		if b.flush > 0 {
			at += b.flush
			come = int64(math.Floor(at * b.hz))
		} else {
			come = b.board + waiting + int64(buffer/b.lineBytes)
			at = float64(come) / b.hz
		}
		if at > plugged.to {
			return list
		}
		if b.silent.from < at && at < b.silent.to {
			if waiting == 0 {
				b.board = int64(math.Ceil(b.silent.to * b.hz))
				if b.read(at)-at < 0.001 && at > end+0.1 { // it looks, and there is nothing
					list = append(list, acquire.Block{Arrived: origin.Add(time.Duration(at * 1e9))})
				}
			}
			continue
		}
		waiting = come - b.board
		if waiting <= 0 {
			continue
		}
		next := at + b.flush
		if b.flush == 0 {
			next = at + buffer/b.lineBytes/b.hz
		}
		read := b.read(at)
		if next <= plugged.to && b.read(next) == read && (next < b.silent.from || next > b.silent.to) || read < opened && b.read(next) < opened {
			continue // read with what comes next
		}
		end = max(end, read)
		for waiting > 0 {
			n := min(waiting, int64(buffer/b.lineBytes))
			if len(list) == 0 {
				n = waiting
			}
			block := ramp(b.seen, 0, int(n), origin.Add(time.Duration(end*1e9)))
			for i := range block.Counts[0] {
				block.Counts[0][i] = int32(b.board + int64(i))
			}
			list = append(list, block)
			b.seen, b.board, waiting = b.seen+n, b.board+n, waiting-n
			end += 2e-4
		}
	}
}

// timed is a script that sets the session's time to that of its blocks.
type timed struct {
	*script
	now *atomic.Int64
}

func (s timed) Read(ctx context.Context) (acquire.Block, error) {
	b, err := s.script.Read(ctx)
	if err == nil && !b.Arrived.IsZero() {
		s.now.Store(b.Arrived.UnixNano() + 1e6)
	}
	return b, err
}

// startTimed runs a session on the time of what its sources deliver in turn.
func startTimed(t *testing.T, info acquire.Info, origin time.Time, plugs ...[]acquire.Block) *page {
	t.Helper()
	var now atomic.Int64
	now.Store(origin.UnixNano())
	sources := make(chan acquire.Source, len(plugs))
	for k, blocks := range plugs {
		src := newScript(info)
		src.blocks = make(chan any, len(blocks)+1)
		for _, b := range blocks {
			src.blocks <- b
		}
		if k < len(plugs)-1 {
			src.blocks <- fmt.Errorf("port: %w", acquire.ErrUnplugged)
		}
		sources <- timed{src, &now}
	}
	s := New(Config{Hub: hub.New(100_000), Openers: acquire.Openers{"test": func(context.Context, acquire.Address) (acquire.Source, error) {
		return <-sources, nil
	}}})
	s.now = func() time.Time { return time.Unix(0, now.Load()) }
	p := watch(t, s)
	run(t, s)
	return p
}

var stalled = []struct {
	name   string
	stalls []span // around 20 s, when the cable is pulled or the board stops, and 26.5 s, when it is back
	looks  float64
}{
	{name: "an idle computer"},
	{name: "late at the end", stalls: []span{{19.6, 20.1}}},
	{name: "late at the start", stalls: []span{{27.0, 27.4}}},
	{name: "late at both", stalls: []span{{19.8, 20.2}, {26.4, 27.15}}},
	{name: "late again and again", stalls: []span{{19.7, 20.01}, {26.6, 26.95}, {27.0, 27.32}, {27.33, 27.6}}},
	{name: "looks three times a second", looks: 0.35},
}

var bridges = []struct {
	name             string
	hz, flush, bytes float64
}{
	{"16 ms at 250 Hz", 250, 0.016, 10},
	{"16 ms at 500 Hz", 500, 0.016, 10},
	{"4 KB at 500 Hz", 500, 0, 20},
	{"4 KB at 250 Hz", 250, 0, 40},
}

// offs are how far the board's clock is off.
var offs = []float64{1.01, 0.99, 1, 1.01, 0.99}

// TestStalledComputerMovesNothing: the cable is pulled and put back while this computer
// is now and then too busy to read, by up to three quarters of a second. The samples
// after the gap stand within 25 ms of where the board's count says; by the newest
// arrival before and the first after they would be up to 0.7 s off. Where lumps come
// 0.4 s apart and each is up to 0.35 s late, few arrivals tell: there within 0.16 s.
func TestStalledComputerMovesNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("short: some seconds of computing")
	}
	origin := time.Unix(2e9, 0)
	for i, bridge := range bridges {
		for j, c := range stalled {
			off := offs[(i+j)%len(offs)]
			t.Run(fmt.Sprintf("%s×%g/%s", bridge.name, off, c.name), func(t *testing.T) {
				t.Parallel()
				b := bench{hz: off * bridge.hz, flush: bridge.flush, lineBytes: bridge.bytes, stalls: c.stalls, looksEvery: c.looks, learning: 0.6}
				before := b.blocks(span{0, 20}, origin)
				lastBefore := b.board
				after := b.blocks(span{26.5, 31}, origin)
				want := lastBefore + b.seen
				p := startTimed(t, acquire.Info{Address: "test:x", ClaimedRateHz: bridge.hz, Channels: []acquire.Channel{volts}}, origin, before, after)
				p.until(func() bool { return int64(len(p.values)) == want })
				if len(p.gaps) != 1 || p.gaps[0].Index != lastBefore || p.gaps[0].Reason != "the source was away" {
					t.Errorf("gaps %v, want one at %d", p.gaps, lastBefore)
				}
				slack := 0.025
				if b.looksEvery > 0 && b.flush == 0 {
					slack = 0.16
				}
				place(t, p, int64(slack*b.hz))
			})
		}
	}
}

// TestStalledComputerAndABoardThatStops: as before, but the board is silent for a while
// with its cable in.
func TestStalledComputerAndABoardThatStops(t *testing.T) {
	if testing.Short() {
		t.Skip("short: some seconds of computing")
	}
	origin := time.Unix(2e9, 0)
	for i, bridge := range bridges[:2] {
		for j, c := range stalled {
			off := offs[(i+j)%len(offs)]
			t.Run(fmt.Sprintf("%s×%g/%s", bridge.name, off, c.name), func(t *testing.T) {
				t.Parallel()
				b := bench{hz: off * bridge.hz, flush: bridge.flush, lineBytes: bridge.bytes, stalls: c.stalls, looksEvery: c.looks, learning: 0.6, silent: span{20, 26.5}}
				blocks := b.blocks(span{0, 31}, origin)
				want := b.seen
				p := startTimed(t, acquire.Info{Address: "test:x", ClaimedRateHz: bridge.hz, Channels: []acquire.Channel{volts}}, origin, blocks)
				p.until(func() bool { return int64(len(p.values)) == want })
				if len(p.gaps) != 1 {
					t.Errorf("gaps %v, want one", p.gaps)
				}
				place(t, p, int64(0.025*b.hz))
			})
		}
	}
}
