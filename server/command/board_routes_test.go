package command

import (
	"encoding/json"
	"math"
	"net/url"
	"strings"
	"testing"
	"time"

	parts "pulsewright/dsp/board"
)

// TestBoardRoutes: a board is computed, set on a channel, its span is what the meters judge
// by, a ghost is drawn, and what is measured is held against it.
func TestBoardRoutes(t *testing.T) {
	w := wire(t)
	ask := func(method, path string, body, into any) (int, string) {
		text := ""
		if body != nil {
			data, err := json.Marshal(body)
			if err != nil {
				t.Fatal(err)
			}
			text = string(data)
		}
		status, answer := sendTo(t, w.here, method, "/api/v1"+path, text, nil)
		if into != nil && status == 200 {
			if err := json.Unmarshal([]byte(answer), into); err != nil {
				t.Fatalf("%s: %v in %.200s", path, err, answer)
			}
		}
		return status, answer
	}
	var known struct {
		Kinds    []parts.KindInfo
		Examples map[string]*parts.Board
	}
	if status, answer := ask("GET", "/board", nil, &known); status != 200 || len(known.Kinds) < 13 || len(known.Examples) != 3 {
		t.Fatalf("%d %.300s", status, answer)
	}
	clip := known.Examples["lamp_clip_a"]
	var figures struct {
		Figures parts.Figures
		Spread  parts.Spread
		Parts   []struct {
			Ref  string
			Near []parts.Near
		}
		Cautions []string
	}
	if status, answer := ask("POST", "/board/figures", map[string]any{"board": clip}, &figures); status != 200 {
		t.Fatalf("%d %.300s", status, answer)
	}
	if high := figures.Figures.Corners.HighHz; high == nil || math.Abs(*high-16.64) > 0.05 || figures.Spread.CornerHigh == nil || len(figures.Parts) != 15 || len(figures.Parts[0].Near) != 3 || len(figures.Cautions) == 0 {
		t.Errorf("lamp clip A: %+v, %d parts", figures.Figures.Corners, len(figures.Parts))
	}
	wrong := *clip
	wrong.SupplyVolts = 99
	for _, path := range []string{"/board/figures", "/channels/0/board/compare"} {
		if status, answer := ask("POST", path, map[string]any{"board": wrong}, nil); status != 422 || !strings.Contains(answer, "supply of 99 V") {
			t.Errorf("%s: %d %.300s", path, status, answer)
		}
	}
	if status, _ := ask("PUT", "/channels/7/board", map[string]any{"board": clip}, nil); status != 404 {
		t.Errorf("a channel that is not there: %d", status)
	}
	var channel struct{ Board *parts.Board }
	if status, answer := ask("PUT", "/channels/0/board", map[string]any{"board": clip}, &channel); status != 200 || channel.Board == nil || channel.Board.Name != "lamp clip A" {
		t.Fatalf("%d %.300s", status, answer)
	}
	var state struct {
		Channels []struct{ Board *parts.Board }
	}
	if ask("GET", "/state", nil, &state); state.Channels[0].Board == nil {
		t.Error("the state does not tell the board")
	}
	if status, answer := ask("POST", "/recording", map[string]any{"name": "with a board"}, nil); status != 200 {
		t.Fatalf("recording: %d %.300s", status, answer)
	}
	boardIsSeen(t, ask, clip)
	boardIsRecorded(t, ask)
	if status, answer := ask("PUT", "/channels/0/board", map[string]any{"board": nil}, &channel); status != 200 {
		t.Errorf("taking it away: %d %.300s", status, answer)
	}
}

// boardIsSeen waits for enough of the demo, then looks at what meters, ghost and
// comparison make of the board.
func boardIsSeen(t *testing.T, ask func(method, path string, body, into any) (int, string), clip *parts.Board) {
	t.Helper()
	changed, err := clip.WithTrimmer("P1", 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var look struct {
		RateHz                float64
		Volts                 []float64
		Ghost                 parts.Ghost
		Beats                 int
		Typical, TypicalGhost []float64
		Stages                [][]float64
	}
	for deadline := time.Now().Add(60 * time.Second); look.Beats < 3; time.Sleep(200 * time.Millisecond) {
		status, answer := ask("POST", "/channels/0/board/look", map[string]any{"present": clip, "changed": changed}, &look)
		if time.Now().After(deadline) {
			t.Fatalf("no ghost with beats: %d %.300s", status, answer)
		}
	}
	if len(look.Ghost.Volts) != len(look.Volts) || len(look.Typical) == 0 || len(look.TypicalGhost) != len(look.Typical) || len(look.Stages) != len(clip.Stages) {
		t.Fatalf("%d and %d values, %d in a beat, %d stages", len(look.Volts), len(look.Ghost.Volts), len(look.Typical), len(look.Stages))
	}
	swing := func(x []float64) float64 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, v := range x {
			low, high = math.Min(low, v), math.Max(high, v)
		}
		return high - low
	}
	// From 16 to 8 Hz the beat gets smaller, not much; the last stage is the output.
	if a, b, c := swing(look.Typical), swing(look.TypicalGhost), swing(look.Stages[len(look.Stages)-1]); !(b < a && b > 0.7*a) || math.Abs(c/b-1) > 0.05 {
		t.Errorf("typical beat %g V, its ghost %g V, at the last stage %g V", a, b, c)
	}
	var meters struct {
		Report struct{ Level struct{ RailKnown bool } }
	}
	if ask("GET", "/channels/0/meters", nil, &meters); !meters.Report.Level.RailKnown {
		t.Error("the meters do not know the board's span")
	}
	var compared struct {
		Rows []struct {
			What, Text          string
			Predicted, Measured float64
			Agrees              bool
		}
		Trimmers map[string]float64
		CornerHz float64
	}
	if status, answer := ask("POST", "/channels/0/board/compare", map[string]any{"board": clip}, &compared); status != 200 || len(compared.Rows) == 0 || !compared.Rows[0].Agrees || math.Abs(compared.Rows[0].Measured-2.5) > 0.3 {
		t.Errorf("comparison: %d %.500s", status, answer)
	}
	// The practice board's trimmer stands at 30 Hz, the drawn one at 16: it is named.
	if last := compared.Rows[len(compared.Rows)-1]; last.What != "upper corner" || last.Agrees || !strings.Contains(last.Text, "P1 at 2") {
		t.Errorf("the corner's row: %+v", last)
	}
	if at := compared.Trimmers["P1"]; compared.CornerHz != 30 || !(at > 0.15 && at < 0.3) {
		t.Errorf("trimmers %v at %g Hz", compared.Trimmers, compared.CornerHz)
	}
}

// boardIsRecorded ends the recording and looks for the board in it.
func boardIsRecorded(t *testing.T, ask func(method, path string, body, into any) (int, string)) {
	t.Helper()
	if status, answer := ask("DELETE", "/recording", nil, nil); status != 200 && status != 204 {
		t.Fatalf("recording: %d %.300s", status, answer)
	}
	var list struct {
		Recordings []struct{ ID, Name string }
	}
	ask("GET", "/recordings", nil, &list)
	for _, r := range list.Recordings {
		if !strings.Contains(r.Name, "with a board") {
			continue
		}
		var detail struct {
			ChannelDetails []struct{ Board *parts.Board }
		}
		status, answer := ask("GET", "/recordings/"+url.PathEscape(r.ID), nil, &detail)
		if status != 200 || len(detail.ChannelDetails) != 1 || detail.ChannelDetails[0].Board == nil || len(detail.ChannelDetails[0].Board.Stages) != 5 {
			t.Errorf("%d %.900s", status, answer)
		}
		return
	}
	t.Errorf("the recording is not in the list: %+v", list)
}
