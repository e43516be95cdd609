package acquiretest

import (
	"context"
	"io"
	"testing"
	"time"

	"pulsewright/acquire"
)

// TestLegal feeds blocks that break one rule each.
func TestLegal(t *testing.T) {
	info := acquire.Info{Address: "demo:x", Name: "x", Channels: []acquire.Channel{{Label: "a", MaxCount: 9}, {Label: "b"}}}
	now := time.Now()
	two := [][]int32{{1, 2}, {3, 4}}
	for name, c := range map[string]struct {
		block acquire.Block
		err   error
		legal bool
	}{
		"good":            {acquire.Block{First: 5, Arrived: now, Counts: two}, nil, true},
		"good, lost":      {acquire.Block{First: 8, Lost: 3, Arrived: now, Counts: two}, nil, true},
		"silence":         {acquire.Block{Text: []string{"hello"}}, nil, true},
		"end":             {acquire.Block{}, io.EOF, true},
		"missing":         {acquire.Block{First: 5, Arrived: now, Counts: [][]int32{{acquire.MissingCount}, {0}}}, nil, true},
		"error and block": {acquire.Block{First: 5, Arrived: now, Counts: two}, io.EOF, false},
		"index":           {acquire.Block{First: 6, Arrived: now, Counts: two}, nil, false},
		"lost, index":     {acquire.Block{First: 5, Lost: 3, Arrived: now, Counts: two}, nil, false},
		"lost below zero": {acquire.Block{First: 4, Lost: -1, Arrived: now, Counts: two}, nil, false},
		"channels":        {acquire.Block{First: 5, Arrived: now, Counts: two[:1]}, nil, false},
		"ragged":          {acquire.Block{First: 5, Arrived: now, Counts: [][]int32{{1, 2}, {3}}}, nil, false},
		"range":           {acquire.Block{First: 5, Arrived: now, Counts: [][]int32{{10}, {3}}}, nil, false},
		"no time":         {acquire.Block{First: 5, Counts: two}, nil, false},
		"board clock":     {acquire.Block{First: 5, Arrived: now, Counts: two, BoardSeconds: []float64{1}}, nil, false},
		"silence, lost":   {acquire.Block{Lost: 1}, nil, false},
	} {
		s := &Checked{t: t, info: info, next: 5}
		if err := s.legal(c.block, c.err); (err == nil) != c.legal {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestDescribes(t *testing.T) {
	good := acquire.Info{Address: "demo:x", Name: "x", Channels: []acquire.Channel{{Label: "a"}}}
	if err := describes(good); err != nil {
		t.Errorf("good: %v", err)
	}
	for name, spoil := range map[string]func(*acquire.Info){
		"address":  func(i *acquire.Info) { i.Address = "x" },
		"name":     func(i *acquire.Info) { i.Name = "" },
		"channels": func(i *acquire.Info) { i.Channels = nil },
		"rate":     func(i *acquire.Info) { i.ClaimedRateHz = -1 },
		"exact":    func(i *acquire.Info) { i.ExactClock = true },
		"label":    func(i *acquire.Info) { i.Channels = []acquire.Channel{{}} },
		"kind":     func(i *acquire.Info) { i.Channels = []acquire.Channel{{Label: "a", Kind: "x"}} },
		"counts":   func(i *acquire.Info) { i.Channels = []acquire.Channel{{Label: "a", MinCount: 2, MaxCount: 1}} },
	} {
		bad := good
		spoil(&bad)
		if describes(bad) == nil {
			t.Errorf("%s: no complaint", name)
		}
	}
}

type stub struct{ acquire.Source }

func (stub) Describe() acquire.Info {
	return acquire.Info{Address: "demo:x", Name: "x", Channels: []acquire.Channel{{Label: "a"}}}
}
func (stub) Read(context.Context) (acquire.Block, error) { return acquire.Block{}, io.EOF }

func TestSamplesEnd(t *testing.T) {
	if c, err := Check(t, stub{}).Samples(context.Background(), 3); err != io.EOF || len(c) != 1 || len(c[0]) != 0 {
		t.Errorf("got %v, %v", c, err)
	}
}
