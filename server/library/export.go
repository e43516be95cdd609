package library

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"pulsewright/acquire/recording"
)

// Export is a recording on its way out. Close it.
type Export struct {
	Name string // of the file that it becomes
	Type string // of its content (MIME)
	// Path is the file that holds it, or "" where Write makes it.
	Path  string
	Write func(io.Writer) error

	file   *recording.File
	folder string // of a file made for it
}

// Close lets go of what it holds.
func (x *Export) Close() {
	if x.file != nil {
		x.file.Close()
	}
	if x.folder != "" {
		os.RemoveAll(x.folder)
	}
}

// Export gives a recording out as "edf" (EDF+, or BDF+ where the counts or the range stated need it), "csv" or
// "wav", with the notes made afterwards, the beats edited by hand, what was said of its channels and the remark on it; as ""
// gives it in its own format or, where that has no more in it than the file, as it is. One that is being written is given as a whole file of what is there.
func (s *Store) Export(ctx context.Context, id, as string) (*Export, error) {
	return s.export(ctx, id, as, nil)
}

// Lost tells in a sentence each what of a recording its export does not hold. The whole export is made for it.
func (s *Store) Lost(ctx context.Context, id, as string) ([]string, error) {
	lost := []string{}
	x, err := s.export(ctx, id, as, func(text string) { lost = append(lost, text) })
	if err != nil {
		return nil, err
	}
	defer x.Close()
	if x.Path == "" {
		err = x.Write(io.Discard)
	}
	return lost, err
}

// asStored is told of a file that is given as it is although there is more beside it.
const asStored = "it is the file as it was stored, without the notes, beats and settings that were added to it afterwards; EDF holds them"

// export is Export; tell, unless nil, is told what is lost.
func (s *Store) export(ctx context.Context, id, as string, tell func(text string)) (*Export, error) {
	path, err := s.Path(id)
	if err != nil {
		return nil, err
	}
	own := strings.TrimPrefix(strings.ToLower(filepath.Ext(id)), ".")
	x := &Export{Name: id, Type: "application/octet-stream"}
	if x.file, err = s.open(path); err != nil {
		if as != "" && as != own {
			return nil, err
		}
		x.Path = path // what cannot be read is given out all the same
		return x, nil
	}
	said, marks, edits := Said(path), s.Marks(id), s.edits.All()[id]
	rec := OpenChannels(x.file, path, said)
	beside := len(marks) + len(edits) + len(annotatedOf(path))
	adds := x.adds(own, CarriedWith(rec, said) != nil, beside)
	if text := x.file.Text(); as == "csv" && text != nil && !text.Ours {
		own = "text" // as others wrote it
	}
	if (as == "" || as == own) && !adds {
		if x.Path = path; tell != nil && beside > 0 {
			tell(asStored)
		}
		return x, nil
	}
	asked := as
	as = cmp.Or(as, own)
	x.Name = strings.TrimSuffix(id, filepath.Ext(id)) + "." + as
	options := recording.ExportOptions{Context: ctx, Notes: marks, Shown: rec.Shown(), Tell: tell}
	if tell != nil || as == "edf" || as == "bdf" { // beats edited by hand and annotated ones are notes there
		options.Notes, options.Keep, err = Beside(ctx, rec, path)
	}
	switch {
	case err != nil:
	case as == "csv":
		CarryAtEnd(rec, &options)
		x.Type = "text/csv; charset=utf-8"
		x.Write = func(w io.Writer) error { return recording.ExportCSV(w, x.file, options) }
	case as == "wav":
		options.Settings = CarriedWith(rec, said)
		x.Type = "audio/wav"
		x.Write = func(w io.Writer) error { return recording.ExportWAV(w, x.file, options) }
	case as == "edf" || as == "bdf":
		options.Settings = CarriedWith(rec, said)
		err = x.asEDF(own, options)
		if asked == "edf" && own == "bdf" && errors.Is(err, recording.ErrTooWide) {
			x.Close()
			return s.export(ctx, id, "", tell)
		}
	default:
		err = &AskError{text: fmt.Sprintf("as=%s: choose edf, csv or wav", strconv.Quote(as))}
	}
	switch {
	case err == nil:
		return x, nil
	case asked == "" && ctx.Err() == nil: // as it is
		if x.Name, x.Path = id, path; tell != nil {
			tell(asStored)
		}
		return x, nil
	}
	x.Close()
	return nil, err
}

// adds reports whether a copy in the recording's own format has more in it than the file.
func (x *Export) adds(own string, said bool, notes int) bool {
	switch own { // notes have no place in the first two
	case "wav", "csv":
		return said
	default:
		return notes > 0 || said || x.file.Unclosed()
	}
}

// asEDF makes a file beside: its header is known at its end.
func (x *Export) asEDF(own string, options recording.ExportOptions) (err error) {
	ext := ".edf"
	if own == "bdf" {
		ext = filepath.Ext(x.Name)
	} else if own != "edf" && recording.Needs24Bits(x.file.Describe().Channels) {
		ext = ".bdf"
	}
	if x.folder, err = os.MkdirTemp("", "pulsewright-"); err != nil {
		return err
	}
	name := strings.TrimSuffix(x.Name, filepath.Ext(x.Name))
	if ext == ".bdf" && (own == "csv" || own == "text") { // which states no range: its numbers decide
		x.Path, x.Name = filepath.Join(x.folder, "export.edf"), name+".edf"
		if err := recording.ExportEDF(x.Path, x.file, options); !errors.Is(err, recording.ErrTooWide) {
			return err
		}
	}
	x.Path, x.Name = filepath.Join(x.folder, "export"+ext), name+ext
	return recording.ExportEDF(x.Path, x.file, options)
}
