//go:build !unix

package bytestream

import (
	"errors"
	"io"
)

func openFIFO(string) (io.ReadCloser, error) {
	return nil, errors.New("this system has no named pipes: use tcp-listen or standard input instead")
}
