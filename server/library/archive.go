package library

import (
	"archive/zip"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// mostArchived bounds the recordings of an archive.
const mostArchived = 10_000

// CheckArchive tells what is wrong with recordings to be put into an archive, and their format.
func (s *Store) CheckArchive(ids []string, as string) error {
	if as != "" && as != "edf" && as != "csv" && as != "wav" {
		return &AskError{text: fmt.Sprintf("as=%q: choose edf, csv or wav", as)}
	}
	if len(ids) == 0 || len(ids) > mostArchived {
		return &AskError{text: fmt.Sprintf("ids: %d recordings named; name 1 to %d", len(ids), mostArchived)}
	}
	for _, id := range ids {
		if _, err := s.Path(id); err != nil {
			return err
		}
	}
	return nil
}

// Archive writes recordings as one ZIP archive while they are read, each as Export gives it out; one that cannot be
// had in the format goes in as it is. Where something of a recording is not in it, a text at its end tells it.
func (s *Store) Archive(ctx context.Context, w io.Writer, ids []string, as string) error {
	z := zip.NewWriter(w)
	a := archiving{s, z, map[string]bool{}, ""}
	for _, id := range ids {
		if err := a.add(ctx, id, as); err != nil {
			return err
		}
	}
	if a.lost != "" {
		to, err := z.CreateHeader(&zip.FileHeader{Name: freeName(a.taken, lostName), Method: zip.Deflate, Modified: time.Now()})
		if err == nil {
			_, err = io.WriteString(to, "Of these recordings the files here do not hold all, or not as it was:\n"+a.lost)
		}
		if err != nil {
			return err
		}
	}
	return z.Close()
}

// lostName is the text that tells what is lost of the recordings of an archive.
const lostName = "what is lost.txt"

// archiving is an archive on its way out.
type archiving struct {
	s     *Store
	z     *zip.Writer
	taken map[string]bool // names
	lost  string          // of which recording, what
}

// add adds a recording in a format, under a name that is not taken yet.
func (a *archiving) add(ctx context.Context, id, as string) error {
	var lost []string
	tell := func(text string) { lost = append(lost, text) }
	x, err := a.s.export(ctx, id, as, tell)
	if err != nil && ctx.Err() == nil {
		lost = []string{fmt.Sprintf("it is in its own format, since it cannot be had as %s: %v", as, err)}
		x, err = a.s.export(ctx, id, "", tell)
	}
	if err != nil {
		return err
	}
	defer x.Close()
	name := freeName(a.taken, x.Name)
	if err := a.write(ctx, x, name, id); err != nil {
		return err
	}
	if len(lost) > 0 {
		a.lost += fmt.Sprintf("\n%s, made of %s:\n- %s\n", name, id, strings.Join(lost, "\n- "))
	}
	return nil
}

// write writes a recording's file under a name.
func (a *archiving) write(ctx context.Context, x *Export, name, id string) error {
	h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: time.Now()}
	if info, err := os.Stat(filepath.Join(a.s.folder, id)); err == nil {
		h.Modified = info.ModTime()
	}
	to, err := a.z.CreateHeader(h)
	if err != nil {
		return err
	}
	if x.Path == "" {
		return x.Write(to)
	}
	from, err := os.Open(x.Path)
	if err != nil {
		return err
	}
	defer from.Close()
	_, err = io.Copy(to, &whileContext{ctx, from})
	return err
}

// freeName is a name with a number behind it where it is taken, as on systems that know no large
// and small letters.
func freeName(taken map[string]bool, name string) string {
	ext := filepath.Ext(name)
	base := strings.TrimSuffix(name, ext)
	for n := 2; taken[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s %d%s", base, n, ext)
	}
	taken[strings.ToLower(name)] = true
	return name
}

// whileContext reads until its context ends.
type whileContext struct {
	ctx context.Context
	r   io.Reader
}

func (w *whileContext) Read(b []byte) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	return w.r.Read(b)
}
