package recording

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
)

// input is a file's bytes at any offset, unpacked if it was gzip.
type input struct {
	io.ReaderAt
	size  int64
	close func() error
}

func (in *input) Close() error {
	if in.close == nil {
		return nil
	}
	c := in.close
	in.close = nil
	return c()
}

// bytes returns those from offset on, at most n, fewer at the end.
func (in *input) bytes(offset int64, n int) ([]byte, error) {
	if offset < 0 || offset > in.size {
		return nil, io.ErrUnexpectedEOF
	}
	b := make([]byte, min(int64(n), in.size-offset))
	got, err := in.ReadAt(b, offset)
	if err == io.EOF && got == len(b) {
		err = nil
	}
	return b[:got], err
}

// memoryLimit is how many bytes of an unpacked or parsed file stay in memory;
// above, they go to a temporary file.
const memoryLimit = 64 << 20

func openInput(path string) (*input, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	st, err := file.Stat()
	if err == nil && !st.Mode().IsRegular() {
		err = &FormatError{Path: path, Offset: -1, Reason: "not a file of samples but " + st.Mode().Type().String()}
		if st.IsDir() {
			err = &FormatError{Path: path, Offset: -1, Reason: "a folder; name a file in it"}
		}
	}
	if err != nil {
		file.Close()
		return nil, err
	}
	var magic [2]byte
	file.ReadAt(magic[:], 0)
	if magic != [2]byte{0x1f, 0x8b} {
		return &input{ReaderAt: file, size: st.Size(), close: file.Close}, nil
	}
	defer file.Close()
	return unpack(file, path, min(mostUnpacked, memoryLimit+mostRatio*st.Size()))
}

// unpack reads a gzip stream to its end. One cut short gives what is there, one of more
// than most bytes is refused.
func unpack(r io.Reader, path string, most int64) (*input, error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, &FormatError{Path: path, Offset: 0, Reason: "gzip: " + err.Error()}
	}
	return hold(z, path, most, "gzip")
}

// Unpacked reads a gzip stream as it comes. One that unpacks to far more than a packed recording does fails.
func Unpacked(packed io.Reader) (io.Reader, error) {
	counted := &counting{r: packed}
	z, err := gzip.NewReader(counted)
	if err != nil {
		return nil, err
	}
	return &bounded{r: z, packed: counted}, nil
}

// counting counts what is read.
type counting struct {
	r io.Reader
	n int64
}

func (c *counting) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	c.n += int64(n)
	return n, err
}

// bounded ends what unpacks to far more than a packed recording does.
type bounded struct {
	r      io.Reader
	packed *counting
	n      int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if b.n += int64(n); b.n > memoryLimit+mostRatio*b.packed.n {
		return n, fmt.Errorf("it unpacks to more than %d MB, far more than a packed recording does; unpack it yourself if you trust it", b.n>>20)
	}
	return n, err
}

// hold keeps what an unpacker gives: in memory, above memoryLimit in a temporary file. What is cut
// short gives what is there, more than most bytes are refused.
func hold(z io.Reader, path string, most int64, packing string) (*input, error) {
	cut := func(err error) error {
		if errors.Is(err, io.ErrUnexpectedEOF) {
			return nil
		}
		var format *FormatError
		if err != nil && !errors.As(err, &format) {
			err = fmt.Errorf("recording: %s: unpacking: %w", path, err)
		}
		return err
	}
	var b bytes.Buffer
	n, err := io.Copy(&b, io.LimitReader(z, memoryLimit))
	if err = cut(err); err != nil {
		return nil, err
	}
	if n < memoryLimit {
		return &input{ReaderAt: bytes.NewReader(b.Bytes()), size: n}, nil
	}
	t, err := os.CreateTemp("", "pulsewright-*.tmp")
	if err != nil {
		return nil, fmt.Errorf("recording: %s: unpacking: %w", path, err)
	}
	remove := func() error { return errors.Join(t.Close(), os.Remove(t.Name())) }
	size, err := io.Copy(t, io.LimitReader(io.MultiReader(&b, z), most+1))
	if size > most {
		err = &FormatError{Path: path, Offset: -1, Reason: fmt.Sprintf("%s: it unpacks to more than %d MB, far more than a packed recording does; unpack it yourself if you trust it", packing, most>>20)}
	}
	if err = cut(err); err != nil {
		return nil, errors.Join(err, remove())
	}
	return &input{ReaderAt: t, size: size, close: remove}, nil
}

// looksText reports whether bytes are text that could be CSV.
func looksText(head []byte) bool {
	if len(head) >= 4 && (head[0] == 0xff && head[1] == 0xfe || head[0] == 0xfe && head[1] == 0xff) {
		return head[2] == 0 != (head[3] == 0) // UTF-16, a plain letter first
	}
	for _, b := range head {
		if b < ' ' && b != '\t' && b != '\r' && b != '\n' {
			return false
		}
	}
	return true
}
