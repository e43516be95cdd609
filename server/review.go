package server

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
	"pulsewright/server/library"
)

// mostJudgedSeconds is the longest stretch that is judged at once.
const mostJudgedSeconds = 600

// getRecordingDetail answers a library.Detail; with notes=0 at once, without what the
// recording's annotations tell.
func (s *Server) getRecordingDetail(w http.ResponseWriter, r *http.Request) {
	detail, err := s.recordings.Reviews.Detail(chi.URLParam(r, "id"), r.URL.Query().Get("notes") == "0")
	answerRecording(w, detail, err)
}

// whole reads a whole number of a query.
func whole(q url.Values, name string, fallback int64) (int64, error) {
	if q.Get(name) == "" {
		return fallback, nil
	}
	x, err := strconv.ParseInt(q.Get(name), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%s=%s: give a whole number", name, strconv.Quote(q.Get(name)))
	}
	return x, nil
}

// span reads from and to of a query, or answers itself and returns false.
func span(w http.ResponseWriter, q url.Values) (from, to int64, ok bool) {
	from, err1 := whole(q, "from", 0)
	to, err2 := whole(q, "to", math.MaxInt64)
	if err := errors.Join(err1, err2); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return 0, 0, false
	}
	return from, to, true
}

// getRecordingView answers, little-endian: u32 channels, u32 columns, i64 from, i64 to,
// f32 share built, u32 exact, then [channel] low columns, high columns as f32.
func (s *Server) getRecordingView(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	from, to, ok := span(w, q)
	if !ok {
		return
	}
	columns, err := whole(q, "columns", 1000)
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	columns = min(columns, library.MaxColumns+1) // which is refused, as any above
	v, err := s.recordings.Reviews.View(chi.URLParam(r, "id"), library.ViewQuery{From: from, To: to, Columns: int(columns), Path: q.Get("path")})
	if err != nil {
		failRecording(w, err)
		return
	}
	b := make([]byte, 0, 32+8*len(v.Low)*len(v.Low[0]))
	b = binary.LittleEndian.AppendUint32(b, uint32(len(v.Low)))
	b = binary.LittleEndian.AppendUint32(b, uint32(len(v.Low[0])))
	b = binary.LittleEndian.AppendUint64(b, uint64(v.From))
	b = binary.LittleEndian.AppendUint64(b, uint64(v.To))
	b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v.Share)))
	exact := uint32(0)
	if v.Exact {
		exact = 1
	}
	b = binary.LittleEndian.AppendUint32(b, exact)
	for c := range v.Low {
		for _, row := range [][]float32{v.Low[c], v.High[c]} {
			for _, y := range row {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(y))
			}
		}
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	_, _ = w.Write(b)
}

// foundBeats is a recording's beats by channel, and those that somebody annotated.
type foundBeats struct {
	Channels  [][]library.Mark   `json:"channels"`
	Annotated []recording.Marked `json:"annotated"`
}

// getRecordingBeats answers the beats stored in a recording, by channel; with find=n those
// that the live view's detector finds in channel n, read anew; with found=1 without what was edited by hand. With from and to only
// those of the samples between; with as=compact as compactBeats.
func (s *Server) getRecordingBeats(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	from, to, ok := span(w, q)
	if !ok {
		return
	}
	as := q.Get("as")
	if as != "" && as != "json" && as != "compact" {
		fail(w, http.StatusBadRequest, fmt.Sprintf("as=%s: choose json or compact", strconv.Quote(as)))
		return
	}
	find := -1
	if text := q.Get("find"); text != "" {
		var err error
		if find, err = strconv.Atoi(text); err != nil || find < 0 {
			fail(w, http.StatusBadRequest, fmt.Sprintf("find=%s: give a channel, counted from 0", strconv.Quote(text)))
			return
		}
	}
	long(w, r, func(tell func(float64)) (any, error) {
		id := chi.URLParam(r, "id")
		beats, err := s.recordings.Reviews.Beats(r.Context(), id, library.BeatQuery{Find: find, From: from, To: to, Found: q.Get("found") == "1", Progress: tell})
		if err != nil {
			return nil, err
		}
		marked, err := s.recordings.Reviews.Annotated(id)
		marked = slices.DeleteFunc(marked, func(m recording.Marked) bool { return m.Sample < from || m.Sample >= to })
		if err == nil && as == "compact" {
			return compactBeats(beats, marked), nil
		}
		return foundBeats{beats, marked}, err
	})
}

// patchRecordingBeats edits beats by hand.
func (s *Server) patchRecordingBeats(w http.ResponseWriter, r *http.Request) {
	var body library.EditChange
	if !ReadJSON(w, r, &body) {
		return
	}
	edits, err := s.recordings.Store.Edit(r.Context(), chi.URLParam(r, "id"), body)
	if errors.Is(err, library.ErrEdited) {
		FailWith(w, http.StatusConflict, err)
		return
	}
	answerRecording(w, editedBeats{edits}, err)
}

// editedBeats are all beats edited by hand.
type editedBeats struct {
	Edits analysis.Edits `json:"edits"`
}

// compactBeats is, little-endian: u32 channels, then for each channel u32 n, n samples
// as f64, n qualities as u8 in hundredths, n kinds as u8, 1 for an ECG, 0 for a pulse, and 2 more by hand; then
// of the annotated beats u32 n, n samples as f64, n types as the u8 of their letter.
func compactBeats(channels [][]library.Mark, marked []recording.Marked) []byte {
	size := 8 + 9*len(marked)
	for _, list := range channels {
		size += 4 + 10*len(list)
	}
	b := binary.LittleEndian.AppendUint32(make([]byte, 0, size), uint32(len(channels)))
	for _, list := range channels {
		b = binary.LittleEndian.AppendUint32(b, uint32(len(list)))
		for _, m := range list {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(float64(m.Sample)))
		}
		for _, m := range list {
			b = append(b, byte(math.Round(100*min(1, max(0, m.Quality)))))
		}
		for _, m := range list {
			kind := byte(0)
			if m.Kind == string(beat.ECG) {
				kind = 1
			}
			if m.ByHand {
				kind |= 2
			}
			b = append(b, kind)
		}
	}
	b = binary.LittleEndian.AppendUint32(b, uint32(len(marked)))
	for _, m := range marked {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(float64(m.Sample)))
	}
	for _, m := range marked {
		b = append(b, m.Type[0])
	}
	return b
}

// getRecordingAnalysis answers an analysis.Stretch of the samples from to to of a channel,
// counted from 0: the meters' figures, the spectrum and the beats of its longest
// gap-free run, ten minutes at most.
func (s *Server) getRecordingAnalysis(w http.ResponseWriter, r *http.Request) {
	part, ok := s.part(w, r)
	if !ok {
		return
	}
	defer part.Rec.File.Close()
	stretch, err := analysis.Judge(r.Context(), part, mostJudgedSeconds)
	answerRecording(w, stretch, err)
}

// getRecordingVariability answers an analysis.Intervals of the samples from to to of a channel.
func (s *Server) getRecordingVariability(w http.ResponseWriter, r *http.Request) {
	part, ok := s.part(w, r)
	if !ok {
		return
	}
	defer part.Rec.File.Close()
	long(w, r, func(tell func(float64)) (any, error) {
		part.Progress = tell
		return analysis.Variability(r.Context(), part)
	})
}

// getRecordingScore answers an analysis.Score of the samples from to to of a channel, the first
// learning seconds of the recording left out.
func (s *Server) getRecordingScore(w http.ResponseWriter, r *http.Request) {
	learning, err := learningOf(r.URL.Query())
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	part, ok := s.part(w, r)
	if !ok {
		return
	}
	defer part.Rec.File.Close()
	long(w, r, func(tell func(float64)) (any, error) {
		part.Progress = tell
		return analysis.Scored(r.Context(), part, float64(learning))
	})
}

// mostLearning is the longest learning period, seconds.
const mostLearning = 86400

// learningOf reads a query's learning period, seconds.
func learningOf(q url.Values) (int64, error) {
	learning, err := whole(q, "learning", 0)
	if err == nil && (learning < 0 || learning > mostLearning) {
		err = fmt.Errorf("learning=%d: give 0 to %d seconds", learning, mostLearning)
	}
	return learning, err
}

// part opens the stretch asked for by channel, from and to, with found=1 without the beats edited by hand, or answers itself and returns false.
func (s *Server) part(w http.ResponseWriter, r *http.Request) (part analysis.Part, ok bool) {
	q := r.URL.Query()
	from, to, ok := span(w, q)
	if !ok {
		return part, false
	}
	n, err := whole(q, "channel", 0)
	if err == nil && (from < 0 || n < 0) {
		err = fmt.Errorf("from=%d, channel=%d: give whole numbers from 0", from, n)
	}
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return part, false
	}
	if part, err = s.recordings.Reviews.Part(chi.URLParam(r, "id"), int(min(n, math.MaxInt32)), from, to); err != nil {
		failRecording(w, err)
		return part, false
	}
	if q.Get("found") == "1" {
		part.Edits = nil
	}
	return part, true
}
