package library

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"pulsewright/acquire/recording"
	"pulsewright/server"
	"pulsewright/server/channel"
)

// Routes adds what stands under /recording, /keep and /recordings in server/API.md.
func Routes(store *Store, recorder *Recorder) func(r chi.Router) {
	h := &handlers{store, recorder, MaxUpload}
	return func(r chi.Router) {
		r.Get("/recording", func(w http.ResponseWriter, _ *http.Request) { server.Answer(w, recorder.State()) })
		r.Post("/recording", h.start)
		r.Delete("/recording", h.stop)
		r.Post("/keep", h.keep)
		r.Get("/recordings", h.list)
		r.Post("/recordings", h.upload)
		r.Patch("/recordings/{id}", h.patch)
		r.Delete("/recordings/{id}", h.trash)
		r.Post("/recordings/{id}/restore", h.restore)
		r.Delete("/trash", h.emptyTrash)
		r.Post("/recordings/{id}/notes", h.addNote)
		r.Delete("/recordings/{id}/notes", h.removeNote)
		r.Get("/recordings/{id}/file", h.download)
	}
}

type handlers struct {
	store    *Store
	recorder *Recorder
	most     int64 // bytes of an upload
}

func fail(w http.ResponseWriter, err error) {
	switch {
	case errors.Is(err, ErrNoRecording):
		server.FailWith(w, http.StatusNotFound, err)
	case errors.Is(err, ErrRecording), errors.Is(err, ErrNotRecording), errors.Is(err, ErrNothing):
		server.FailWith(w, http.StatusConflict, err)
	default:
		server.Fail(w, err)
	}
}

const maxMinutes = 24 * 60

func checkMinutes(name string, minutes, most float64) error {
	if !(minutes >= 0 && minutes <= most) {
		return fmt.Errorf("%s of %g: give 0 to %g minutes", name, minutes, most)
	}
	return nil
}

func (h *handlers) start(w http.ResponseWriter, r *http.Request) {
	var body struct {
		Name        string  `json:"name"`
		Minutes     float64 `json:"minutes"`
		KeepMinutes float64 `json:"keepMinutes"`
		Note        string  `json:"note"`
	}
	if !server.ReadJSON(w, r, &body) {
		return
	}
	if err := errors.Join(checkMinutes("minutes", body.Minutes, maxMinutes), checkMinutes("keepMinutes", body.KeepMinutes, KeepSeconds/60)); err != nil {
		server.FailWith(w, http.StatusBadRequest, err)
		return
	}
	state, err := h.recorder.Start(body.Name, body.Minutes, body.KeepMinutes, body.Note)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, state)
}

func (h *handlers) stop(w http.ResponseWriter, _ *http.Request) {
	state, err := h.recorder.Stop()
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, state)
}

func (h *handlers) keep(w http.ResponseWriter, r *http.Request) {
	var body struct {
		Name    string  `json:"name"`
		Minutes float64 `json:"minutes"`
	}
	if !server.ReadJSON(w, r, &body) {
		return
	}
	if err := checkMinutes("minutes", body.Minutes, KeepSeconds/60); err != nil || body.Minutes == 0 {
		server.FailWith(w, http.StatusBadRequest, fmt.Errorf("minutes of %g: give more than 0 and at most %d", body.Minutes, KeepSeconds/60))
		return
	}
	state, err := h.recorder.Keep(body.Name, body.Minutes)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, state)
}

func (h *handlers) list(w http.ResponseWriter, r *http.Request) {
	read := h.store.List
	if r.URL.Query().Get("brief") == "1" {
		read = h.store.Brief
	}
	list, err := read()
	if err != nil {
		fail(w, err)
		return
	}
	for i := range list {
		list[i].Recording = h.recorder.Busy(list[i].ID)
	}
	server.Answer(w, map[string]any{"folder": h.store.Folder(), "recordings": list, "trash": h.store.Trashed()})
}

// busy tells that a recording is being written.
func (h *handlers) busy(id string) error {
	if h.recorder.Busy(id) {
		return fmt.Errorf("recording %s: %w", strconv.Quote(id), ErrRecording)
	}
	return nil
}

func (h *handlers) patch(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "id")
	var body struct {
		Name *string `json:"name"`
		Note *string `json:"note"`
		// Channels says what channels are.
		Channels []ChannelChange `json:"channels"`
	}
	if !server.ReadJSON(w, r, &body) {
		return
	}
	if err := h.busy(id); err != nil && body.Name != nil {
		fail(w, err)
		return
	}
	if len(body.Channels) > 0 {
		if err := h.store.Say(id, body.Channels); err != nil {
			fail(w, err)
			return
		}
	}
	if body.Note != nil {
		if err := h.store.SetNote(id, *body.Note); err != nil {
			fail(w, err)
			return
		}
	}
	if body.Name != nil {
		renamed, err := h.store.Rename(id, *body.Name)
		if err != nil {
			fail(w, err)
			return
		}
		id = renamed
	}
	entry, err := h.store.Get(id)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, entry)
}

func (h *handlers) trash(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "id")
	err := h.busy(id)
	if err == nil {
		err = h.store.Trash(id)
	}
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, map[string]string{"trashed": id})
}

func (h *handlers) restore(w http.ResponseWriter, r *http.Request) {
	id, err := h.store.Restore(chi.URLParam(r, "id"))
	if err != nil {
		fail(w, err)
		return
	}
	entry, err := h.store.Get(id)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, entry)
}

// emptyTrash deletes the recordings named, and no other, from the trash for good.
func (h *handlers) emptyTrash(w http.ResponseWriter, r *http.Request) {
	var body struct {
		IDs []string `json:"ids"`
	}
	if !server.ReadJSON(w, r, &body) {
		return
	}
	if len(body.IDs) == 0 {
		server.FailWith(w, http.StatusBadRequest, errors.New("ids: name the recordings in the trash that are to be deleted for good"))
		return
	}
	gone, err := h.store.Delete(body.IDs)
	if err != nil {
		fail(w, err)
		return
	}
	server.Answer(w, map[string]any{"deleted": gone})
}

// upload takes in the body as a recording named by the query.
func (h *handlers) upload(w http.ResponseWriter, r *http.Request) {
	if r.ContentLength > h.most {
		server.FailWith(w, http.StatusRequestEntityTooLarge, h.tooLarge())
		return
	}
	entry, err := h.store.Add(r.URL.Query().Get("name"), http.MaxBytesReader(w, r.Body, h.most))
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		server.FailWith(w, http.StatusRequestEntityTooLarge, h.tooLarge())
	case err != nil:
		fail(w, err)
	default:
		server.Answer(w, entry)
	}
}

func (h *handlers) tooLarge() error {
	return fmt.Errorf("the file is over %d GiB: copy it into the folder %s instead", MaxUpload>>30, h.store.Folder())
}

// download gives a recording out as it is or as another format.
func (h *handlers) download(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "id")
	path, err := h.store.Path(id)
	if err != nil {
		fail(w, err)
		return
	}
	as := r.URL.Query().Get("as")
	own := strings.TrimPrefix(strings.ToLower(filepath.Ext(id)), ".")
	if as == "edf" && own == "bdf" {
		as = own // 24 bits do not fit the 16-bit format
	}
	base := strings.TrimSuffix(id, filepath.Ext(id))
	attach := func(ext string) {
		w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": base + "." + ext}))
	}
	marks := h.store.Marks(id)
	said := Said(path)
	f, err := h.store.open(path)
	if err != nil && as != "" && as != own {
		fail(w, err)
		return
	}
	if err == nil {
		defer f.Close()
	}
	if as == "" && err == nil && f.Unclosed() {
		as = own // it is being written: what is there now, as a whole file
	}
	same := len(marks) == 0 && said.Empty() && !(err == nil && f.Unclosed()) // nothing is to be added
	if own == "wav" || own == "csv" {
		same = own == "wav" || said.Empty() // notes have no place there
	}
	if as == "" || as == own && same {
		attach(own)
		w.Header().Set("Content-Type", "application/octet-stream")
		http.ServeFile(w, r, path)
		return
	}
	if err != nil {
		fail(w, err)
		return
	}
	options := recording.ExportOptions{Context: r.Context()}
	switch as {
	case "csv":
		attach(as)
		w.Header().Set("Content-Type", "text/csv; charset=utf-8")
		options.Shown = channel.Open(f, said).Shown()
		err = recording.ExportCSV(w, f, options)
	case "wav":
		attach(as)
		w.Header().Set("Content-Type", "audio/wav")
		err = recording.ExportWAV(w, f, options)
	case "edf", "bdf":
		options.Notes, options.Settings = marks, carriedWith(f, said)
		ext := ".edf"
		if own == "bdf" || own != "edf" && recording.Needs24Bits(f.Describe().Channels) {
			ext = ".bdf"
		}
		folder, mkErr := os.MkdirTemp("", "pulsewright-")
		if mkErr != nil {
			fail(w, mkErr)
			return
		}
		defer os.RemoveAll(folder)
		temporary := filepath.Join(folder, "export"+ext)
		if err := recording.ExportEDF(temporary, f, options); err != nil {
			fail(w, err)
			return
		}
		attach(ext[1:])
		w.Header().Set("Content-Type", "application/octet-stream")
		http.ServeFile(w, r, temporary)
		return
	default:
		server.FailWith(w, http.StatusBadRequest, fmt.Errorf("as=%s: choose edf, csv or wav", strconv.Quote(as)))
		return
	}
	if err != nil {
		panic(http.ErrAbortHandler) // the head is out: an unfinished answer must not look whole
	}
}
