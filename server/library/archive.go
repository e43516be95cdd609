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
// had in the format goes in as it is.
func (s *Store) Archive(ctx context.Context, w io.Writer, ids []string, as string) error {
	z := zip.NewWriter(w)
	taken := map[string]bool{}
	for _, id := range ids {
		if err := s.archiveOne(ctx, z, taken, [2]string{id, as}); err != nil {
			return err
		}
	}
	return z.Close()
}

// archiveOne adds a recording in a format, under a name that is not taken yet.
func (s *Store) archiveOne(ctx context.Context, z *zip.Writer, taken map[string]bool, what [2]string) error {
	id, as := what[0], what[1]
	x, err := s.Export(ctx, id, as)
	if err != nil && ctx.Err() == nil {
		x, err = s.Export(ctx, id, "")
	}
	if err != nil {
		return err
	}
	defer x.Close()
	h := &zip.FileHeader{Name: freeName(taken, x.Name), Method: zip.Deflate, Modified: time.Now()}
	if info, err := os.Stat(filepath.Join(s.folder, id)); err == nil {
		h.Modified = info.ModTime()
	}
	to, err := z.CreateHeader(h)
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
