package server

import (
	"fmt"
	"math"
	"net/http"
	"slices"

	"pulsewright/dsp/board"
	"pulsewright/server/session"
)

// Bounds of what is computed for a page.
const (
	boardLowHz, boardHighHz = 0.05, 1000.0
	boardPerDecade          = 16
	spreadPerDecade         = 6
	spreadBoards            = 60
	lookSeconds             = 8.0 // of signal behind a ghost
	turnPlaces              = 13
	beatBefore, beatAfter   = 0.3, 0.6
	mostBoardRateHz         = 5000 // for a ghost
)

// boardKinds is what GET /board answers.
type boardKinds struct {
	Kinds    []board.KindInfo        `json:"kinds"`
	OpAmps   []string                `json:"opAmps"`
	Examples map[string]*board.Board `json:"examples"`
}

func (s *Server) getBoardKinds(w http.ResponseWriter, r *http.Request) {
	answer := boardKinds{Kinds: board.Kinds(), OpAmps: board.ClassNames(), Examples: map[string]*board.Board{}}
	for _, name := range board.ExampleNames() {
		b, err := board.Example(name)
		if err != nil {
			Fail(w, err)
			return
		}
		answer.Examples[name] = b
	}
	Answer(w, answer)
}

// boardPart is a part with the preferred values beside it.
type boardPart struct {
	board.Component
	Near []board.Near `json:"near"`
}

// boardFigures is what POST /board/figures answers.
type boardFigures struct {
	Board    *board.Board   `json:"board"` // as read
	Figures  *board.Figures `json:"figures"`
	Spread   *board.Spread  `json:"spread"`
	Parts    []boardPart    `json:"parts"`
	Cautions []string       `json:"cautions"`
}

// figuresBody asks what a board does.
type figuresBody struct {
	Board board.Board `json:"board"`
	// Tolerance of every part, as a share; 0: each its own.
	Tolerance float64 `json:"tolerance"`
}

func (s *Server) postBoardFigures(w http.ResponseWriter, r *http.Request) {
	var body figuresBody
	if !ReadJSON(w, r, &body) {
		return
	}
	answer, err := figuresOf(&body.Board, body.Tolerance)
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, answer)
}

func figuresOf(b *board.Board, tolerance float64) (*boardFigures, error) {
	if err := b.Check(); err != nil {
		return nil, err
	}
	f, err := b.Figures(board.Grid(boardLowHz, boardHighHz, boardPerDecade))
	if err != nil {
		return nil, err
	}
	spread, err := b.Spread(board.SpreadConfig{FreqHz: board.Grid(boardLowHz, boardHighHz, spreadPerDecade), Boards: spreadBoards, Tolerance: tolerance, Seed: 1})
	if err != nil {
		return nil, err
	}
	a := &boardFigures{Board: b, Figures: f, Spread: spread, Parts: []boardPart{}, Cautions: b.Cautions()}
	for _, c := range b.Components() {
		p := boardPart{Component: c, Near: []board.Near{}}
		if c.Bought() {
			p.Near = board.NearValues(c.Value)
		}
		a.Parts = append(a.Parts, p)
	}
	return a, nil
}

// turnAnswer is what the trimmer does at each place.
type turnAnswer struct {
	Places []board.Turned `json:"places"`
}

// turnBody asks what turning a trimmer does.
type turnBody struct {
	Board   board.Board `json:"board"`
	Trimmer string      `json:"trimmer"`
}

func (s *Server) postBoardTurn(w http.ResponseWriter, r *http.Request) {
	var body turnBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := body.Board.Check(); err != nil {
		Fail(w, err)
		return
	}
	places, err := body.Board.Turn(body.Trimmer, turnPlaces)
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, turnAnswer{places})
}

// boardBody sets the board of a channel, null takes it away.
type boardBody struct {
	Board *board.Board `json:"board"`
}

// putBoard takes {"board": …} or {"board": null}.
func (s *Server) putBoard(w http.ResponseWriter, r *http.Request) {
	var body boardBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := s.session.SetBoard(r.Context(), channelOf(r), body.Board); err != nil {
		Fail(w, err)
		return
	}
	s.answerChannel(w, r)
}

// boardLook is what POST /channels/{n}/board/look answers: the newest seconds as they are
// and as they would come out of the changed board, and the typical beat at its stages.
type boardLook struct {
	RateHz  float64      `json:"rateHz"`
	First   int64        `json:"first"` // session index of the first value
	Volts   []float64    `json:"volts"` // at the board's output
	Ghost   *board.Ghost `json:"ghost"`
	Beats   int          `json:"beats"` // in the typical beat
	Before  float64      `json:"beatBeforeSeconds"`
	Typical []float64    `json:"typical"` // about its mean
	// TypicalGhost is the same behind the changed board, Stages at each stage's output
	// of the changed board.
	TypicalGhost []float64   `json:"typicalGhost"`
	Stages       [][]float64 `json:"stages"`
}

// lookBody asks how the signal would come out of a changed board.
type lookBody struct {
	Present board.Board `json:"present"`
	Changed board.Board `json:"changed"`
}

func (s *Server) postBoardLook(w http.ResponseWriter, r *http.Request) {
	var body lookBody
	if !s.channelThere(w, r) || !ReadJSON(w, r, &body) {
		return
	}
	for _, b := range []*board.Board{&body.Present, &body.Changed} {
		if err := b.Check(); err != nil {
			Fail(w, err)
			return
		}
	}
	stretch, err := s.boardVolts(channelOf(r))
	if err != nil {
		Fail(w, err)
		return
	}
	look, err := s.lookThrough(channelOf(r), stretch, &body.Present, &body.Changed)
	if err != nil {
		Fail(w, err)
		return
	}
	for _, x := range append(look.Stages, look.Volts, look.Ghost.Volts, look.Typical, look.TypicalGhost) {
		toMicrovolts(x)
	}
	Answer(w, look)
}

// toMicrovolts rounds, so that an answer drawn twice a second stays short.
func toMicrovolts(x []float64) {
	for i, v := range x {
		x[i] = math.Round(v*1e6) / 1e6
	}
}

// boardVolts is the newest stretch of a channel, in volts at the board's output.
func (s *Server) boardVolts(channel int) (session.Stretch, error) {
	stretch, err := s.session.RecentVolts(channel, lookSeconds)
	if err != nil {
		return stretch, err
	}
	if stretch.Unit != "V" {
		return stretch, fmt.Errorf("board: the signal is in %s: say what a count is in volts, under Volts", stretch.Unit)
	}
	if stretch.RateHz > mostBoardRateHz {
		return stretch, fmt.Errorf("board: %.4g Hz: a ghost is drawn up to %d Hz", stretch.RateHz, mostBoardRateHz)
	}
	if float64(len(stretch.Values)) < stretch.RateHz {
		return stretch, fmt.Errorf("board: there is less than a second of signal without a gap; wait")
	}
	stretch.AtOutput()
	return stretch, nil
}

func (s *Server) lookThrough(channel int, stretch session.Stretch, present, changed *board.Board) (*boardLook, error) {
	ghost, err := changed.Ghost(present, stretch.RateHz, stretch.Values)
	if err != nil {
		return nil, err
	}
	look := &boardLook{RateHz: stretch.RateHz, First: stretch.First, Volts: stretch.Values, Ghost: ghost, Before: beatBefore, Typical: []float64{}, TypicalGhost: []float64{}, Stages: [][]float64{}}
	_, lists := s.session.Beats(stretch.First, stretch.First+int64(len(stretch.Values)))
	if channel < 0 || channel >= len(lists) {
		return look, nil
	}
	var at []int
	for _, b := range lists[channel] {
		at = append(at, int(b.Sample-stretch.First))
	}
	at = slices.DeleteFunc(at, func(i int) bool {
		return i < int(beatBefore*look.RateHz) || i+int(beatAfter*look.RateHz) > len(stretch.Values)
	})
	if look.Beats = len(at); look.Beats < 2 {
		return look, nil
	}
	typical := func(x []float64) []float64 { return meanBeat(x, at, look.RateHz) }
	look.Typical, look.TypicalGhost = typical(stretch.Values), typical(ghost.Volts)
	stages, err := changed.AtStages(present, look.RateHz, stretch.Values)
	if err != nil {
		return nil, err
	}
	for _, x := range stages {
		look.Stages = append(look.Stages, typical(x))
	}
	return look, nil
}

// meanBeat averages x around places, and takes the mean off.
func meanBeat(x []float64, at []int, rateHz float64) []float64 {
	before, n := int(beatBefore*rateHz), int((beatBefore+beatAfter)*rateHz)
	y := make([]float64, n)
	mean := 0.0
	for i := range y {
		for _, p := range at {
			y[i] += x[p-before+i] / float64(len(at))
		}
		mean += y[i] / float64(n)
	}
	for i := range y {
		y[i] -= mean
	}
	return y
}
