package server

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/firmware"
	"pulsewright/server/session"
)

const (
	// onBoardSeconds is how much of what the board would see is kept.
	onBoardSeconds = 20
	// onBoardPatience after it was last asked for, it is not computed any more.
	onBoardPatience = 15 * time.Second
)

// OnBoard is a session.Tap that runs the whole program of dsp/firmware on the live
// counts, as the board itself would, while somebody looks. Safe for concurrent use.
type OnBoard struct {
	// Immutable after NewOnBoard.
	now func() time.Time

	// Guarded by mu.
	mu       sync.Mutex
	epoch    uint32
	next     int64 // source sample
	channels []boardRun
}

// boardRun is one channel's.
type boardRun struct {
	key      string // what the board was made for
	board    *firmware.Board
	until    time.Time // looked at
	lost     int       // samples without a count just before next
	first    int64     // source sample of filtered[0]
	filtered []int32
	beats    []int64 // source samples
	rate16   int
}

// NewOnBoard returns a tap for a session's Config and a server's.
func NewOnBoard() *OnBoard { return &OnBoard{now: time.Now} }

// Begin implements session.Tap.
func (o *OnBoard) Begin(epoch uint32, info acquire.Info, _ float64, _ time.Time) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.epoch, o.next, o.channels = epoch, 0, make([]boardRun, len(info.Channels))
}

// Samples implements session.Tap.
func (o *OnBoard) Samples(first int64, counts [][]int32) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for i, c := range counts {
		if i < len(o.channels) && o.channels[i].board != nil {
			r := &o.channels[i]
			if o.now().After(r.until) {
				*r = boardRun{}
				continue
			}
			r.lost += int(max(0, min(first-o.next, math.MaxUint16)))
			r.take(first, c)
		}
	}
	if len(counts) > 0 {
		o.next = first + int64(len(counts[0]))
	}
}

// take runs the board on counts from a source sample on.
func (r *boardRun) take(first int64, counts []int32) {
	for k, count := range counts {
		if count == acquire.MissingCount {
			r.lost++
			continue
		}
		if r.lost > 0 {
			r.board.Lost(r.lost)
			r.lost = 0
		}
		at := first + int64(k)
		if n := int64(len(r.filtered)); n == 0 || r.first+n != at { // after a hole the line begins anew
			r.first, r.filtered = at, r.filtered[:0]
		}
		found := r.board.Take(count)
		r.filtered = append(r.filtered, found.Filtered)
		r.rate16 = found.Rate16
		if found.Ago > 0 {
			r.beats = append(r.beats, at-int64(found.Ago))
		}
	}
	if most := int(onBoardSeconds * r.board.RateHz()); len(r.filtered) > 2*most {
		drop := len(r.filtered) - most
		r.first += int64(drop)
		r.filtered = append(r.filtered[:0], r.filtered[drop:]...)
	}
	if len(r.beats) > 200 {
		r.beats = append(r.beats[:0], r.beats[100:]...)
	}
}

// Gap, Rate, Beats, Note, Text, Settings and End implement session.Tap.
func (*OnBoard) Gap(int64, int64, string)        {}
func (*OnBoard) Rate(float64)                    {}
func (*OnBoard) Beats(int, []beat.Beat, int)     {}
func (*OnBoard) Note(int64, string)              {}
func (*OnBoard) Text(int64, []string)            {}
func (*OnBoard) Settings([]session.ChannelState) {}
func (o *OnBoard) End()                          { o.mu.Lock(); o.channels = nil; o.mu.Unlock() }

// OnBoardView is what the board would see, and make of it. Positions are samples of
// the source, as those of frames are.
type OnBoardView struct {
	RateHz   float64   `json:"rateHz"`
	First    int64     `json:"first"`
	Filtered []float64 `json:"filtered"` // counts after the path
	Beats    []int64   `json:"beats"`
	RateBPM  *float64  `json:"rateBpm"` // null: no reading
	// LatencySeconds is about how long after a beat the board's light blinks.
	LatencySeconds float64       `json:"latencySeconds"`
	Cost           firmware.Cost `json:"cost"`
}

// boardAsked is a board's program: a path, what kind of signal it is for, and how it computes.
type boardAsked struct {
	Sections filter.Sections
	Kind     firmware.Kind
	Config   firmware.Config
}

// errNotOpen answers before a source runs and after it has ended.
var errNotOpen = errors.New("no source is open, so nothing comes to the board: choose a source, or open the recording again")

// look answers the newest seconds of a channel's board; a board that differs from the one
// that runs begins anew. Cost and error are those of making it.
func (o *OnBoard) look(n int, seconds float64, b boardAsked) (OnBoardView, error) {
	key, err := json.Marshal([]any{o.epoch, b})
	if err != nil {
		return OnBoardView{}, err
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.channels == nil {
		return OnBoardView{}, errNotOpen
	}
	if n < 0 || n >= len(o.channels) {
		return OnBoardView{}, fmt.Errorf("channel %d: %w", n, session.ErrNoChannel)
	}
	r := &o.channels[n]
	if r.key != string(key) {
		board, err := firmware.NewBoard(b.Sections, b.Kind, b.Config)
		if err != nil {
			return OnBoardView{}, err
		}
		*r = boardRun{key: string(key), board: board}
	}
	r.until = o.now().Add(onBoardPatience)
	v := OnBoardView{RateHz: r.board.RateHz(), First: r.first, Filtered: []float64{}, Beats: []int64{}, LatencySeconds: r.board.LatencySeconds(), Cost: r.board.Cost()}
	from := max(0, len(r.filtered)-int(seconds*v.RateHz))
	v.First += int64(from)
	for _, y := range r.filtered[from:] {
		v.Filtered = append(v.Filtered, float64(y)/math.Exp2(float64(r.board.Path().Fraction())))
	}
	for _, b := range r.beats {
		if b >= v.First {
			v.Beats = append(v.Beats, b)
		}
	}
	if r.rate16 > 0 {
		bpm := float64(r.rate16) / 16
		v.RateBPM = &bpm
	}
	return v, nil
}

// getOnBoard answers what the board would see of a channel.
func (s *Server) getOnBoard(w http.ResponseWriter, r *http.Request) {
	n := channelOf(r)
	seconds, ok := asked{"seconds", 8, 1, onBoardSeconds}.read(w, r)
	if !ok {
		return
	}
	a, ok := s.firmwareOf(w, r, n)
	if !ok {
		return
	}
	kind := firmware.Kind(s.session.State().Channels[n].Kind)
	view, err := s.onBoard.look(n, seconds, boardAsked{a.sections, kind, a.config})
	if err != nil {
		fail(w, http.StatusConflict, err.Error())
		return
	}
	Answer(w, view)
}
