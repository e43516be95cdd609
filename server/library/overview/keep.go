package overview

import (
	"bufio"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
)

// Folder below the recordings holds what is kept of them for a quicker look.
const Folder = ".views"

// magic begins the file of a Pyramid.
const magic = "PWPY\x01"

// Path is where a recording's Pyramid is kept.
func Path(recordings, id string) string { return filepath.Join(recordings, Folder, id+".view") }

// Save keeps the finest level beside the recording that it belongs to.
func (p *Pyramid) Save(recordings, id string) error {
	info, err := os.Stat(filepath.Join(recordings, id))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(recordings, Folder), 0o700); err != nil {
		return err
	}
	path := Path(recordings, id)
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<16)
	_, _ = w.WriteString(magic)
	head := []int64{info.Size(), info.ModTime().UnixNano(), p.Samples, int64(len(p.levels[0])), int64(len(p.levels[0][0]))}
	err = binary.Write(w, binary.LittleEndian, head)
	var b [8]byte
	for _, row := range p.levels[0] {
		for _, e := range row {
			binary.LittleEndian.PutUint32(b[:], uint32(e.Low))
			binary.LittleEndian.PutUint32(b[4:], uint32(e.High))
			_, _ = w.Write(b[:])
		}
	}
	if flushErr := w.Flush(); err == nil {
		err = flushErr
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		os.Remove(path + ".new")
		return err
	}
	return os.Rename(path+".new", path)
}

var errStale = errors.New("the view belongs to another state of the recording")

// Load reads what Save wrote, if it still belongs to the recording.
func Load(recordings, id string) (*Pyramid, error) {
	info, err := os.Stat(filepath.Join(recordings, id))
	if err != nil {
		return nil, err
	}
	data, err := os.ReadFile(Path(recordings, id))
	if err != nil {
		return nil, err
	}
	headBytes := len(magic) + 5*8
	if len(data) < headBytes || string(data[:len(magic)]) != magic {
		return nil, errStale
	}
	var head [5]int64
	for i := range head {
		head[i] = int64(binary.LittleEndian.Uint64(data[len(magic)+8*i:]))
	}
	channels, entries := head[3], head[4]
	if head[0] != info.Size() || head[1] != info.ModTime().UnixNano() || channels < 1 || channels > 1000 || entries < 0 ||
		int64(len(data)-headBytes) != 8*channels*entries || entries != (head[2]+Base-1)/Base {
		return nil, errStale
	}
	data = data[headBytes:]
	rows := Rows(int(channels), int(entries))
	for c := range rows {
		for i := range rows[c] {
			rows[c][i] = Extent{int32(binary.LittleEndian.Uint32(data)), int32(binary.LittleEndian.Uint32(data[4:]))}
			data = data[8:]
		}
	}
	return Of(head[2], rows), nil
}
