package recorder

import (
	"fmt"
	"testing"
	"time"

	"pulsewright/acquire"
)

// TestMemoryKeepsWhatStandsThere: a block is cut at the position asked for, a note
// at it is kept, one before it is not.
func TestMemoryKeepsWhatStandsThere(t *testing.T) {
	m := memory{seconds: 600, mostSize: 1 << 20}
	m.begin(1, acquire.Info{}, 250, time.Time{})
	m.add(event{first: 0, counts: [][]int32{{0, 1, 2, 3, 4, 5, 6, 7}}})
	m.add(event{first: 4, text: "before"})
	m.add(event{first: 5, text: "there"})
	m.add(event{first: 8, lost: 10, text: "unplugged"})
	got := m.within(stretch{from: 5, to: 100})
	if len(got) != 3 || got[0].first != 5 || fmt.Sprint(got[0].counts) != "[[5 6 7]]" || got[1].text != "there" || got[2].first != 8 || got[2].lost != 10 {
		t.Errorf("since 5: %+v", got)
	}
	if got := m.within(stretch{from: 12, to: 100}); len(got) != 1 || got[0].first != 12 || got[0].lost != 6 {
		t.Errorf("since 12, in the gap: %+v", got)
	}
}

// TestMemoryKnowsWideChannels: counts within a factor of four of 24 bits' end, 2²³.
func TestMemoryKnowsWideChannels(t *testing.T) {
	for peak, wide := range map[int32]bool{1<<21 - 1: false, 1 << 21: true, -(1<<21 - 1): false, -(1 << 21): true, acquire.MissingCount: false} {
		m := memory{seconds: 600, mostSize: 1 << 20}
		m.begin(1, acquire.Info{}, 250, time.Time{})
		m.add(event{counts: [][]int32{{0, peak, 1}}})
		if got := m.wide(); len(got) != 1 || got[0] != wide {
			t.Errorf("a peak of %d: wide is %v", peak, got)
		}
	}
}
