package server

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/library"
	"pulsewright/server/library/files"
	"pulsewright/server/library/recorder"
)

// Recordings is the folder of recordings and what is done with it; without a Store there
// are none.
type Recordings struct {
	Store    *library.Store
	Recorder *recorder.Recorder
	Reviews  *library.Reviews
	// MostBytes bounds a file that is imported; 0 is library.MaxUpload.
	MostBytes int64
}

// haveFolder turns requests for recordings away where there are none.
func (s *Server) haveFolder(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.recordings.Store == nil {
			fail(w, http.StatusNotFound, "this program keeps no recordings")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// failRecording answers what went wrong with a recording.
func failRecording(w http.ResponseWriter, err error) {
	var ask *library.AskError
	var large *errTooLarge
	status := 0
	switch {
	case errors.As(err, &large):
		status = http.StatusRequestEntityTooLarge
	case errors.As(err, &ask) && !ask.NoChannel:
		status = http.StatusBadRequest
	case errors.As(err, &ask), errors.Is(err, library.ErrNoRecording), errors.Is(err, library.ErrNoMark):
		status = http.StatusNotFound
	case errors.Is(err, recorder.ErrRecording), errors.Is(err, recorder.ErrNotRecording), errors.Is(err, recorder.ErrNothing):
		status = http.StatusConflict
	default:
		Fail(w, err)
		return
	}
	fail(w, status, err.Error())
}

// answerRecording answers with v, or with what went wrong.
func answerRecording(w http.ResponseWriter, v any, err error) {
	if err != nil {
		failRecording(w, err)
		return
	}
	Answer(w, v)
}

const maxMinutes = 24 * 60

func checkMinutes(name string, minutes, most float64) error {
	if !(minutes >= 0 && minutes <= most) {
		return fmt.Errorf("%s of %g: give 0 to %g minutes", name, minutes, most)
	}
	return nil
}

func (s *Server) getRecording(w http.ResponseWriter, _ *http.Request) {
	Answer(w, s.recordings.Recorder.State())
}

// recordBody begins a recording.
type recordBody struct {
	Name        string  `json:"name"`
	Minutes     float64 `json:"minutes"`
	KeepMinutes float64 `json:"keepMinutes"`
	Note        string  `json:"note"`
}

func (s *Server) postRecording(w http.ResponseWriter, r *http.Request) {
	var body recordBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := errors.Join(checkMinutes("minutes", body.Minutes, maxMinutes), checkMinutes("keepMinutes", body.KeepMinutes, recorder.KeepSeconds/60)); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	if err := errors.Join(files.CheckGiven(body.Name), acquire.CheckText("note", body.Note)); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	state, err := s.recordings.Recorder.Start(body.Name, body.Minutes, body.KeepMinutes, body.Note)
	answerRecording(w, state, err)
}

func (s *Server) deleteRecording(w http.ResponseWriter, _ *http.Request) {
	state, err := s.recordings.Recorder.Stop()
	answerRecording(w, state, err)
}

// keepBody saves the last minutes.
type keepBody struct {
	Name    string  `json:"name"`
	Minutes float64 `json:"minutes"`
}

func (s *Server) postKeep(w http.ResponseWriter, r *http.Request) {
	var body keepBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := checkMinutes("minutes", body.Minutes, recorder.KeepSeconds/60); err != nil || body.Minutes == 0 {
		FailWith(w, http.StatusBadRequest, fmt.Errorf("minutes of %g: give more than 0 and at most %d", body.Minutes, recorder.KeepSeconds/60))
		return
	}
	if err := files.CheckGiven(body.Name); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	state, err := s.recordings.Recorder.Keep(body.Name, body.Minutes)
	answerRecording(w, state, err)
}

// recordingsList is what there is.
type recordingsList struct {
	Folder     string            `json:"folder"`
	Recordings []library.Entry   `json:"recordings"`
	Trash      []library.Trashed `json:"trash"`
	// Rating is how many median rates are still being worked out.
	Rating int `json:"rating"`
}

func (s *Server) getRecordings(w http.ResponseWriter, r *http.Request) {
	read, brief := s.recordings.Store.List, r.URL.Query().Get("brief") == "1"
	if brief {
		read = s.recordings.Store.Brief
	}
	list, err := read()
	if err != nil {
		failRecording(w, err)
		return
	}
	for i := range list {
		list[i].Recording = s.recordings.Recorder.Busy(list[i].ID)
	}
	rating := 0
	if brief { // whether beats are stored is not known yet
		s.recordings.Store.ShowRates(list)
	} else {
		rating = s.recordings.Reviews.WithRates(list, s.recordings.Recorder.Busy)
	}
	Answer(w, recordingsList{s.recordings.Store.Folder(), list, s.recordings.Store.Trashed(), rating})
}

// busy tells that a recording is being written.
func (s *Server) busy(id string) error {
	if s.recordings.Recorder.Busy(id) {
		return fmt.Errorf("recording %s: %w", strconv.Quote(id), recorder.ErrRecording)
	}
	return nil
}

// patchBody says something of a recording; what is left out stays.
type patchBody struct {
	Name *string `json:"name"`
	Note *string `json:"note"`
	// Channels says what channels are.
	Channels []library.ChannelChange `json:"channels"`
}

func (s *Server) patchRecording(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "id")
	var body patchBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := s.busy(id); err != nil && body.Name != nil {
		failRecording(w, err)
		return
	}
	if len(body.Channels) > 0 {
		if err := s.recordings.Store.Say(id, body.Channels); err != nil {
			failRecording(w, err)
			return
		}
	}
	if body.Note != nil {
		if err := s.recordings.Store.SetNote(id, *body.Note); err != nil {
			failRecording(w, err)
			return
		}
	}
	if body.Name != nil {
		renamed, err := s.recordings.Store.Rename(id, *body.Name)
		if err != nil {
			failRecording(w, err)
			return
		}
		id = renamed
	}
	entry, err := s.recordings.Store.Get(id)
	answerRecording(w, entry, err)
}

// trashedOne names what is in the trash now.
type trashedOne struct {
	Trashed string `json:"trashed"`
}

func (s *Server) trashRecording(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "id")
	err := s.busy(id)
	if err == nil {
		err = s.recordings.Store.Trash(id)
	}
	if err != nil {
		failRecording(w, err)
		return
	}
	Answer(w, trashedOne{id})
}

func (s *Server) restoreRecording(w http.ResponseWriter, r *http.Request) {
	id, err := s.recordings.Store.Restore(chi.URLParam(r, "id"))
	if err != nil {
		failRecording(w, err)
		return
	}
	entry, err := s.recordings.Store.Get(id)
	answerRecording(w, entry, err)
}

// deletedList is what was deleted for good.
type deletedList struct {
	Deleted []library.Trashed `json:"deleted"`
}

// deleteBody names recordings in the trash.
type deleteBody struct {
	IDs []string `json:"ids"`
}

// emptyTrash deletes the recordings named, and no other, from the trash for good.
func (s *Server) deleteTrash(w http.ResponseWriter, r *http.Request) {
	var body deleteBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if len(body.IDs) == 0 {
		FailWith(w, http.StatusBadRequest, errors.New("ids: name the recordings in the trash that are to be deleted for good"))
		return
	}
	gone, err := s.recordings.Store.Delete(body.IDs)
	if err != nil {
		failRecording(w, err)
		return
	}
	Answer(w, deletedList{gone})
}

// getRecordingFile gives a recording out as it is or as another format.
func (s *Server) getRecordingFile(w http.ResponseWriter, r *http.Request) {
	x, err := s.recordings.Store.Export(r.Context(), chi.URLParam(r, "id"), r.URL.Query().Get("as"))
	if err != nil {
		failRecording(w, err)
		return
	}
	defer x.Close()
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": x.Name}))
	w.Header().Set("Content-Type", x.Type)
	if x.Path != "" {
		http.ServeFile(w, r, x.Path)
		return
	}
	if err := x.Write(w); err != nil {
		panic(http.ErrAbortHandler) // the head is out: an unfinished answer must not look whole
	}
}

// fileLost is what of a recording its download does not hold, a sentence each.
type fileLost struct {
	Lost []string `json:"lost"`
}

// getRecordingFileLost tells what a download as another format would lose.
func (s *Server) getRecordingFileLost(w http.ResponseWriter, r *http.Request) {
	lost, err := s.recordings.Store.Lost(r.Context(), chi.URLParam(r, "id"), r.URL.Query().Get("as"))
	answerRecording(w, fileLost{lost}, err)
}

// markBody is a note at a sample of a recording.
type markBody struct {
	Sample int64  `json:"sample"`
	Text   string `json:"text"`
	// DurationSeconds is how long what it says lasts; 0 for a moment.
	DurationSeconds float64 `json:"durationSeconds"`
}

// mostNoteSeconds is the longest stretch that a note speaks of: that of the longest recording.
const mostNoteSeconds = 31 * 86400

// postRecordingNote puts a note into a recording afterwards.
func (s *Server) postRecordingNote(w http.ResponseWriter, r *http.Request) {
	var body markBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := acquire.CheckText("note", strings.TrimSpace(body.Text)); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	text := strings.Join(strings.Fields(body.Text), " ")
	if text == "" || len(text) > 1000 || body.Sample < 0 || body.Sample > 1<<53 {
		fail(w, http.StatusBadRequest, fmt.Sprintf("a note of %d bytes at sample %d: give 1 to 1000 bytes and a sample from 0", len(text), body.Sample))
		return
	}
	if d := body.DurationSeconds; !(d >= 0 && d <= mostNoteSeconds) {
		fail(w, http.StatusBadRequest, fmt.Sprintf("durationSeconds=%g: give 0 to %d", d, mostNoteSeconds))
		return
	}
	err := s.recordings.Store.AddMark(chi.URLParam(r, "id"), recording.Annotation{Sample: body.Sample, Text: text, DurationSeconds: body.DurationSeconds})
	answerRecording(w, markBody{body.Sample, text, body.DurationSeconds}, err)
}

// deleteRecordingNote takes a note away that was made afterwards.
func (s *Server) deleteRecordingNote(w http.ResponseWriter, r *http.Request) {
	var body markBody

	if !ReadJSON(w, r, &body) {
		return
	}
	err := s.recordings.Store.RemoveMark(chi.URLParam(r, "id"), body.Sample, body.Text)
	answerRecording(w, body, err)
}
