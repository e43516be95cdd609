package server

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
)

// taken is what of a stretch of a recording can be taken out as CSV, by the word in a query.
var taken = map[string]func(ctx context.Context, p analysis.Part, w io.Writer) error{
	"beats":     takenBeats,
	"intervals": takenIntervals(analysis.Intervals.WriteList),
	"measures":  takenIntervals(analysis.Intervals.WriteMeasures),
	"score":     takenScore(0),
	"spectrum":  takenJudged(analysis.Stretch.WriteSpectrum),
	"typical":   takenJudged(analysis.Stretch.WriteTypical),
	"figures":   takenJudged(analysis.Stretch.WriteFigures),
}

func takenBeats(ctx context.Context, p analysis.Part, w io.Writer) error {
	t, add := analysis.BeatsCSV(w, p)
	from, to := p.From, p.To
	p.To = min(p.Rec.File.Len(), to+int64(10*p.Rec.Info.ClaimedRateHz)) // a beat is told some time after it was
	if err := analysis.Beats(ctx, p, func(b beat.Beat) {
		if b.Sample >= from && b.Sample < to {
			add(b)
		}
	}); err != nil {
		return err
	}
	return t.End()
}

func takenIntervals(write func(analysis.Intervals, io.Writer) error) func(context.Context, analysis.Part, io.Writer) error {
	return func(ctx context.Context, p analysis.Part, w io.Writer) error {
		p.AllIntervals = true
		v, err := analysis.Variability(ctx, p)
		if err != nil {
			return err
		}
		return write(v, w)
	}
}

func takenScore(learning int64) func(context.Context, analysis.Part, io.Writer) error {
	return func(ctx context.Context, p analysis.Part, w io.Writer) error {
		s, err := analysis.Scored(ctx, p, float64(learning))
		if err != nil {
			return err
		}
		return s.WriteScore(w)
	}
}

func takenJudged(write func(analysis.Stretch, io.Writer) error) func(context.Context, analysis.Part, io.Writer) error {
	return func(ctx context.Context, p analysis.Part, w io.Writer) error {
		p.Whole = false // as Compare judges it
		s, err := analysis.Judge(ctx, p, mostJudgedSeconds)
		if err != nil {
			return err
		}
		return write(s, w)
	}
}

// getRecordingTaken answers a file of what is asked for of a stretch: what, as, channel, from, to
// and, of the signal, point.
func (s *Server) getRecordingTaken(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	what, as := q.Get("what"), q.Get("as")
	if as == "" {
		as = "csv"
	}
	write, table := taken[what]
	switch {
	case what != "signal" && !table:
		fail(w, http.StatusBadRequest, fmt.Sprintf("what=%s: choose signal, beats, intervals, measures, score, spectrum, typical or figures", strconv.Quote(what)))
		return
	case table && as != "csv", as != "csv" && as != "edf" && as != "bdf" && as != "wav":
		fail(w, http.StatusBadRequest, fmt.Sprintf("as=%s: choose csv or, of the signal, edf, bdf or wav", strconv.Quote(as)))
		return
	}
	learning, err := learningOf(q)
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	if what == "score" {
		write = takenScore(learning)
	}
	point, err := analysis.ParsePoint(firstOf(q.Get("point"), "smooth"))
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	part, ok := s.part(w, r)
	if !ok {
		return
	}
	defer part.Rec.File.Close()
	part.Rec.Learn()
	part.Whole = true
	id := chi.URLParam(r, "id")
	name := strings.TrimSuffix(id, filepath.Ext(id)) + " " + what + "." + as
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	if table {
		var b bytes.Buffer // small beside the recording, and an error can still be told
		if err := write(r.Context(), part, &b); err != nil {
			w.Header().Del("Content-Disposition")
			failRecording(w, err)
			return
		}
		w.Header().Set("Content-Type", "text/csv; charset=utf-8")
		_, _ = w.Write(b.Bytes())
		return
	}
	serveSignal(w, r, analysis.Signal{Rec: part.Rec, Channels: []int{part.Channel}, Point: point, From: part.From, To: part.To, Whole: true}, as)
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// serveSignal makes the file in a folder for what passes, so that an error can still be told.
func serveSignal(w http.ResponseWriter, r *http.Request, s analysis.Signal, as string) {
	folder, err := os.MkdirTemp("", "pulsewright-")
	if err == nil {
		defer os.RemoveAll(folder)
		path := filepath.Join(folder, "signal."+as)
		if _, err = s.WriteFile(r.Context(), path); err == nil {
			w.Header().Set("Content-Type", map[string]string{"csv": "text/csv; charset=utf-8", "wav": "audio/wav"}[as])
			if as == "edf" || as == "bdf" {
				w.Header().Set("Content-Type", "application/octet-stream")
			}
			http.ServeFile(w, r, path)
			return
		}
	}
	w.Header().Del("Content-Disposition")
	failRecording(w, err)
}
