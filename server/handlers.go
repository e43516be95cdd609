package server

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire"
	"pulsewright/acquire/serialport/board/sketch"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
	"pulsewright/server/plain"
	"pulsewright/server/session"
)

const (
	maxBody     = 64 << 10
	openTimeout = 30 * time.Second
)

func quoteShort(s string) string {
	if len(s) > 80 {
		s = s[:80] + "…"
	}
	return strconv.Quote(s)
}

// fail answers with an error sentence.
func fail(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]string{"error": text})
}

// Answer writes v as JSON.
func Answer(w http.ResponseWriter, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		fail(w, http.StatusInternalServerError, "the answer cannot be written as JSON: "+err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data)
}

// Fail answers with what went wrong: 404 for a missing channel, 409 for a
// request that does not fit the source, 503 when stopping, else 422.
func Fail(w http.ResponseWriter, err error) {
	status := http.StatusUnprocessableEntity
	var address *acquire.AddressError
	switch {
	case errors.Is(err, session.ErrNoChannel):
		status = http.StatusNotFound
	case errors.Is(err, session.ErrNotPlaying), errors.Is(err, session.ErrNoTrimmer):
		status = http.StatusConflict
	case errors.As(err, &address):
		status = http.StatusBadRequest
	case errors.Is(err, context.Canceled):
		status = http.StatusServiceUnavailable
	}
	fail(w, status, err.Error())
}

// FailWith answers with a status of the caller's choice.
func FailWith(w http.ResponseWriter, status int, err error) { fail(w, status, err.Error()) }

// ReadJSON reads a request's body strictly into v and answers itself when it
// cannot: then it returns false.
func ReadJSON(w http.ResponseWriter, r *http.Request, v any) bool {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		fail(w, http.StatusUnsupportedMediaType, "content type "+quoteShort(r.Header.Get("Content-Type"))+": send application/json")
		return false
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			fail(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is over %d bytes", maxBody))
			return false
		}
		fail(w, http.StatusBadRequest, "the JSON sent: "+plain.JSON(err))
		return false
	}
	if _, err := d.Token(); err != io.EOF {
		fail(w, http.StatusBadRequest, "the body goes on after its JSON: send one value")
		return false
	}
	return true
}

func channelOf(r *http.Request) int {
	n, err := strconv.Atoi(chi.URLParam(r, "n"))
	if err != nil {
		return -1
	}
	return n
}

// channelThere answers itself and returns false for a channel that there is not, whatever
// the body says.
func (s *Server) channelThere(w http.ResponseWriter, r *http.Request) bool {
	n, channels := channelOf(r), len(s.session.State().Channels)
	if n >= 0 && n < channels {
		return true
	}
	Fail(w, fmt.Errorf("channel %d: %w; there are %d, counted from 0", n, session.ErrNoChannel, channels))
	return false
}

// asked is a number of a query: its name, what it is when it is left out, and its bounds.
type asked struct {
	name                string
	fallback, low, high float64
}

// read reads it, or answers itself and returns false.
func (a asked) read(w http.ResponseWriter, r *http.Request) (float64, bool) {
	text := r.URL.Query().Get(a.name)
	if text == "" {
		return a.fallback, true
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(x >= a.low && x <= a.high) {
		fail(w, http.StatusBadRequest, fmt.Sprintf("%s=%s: give a number from %g to %g", a.name, quoteShort(text), a.low, a.high))
		return 0, false
	}
	return x, true
}

// stateAnswer is the whole of what a page needs on connecting.
type stateAnswer struct {
	session.State
	Owner bool `json:"owner"` // whoever asks may change things
}

func (s *Server) getState(w http.ResponseWriter, r *http.Request) {
	state, owner := s.session.State(), accessOf(r).role == Owner
	if !owner {
		state = watchersState(state)
	}
	Answer(w, stateAnswer{state, owner})
}

// getSketch hands out an example sketch for a board.
func (s *Server) getSketch(w http.ResponseWriter, r *http.Request) {
	name := chi.URLParam(r, "name")
	text, ok := sketch.Text(name)
	if !ok {
		fail(w, http.StatusNotFound, "there is no sketch "+quoteShort(name)+": there are "+strings.Join(sketch.Names(), " and "))
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`.ino"`)
	_, _ = w.Write(text)
}

func (s *Server) getSources(w http.ResponseWriter, r *http.Request) {
	Answer(w, s.sources(r.Context()))
}

// sourceBody opens a source by its address.
type sourceBody struct {
	Address string `json:"address"`
}

func (s *Server) putSource(w http.ResponseWriter, r *http.Request) {
	var body sourceBody
	if !ReadJSON(w, r, &body) {
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), openTimeout)
	defer cancel()
	if err := s.session.Open(ctx, body.Address); err != nil {
		Fail(w, err)
		return
	}
	Answer(w, s.session.State())
}

func (s *Server) putPlayback(w http.ResponseWriter, r *http.Request) {
	var body session.PlaybackChange
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := s.session.SetPlayback(r.Context(), body); err != nil {
		Fail(w, err)
		return
	}
	Answer(w, s.session.State().Playback)
}

// demoBody turns the trimmer of a simulated board.
type demoBody struct {
	TrimmerHz float64 `json:"trimmerHz"`
}

// putDemo turns a knob of a simulated board.
func (s *Server) putDemo(w http.ResponseWriter, r *http.Request) {
	var body demoBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := s.session.SetTrimmer(r.Context(), body.TrimmerHz); err != nil {
		Fail(w, err)
		return
	}
	Answer(w, body)
}

// kindBody says what kind a channel is; Preset sets the path for it too.
type kindBody struct {
	Kind   string `json:"kind"`
	Preset bool   `json:"preset"`
}

func (s *Server) putKind(w http.ResponseWriter, r *http.Request) {
	var body kindBody
	if !ReadJSON(w, r, &body) {
		return
	}
	set := s.session.SetKind
	if body.Preset {
		set = s.session.SetPreset
	}
	if err := set(r.Context(), channelOf(r), body.Kind); err != nil {
		Fail(w, err)
		return
	}
	s.answerChannel(w, r)
}

func (s *Server) answerChannel(w http.ResponseWriter, r *http.Request) {
	channels := s.session.State().Channels
	if n := channelOf(r); n >= 0 && n < len(channels) {
		Answer(w, channels[n])
		return
	}
	Fail(w, session.ErrNoChannel)
}

// pathBody is signalpath.Settings; what is not sent is told from what is switched off.
type pathBody struct { // of signalpath.Settings; what is not sent is told from what is switched off
	Drift  *signalpath.Drift  `json:"drift"`
	Hum    *signalpath.Hum    `json:"hum"`
	Smooth *signalpath.Smooth `json:"smooth"`
}

func (s *Server) putPath(w http.ResponseWriter, r *http.Request) {
	var body pathBody
	if !s.channelThere(w, r) || !ReadJSON(w, r, &body) {
		return
	}
	if body.Drift == nil && body.Hum == nil && body.Smooth == nil {
		fail(w, http.StatusBadRequest, "path: no settings were sent, so nothing is changed: send drift, hum and smooth")
		return
	}
	var path signalpath.Settings
	if body.Drift != nil {
		path.Drift = *body.Drift
	}
	if body.Hum != nil {
		path.Hum = *body.Hum
	}
	if body.Smooth != nil {
		path.Smooth = *body.Smooth
	}
	applied, err := s.session.SetPath(r.Context(), channelOf(r), path)
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, applied)
}

func (s *Server) getResponse(w http.ResponseWriter, r *http.Request) {
	n, ok := asked{"points", 200, 2, 2000}.read(w, r)
	if !ok {
		return
	}
	response, err := s.session.PathResponse(r.Context(), channelOf(r), int(n))
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, response)
}

func (s *Server) putScale(w http.ResponseWriter, r *http.Request) {
	var body channel.Scale
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := s.session.SetScale(r.Context(), channelOf(r), body); err != nil {
		Fail(w, err)
		return
	}
	s.answerChannel(w, r)
}

func (s *Server) getReading(w http.ResponseWriter, r *http.Request) {
	reading, err := s.session.Reading(channelOf(r))
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, reading)
}

// metersAnswer is the board judged, and hum and its goal over the last two minutes.
type metersAnswer struct {
	Report   meter.Report       `json:"report"`
	HumStrip []session.HumPoint `json:"humStrip"`
}

func (s *Server) getMeters(w http.ResponseWriter, r *http.Request) {
	report, err := s.session.Report(channelOf(r))
	if err != nil {
		Fail(w, err)
		return
	}
	strip, err := s.session.HumStrip(channelOf(r))
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, metersAnswer{report, strip})
}

// indexRange reads from and to; to defaults to the end.
func indexRange(w http.ResponseWriter, r *http.Request) (from, to int64, ok bool) {
	to = 1<<63 - 1
	for _, q := range []struct {
		name string
		into *int64
	}{{"from", &from}, {"to", &to}} {
		text := r.URL.Query().Get(q.name)
		if text == "" {
			continue
		}
		x, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			fail(w, http.StatusBadRequest, fmt.Sprintf("%s=%s: give a sample index, a whole number", q.name, quoteShort(text)))
			return 0, 0, false
		}
		*q.into = x
	}
	if from > to {
		fail(w, http.StatusBadRequest, fmt.Sprintf("from=%d lies after to=%d: give the earlier index first", from, to))
		return 0, 0, false
	}
	return from, to, true
}

func (s *Server) getHistory(w http.ResponseWriter, r *http.Request) {
	from, to, ok := indexRange(w, r)
	if !ok {
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	_ = s.session.History(from, to, func(frame []byte) error { // an error is the line's, or its client's leaving
		if err := r.Context().Err(); err != nil {
			return err
		}
		var size [4]byte
		binary.LittleEndian.PutUint32(size[:], uint32(len(frame)))
		if _, err := w.Write(size[:]); err != nil {
			return err
		}
		_, err := w.Write(frame)
		return err
	})
}

// beatsAnswer is the beats by channel, with all gaps and notes.
type beatsAnswer struct {
	Epoch    uint32         `json:"epoch"`
	Channels [][]beat.Beat  `json:"channels"`
	Gaps     []session.Gap  `json:"gaps"`
	Notes    []session.Note `json:"notes"`
}

func (s *Server) getBeats(w http.ResponseWriter, r *http.Request) {
	from, to, ok := indexRange(w, r)
	if !ok {
		return
	}
	epoch, channels := s.session.Beats(from, to)
	state := s.session.State()
	Answer(w, beatsAnswer{epoch, channels, state.Gaps, state.Notes})
}

func (s *Server) getWhy(w http.ResponseWriter, r *http.Request) {
	from, to, ok := indexRange(w, r)
	if !ok {
		return
	}
	why, err := s.session.Why(r.Context(), channelOf(r), from, to)
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, why)
}

const maxNote = 500

// noteBody puts a note at a point of the signal, without Index at the newest.
type noteBody struct {
	Epoch *uint32 `json:"epoch"`
	Index *int64  `json:"index"`
	Text  string  `json:"text"`
}

func (s *Server) postNote(w http.ResponseWriter, r *http.Request) {
	var body noteBody
	if !ReadJSON(w, r, &body) {
		return
	}
	text := strings.TrimSpace(body.Text)
	if err := acquire.CheckText("note", text); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	if text == "" || len(text) > maxNote {
		fail(w, http.StatusBadRequest, fmt.Sprintf("a note of %d bytes: write 1 to %d", len(text), maxNote))
		return
	}
	if body.Epoch != nil && *body.Epoch != s.session.State().Epoch {
		fail(w, http.StatusConflict, fmt.Sprintf("epoch %d is over, the source began anew: put the note at a sample of now", *body.Epoch))
		return
	}
	note, err := s.session.AddNote(r.Context(), body.Index, text)
	if errors.Is(err, session.ErrNotePlace) {
		fail(w, http.StatusBadRequest, err.Error())
		return
	}
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, note)
}
