package server

import (
	"crypto/rand"
	"net/http"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"
)

// archives are recordings chosen to be downloaded as one archive, the newest last. A download is a GET, whose
// address has no room for all their names.
type archives struct {
	// Guarded by mu.
	mu   sync.Mutex
	list []chosenArchive
}

type chosenArchive struct {
	id   string
	body archiveBody
}

// keptArchives are the choices that can be downloaded.
const keptArchives = 16

// archiveBody names recordings and the format that they are wanted in.
type archiveBody struct {
	IDs []string `json:"ids"`
	As  string   `json:"as"` // edf, csv, wav, or "" as they are
}

// archiveAnswer names an archive to be downloaded.
type archiveAnswer struct {
	ID string `json:"id"`
}

func (s *Server) postArchive(w http.ResponseWriter, r *http.Request) {
	var body archiveBody
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := s.recordings.Store.CheckArchive(body.IDs, body.As); err != nil {
		failRecording(w, err)
		return
	}
	a := &s.archives
	a.mu.Lock()
	defer a.mu.Unlock()
	id := rand.Text()
	a.list = append(a.list, chosenArchive{id, body})
	a.list = a.list[max(0, len(a.list)-keptArchives):]
	Answer(w, archiveAnswer{id})
}

// getArchive streams an archive; it is made while it is read.
func (s *Server) getArchive(w http.ResponseWriter, r *http.Request) {
	a, id := &s.archives, chi.URLParam(r, "id")
	var body archiveBody
	a.mu.Lock()
	for _, c := range a.list {
		if c.id == id {
			body = c.body
		}
	}
	a.mu.Unlock()
	if len(body.IDs) == 0 {
		fail(w, http.StatusNotFound, "this archive is not kept any more: choose the recordings again")
		return
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", `attachment; filename="recordings `+time.Now().Format("2006-01-02 15.04.05")+`.zip"`)
	if err := s.recordings.Store.Archive(r.Context(), w, body.IDs, body.As); err != nil {
		s.log.Warn("an archive was not finished", "err", err)
		panic(http.ErrAbortHandler) // the head is out: an unfinished answer must not look whole
	}
}
