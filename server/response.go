package server

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"sync"

	"pulsewright/acquire/soundcard"
	"pulsewright/dsp/response"
)

// Bounds of a frequency response measurement.
const (
	sweepSeconds    = 20.0 // when nothing else is asked for
	longestSweep    = 60.0
	maxRunBytes     = int64(4 * (longestSweep + response.TailSeconds) * 192000) // float32 at the highest rate
	clippedFullness = 0.999                                                     // of full scale: the converter's end but for a thousandth
	leastPeak       = 0.003                                                     // of full scale: −50 dB
)

// bench keeps the newest loop-back run and the newest run through the board.
// Safe for concurrent use.
type bench struct {
	mu     sync.Mutex
	sweep  response.Sweep
	loop   []float64
	board  []float64
	result *response.Response
}

// run is what is told of one recorded run.
type run struct {
	Kind  string  `json:"kind"` // loop or board
	Peak  float64 `json:"peak"` // share of full scale
	Level string  `json:"level"`
}

// responseState is what GET /response answers.
type responseState struct {
	Loop     bool               `json:"loop"`
	Board    bool               `json:"board"`
	RateHz   float64            `json:"rateHz"`
	Seconds  float64            `json:"seconds"`
	Response *response.Response `json:"response"`
}

func sweepOf(w http.ResponseWriter, r *http.Request) (response.Sweep, bool) {
	rate, ok := asked{"rateHz", 48000, 8000, 192000}.read(w, r)
	if !ok {
		return response.Sweep{}, false
	}
	seconds, ok := asked{"seconds", sweepSeconds, 5, longestSweep}.read(w, r)
	return response.Sweep{RateHz: rate, Seconds: seconds}, ok
}

// getStimulus answers the sweep to be played, float32 little-endian.
func (s *Server) getStimulus(w http.ResponseWriter, r *http.Request) {
	sweep, ok := sweepOf(w, r)
	if !ok {
		return
	}
	x := sweep.Samples()
	data := make([]byte, 4*len(x))
	for i, v := range x {
		binary.LittleEndian.PutUint32(data[4*i:], math.Float32bits(float32(v)))
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	_, _ = w.Write(data)
}

// postRun takes what came back, float32 little-endian, from the sweep's first
// sample to the end of its tail.
func (s *Server) postRun(w http.ResponseWriter, r *http.Request) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/octet-stream" {
		fail(w, http.StatusUnsupportedMediaType, "content type "+quoteShort(r.Header.Get("Content-Type"))+": send application/octet-stream")
		return
	}
	sweep, ok := sweepOf(w, r)
	if !ok {
		return
	}
	kind := r.URL.Query().Get("kind")
	if !checkRunKind(w, kind) {
		return
	}
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxRunBytes))
	if err != nil {
		fail(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("the run is over %d bytes or was cut off", maxRunBytes))
		return
	}
	if len(data) != 4*sweep.Total() {
		fail(w, http.StatusBadRequest, fmt.Sprintf("a run of %d bytes; must be %d, the sweep and %g s after it in float32", len(data), 4*sweep.Total(), response.TailSeconds))
		return
	}
	x := make([]float64, sweep.Total())
	for i := range x {
		x[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[4*i:])))
		if !(math.Abs(x[i]) <= 4) {
			fail(w, http.StatusUnprocessableEntity, fmt.Sprintf("sample %d is missing or beyond full scale: sound was lost on the way, measure again", i))
			return
		}
	}
	s.takeRun(w, kind, sweep, x)
}

// checkRunKind answers itself and returns false for a kind of run that there is not.
func checkRunKind(w http.ResponseWriter, kind string) bool {
	if kind == "loop" || kind == "board" {
		return true
	}
	fail(w, http.StatusBadRequest, "kind "+quoteShort(kind)+": give loop (output joined to input) or board (through the board)")
	return false
}

// takeRun judges one run, keeps it and answers.
func (s *Server) takeRun(w http.ResponseWriter, kind string, sweep response.Sweep, x []float64) {
	peak := 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
	}
	if peak >= clippedFullness {
		fail(w, http.StatusUnprocessableEntity, "the input reaches full scale: turn the output down or divide more, so that nothing is clipped")
		return
	}
	if peak < leastPeak {
		fail(w, http.StatusUnprocessableEntity, fmt.Sprintf("hardly anything comes back, %.2g %% of full scale: is the output joined to the input, and turned up?", 100*peak))
		return
	}
	if err := response.Lost(x, sweep.RateHz); err != nil {
		Fail(w, err)
		return
	}
	s.bench.take(kind, sweep, x)
	Answer(w, run{Kind: kind, Peak: peak, Level: fmt.Sprintf("%.0f dB below full scale", -20*math.Log10(peak))})
}

// take keeps a run; one of another rate or length makes the other run useless.
func (b *bench) take(kind string, sweep response.Sweep, x []float64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if sweep != b.sweep {
		b.loop, b.board = nil, nil
	}
	b.sweep, b.result = sweep, nil
	if kind == "loop" {
		b.loop = x
	} else {
		b.board = x
	}
}

// getMeasured answers the board's response once both runs are there.
func (s *Server) getMeasured(w http.ResponseWriter, _ *http.Request) {
	state, err := s.bench.measured()
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, state)
}

// measured is what the runs show; the response is worked out once.
func (b *bench) measured() (responseState, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	state := responseState{Loop: b.loop != nil, Board: b.board != nil, RateHz: b.sweep.RateHz, Seconds: b.sweep.Seconds}
	if state.Loop && state.Board && b.result == nil {
		result, err := response.Measure(b.sweep, b.loop, b.board)
		if err != nil {
			return state, err
		}
		b.result = &result
	}
	state.Response = b.result
	return state, nil
}

// forget drops both runs.
func (b *bench) forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.loop, b.board, b.result = nil, nil, nil
}

// deleteRuns forgets both runs.
func (s *Server) deleteRuns(w http.ResponseWriter, _ *http.Request) {
	s.bench.forget()
	w.WriteHeader(http.StatusNoContent)
}

// Card is an output and an input of this computer's sound card that run together.
type Card interface {
	Name() string
	// Run plays samples and records total samples from the first one on.
	Run(ctx context.Context, samples []float64, total int) ([]float64, error)
	Close() error
}

// openCard is the sound card that is open for measuring. Safe for concurrent use.
type openCard struct {
	mu     sync.Mutex
	card   Card
	rateHz float64
}

// swap takes another card, nil for none, and closes the one before.
func (o *openCard) swap(c Card, rateHz float64) error {
	o.mu.Lock()
	before := o.card
	o.card, o.rateHz = c, rateHz
	o.mu.Unlock()
	if before != nil {
		return before.Close()
	}
	return nil
}

// cardBody names an input and an output.
type cardBody struct {
	Input  string  `json:"input"`
	Output string  `json:"output"`
	RateHz float64 `json:"rateHz"`
}

// cardAnswer is the card that is open.
type cardAnswer struct {
	Name   string  `json:"name"`
	RateHz float64 `json:"rateHz"`
}

// putCard opens this computer's own sound card for measuring.
func (s *Server) putCard(w http.ResponseWriter, r *http.Request) {
	body := cardBody{"default", "default", 48000}
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := (response.Sweep{RateHz: body.RateHz, Seconds: sweepSeconds}).Check(); err != nil {
		Fail(w, err)
		return
	}
	if err := s.card.swap(nil, 0); err != nil { // a card is often opened once only
		s.log.Debug("closing the sound card", "err", err)
	}
	if s.openCard == nil {
		Fail(w, soundcard.ErrNotBuilt)
		return
	}
	c, err := s.openCard(body.Input, body.Output, body.RateHz)
	if err != nil {
		Fail(w, err)
		return
	}
	if err := s.card.swap(c, body.RateHz); err != nil {
		s.log.Debug("closing the sound card", "err", err)
	}
	Answer(w, cardAnswer{c.Name(), body.RateHz})
}

// deleteCard closes it.
func (s *Server) deleteCard(w http.ResponseWriter, _ *http.Request) {
	if err := s.card.swap(nil, 0); err != nil {
		s.log.Debug("closing the sound card", "err", err)
	}
	w.WriteHeader(http.StatusNoContent)
}

// cardRunBody is a run with the sound card: loop or board, a share of full scale, a length.
type cardRunBody struct {
	Kind    string  `json:"kind"`
	Level   float64 `json:"level"`
	Seconds float64 `json:"seconds"`
}

// postCardRun makes one run with the sound card that is open, and takes as long.
func (s *Server) postCardRun(w http.ResponseWriter, r *http.Request) {
	body := cardRunBody{Level: 0.1, Seconds: sweepSeconds}
	if !ReadJSON(w, r, &body) {
		return
	}
	if !checkRunKind(w, body.Kind) {
		return
	}
	if !(body.Level > 0 && body.Level <= 1) {
		fail(w, http.StatusBadRequest, fmt.Sprintf("level %g: give a share of full scale above 0 and at most 1", body.Level))
		return
	}
	s.card.mu.Lock()
	card, sweep := s.card.card, response.Sweep{RateHz: s.card.rateHz, Seconds: body.Seconds}
	s.card.mu.Unlock()
	if card == nil {
		fail(w, http.StatusConflict, "the sound card is not open: open it first, and keep it open for both runs")
		return
	}
	if err := sweep.Check(); err != nil || body.Seconds > longestSweep {
		fail(w, http.StatusBadRequest, fmt.Sprintf("a sweep of %g s: give 5 to %g s", body.Seconds, longestSweep))
		return
	}
	x := sweep.Samples()
	for i := range x {
		x[i] *= body.Level
	}
	y, err := card.Run(r.Context(), x, sweep.Total())
	if err != nil {
		Fail(w, err)
		return
	}
	s.takeRun(w, body.Kind, sweep, y)
}
