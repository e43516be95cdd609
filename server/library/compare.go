package library

import (
	"fmt"
	"math"
	"net/http"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire/recording"
	"pulsewright/server"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// mostJudgedSeconds is the longest stretch that is judged at once.
const mostJudgedSeconds = 600

// getAnalysis answers an analysis.Stretch of the samples from to to of a channel,
// counted from 0: the meters' figures, the spectrum and the beats of its longest
// gap-free run, ten minutes at most. It reads the file by itself, so that looking
// at the recording need not wait for it.
func (rs *Reviews) getAnalysis(w http.ResponseWriter, r *http.Request) {
	part, ok := rs.stretch(w, r)
	if !ok {
		return
	}
	defer part.Rec.File.Close()
	stretch, err := analysis.Judge(r.Context(), part, mostJudgedSeconds)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, stretch)
}

// getVariability answers an analysis.Intervals of the samples from to to of a channel.
func (rs *Reviews) getVariability(w http.ResponseWriter, r *http.Request) {
	part, ok := rs.stretch(w, r)
	if !ok {
		return
	}
	defer part.Rec.File.Close()
	intervals, err := analysis.Variability(r.Context(), part)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, intervals)
}

// stretch opens the recording asked for and reads channel, from and to, or answers
// itself and returns false.
func (rs *Reviews) stretch(w http.ResponseWriter, r *http.Request) (part analysis.Part, ok bool) {
	q := r.URL.Query()
	from, err1 := number(q, "from", 0)
	to, err2 := number(q, "to", math.MaxInt64)
	n, err3 := number(q, "channel", 0)
	if err3 == nil && (from < 0 || n < 0) {
		err3 = fmt.Errorf("from=%d, channel=%d: give whole numbers from 0", from, n)
	}
	for _, err := range []error{err1, err2, err3} {
		if err != nil {
			server.FailWith(w, http.StatusBadRequest, err)
			return part, false
		}
	}
	path, err := rs.store.Path(chi.URLParam(r, "id"))
	if err != nil {
		fail(w, err)
		return part, false
	}
	file, err := recording.Open(path)
	if err != nil {
		fail(w, err)
		return part, false
	}
	if channels := len(file.Describe().Channels); n >= int64(channels) {
		file.Close()
		server.FailWith(w, http.StatusNotFound, fmt.Errorf("channel=%d: the recording has %d, counted from 0", n, channels))
		return part, false
	}
	to = min(to, file.Len())
	if from >= to {
		server.FailWith(w, http.StatusBadRequest, fmt.Errorf("samples %d to %d: the recording has samples 0 to %d", from, to, file.Len()))
		file.Close()
		return part, false
	}
	return analysis.Part{Rec: channel.Open(file, Said(path)), Channel: int(n), From: from, To: to}, true
}
