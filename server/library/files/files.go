// Package files is how files of a recordings folder are called and changed: none takes
// another's place, and each is whole or as before whatever happens.
package files

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
)

// InventedMark stands in the file's name of an invented recording, behind the name.
const InventedMark = " " + acquire.InventedTag

// NameOf makes a name for a person of a recording's file: without the ending, the time and
// the mark of what is invented, which stands beside it.
func NameOf(file string) string {
	name := strings.Replace(strings.TrimSuffix(file, filepath.Ext(file)), InventedMark, "", 1)
	const stamp = "2006-01-02 15.04.05"
	if len(name) > len(stamp) {
		if _, err := time.Parse(stamp, name[:len(stamp)]); err == nil {
			name = strings.TrimSpace(name[len(stamp):])
		}
	}
	return name
}

// Renamed is a file's name with another name for a person in it; the time in front of it and the
// mark of what is invented stay.
func Renamed(file, name string) string {
	ext := filepath.Ext(file)
	old := strings.TrimSuffix(file, ext)
	plain := strings.Replace(old, InventedMark, "", 1)
	stamp := strings.TrimSpace(strings.TrimSuffix(plain, NameOf(file)))
	to := strings.TrimSpace(stamp + " " + CleanName(name))
	if plain != old {
		to += InventedMark
	}
	return to + ext
}

// CleanName makes a name for a person fit for a file, without an ending.
func CleanName(name string) string {
	file := recording.FileName(time.Time{}, name, nil)
	return strings.TrimSuffix(file, filepath.Ext(file))
}

// deviceNames are no names of files on Windows, whatever their ending (Microsoft, Naming
// Files, Paths, and Namespaces).
var deviceNames = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])\s*(\.|$)`)

// CheckName tells what is wrong with the name of a file that is brought in; file is what would
// become of it.
func CheckName(name, file string) error {
	if deviceNames.MatchString(file) {
		return fmt.Errorf("name %s: Windows keeps it for a device; choose another", strconv.Quote(name))
	}
	return acquire.CheckText("name", name)
}

// CheckGiven tells what is wrong with a name that somebody gives to a recording: nothing of it may vanish
// in the name of its file.
func CheckGiven(name string) error {
	if err := CheckName(name, CleanName(name)); err != nil {
		return err
	}
	if len(name) > recording.MostName {
		return fmt.Errorf("name %s: it has %d bytes; at most %d fit into a file's name, so make it shorter", strconv.Quote(name), len(name), recording.MostName)
	}
	for _, r := range name {
		if !recording.InFileName(r) {
			return fmt.Errorf("name %s: it has the sign %q, which has no place in a file's name; use letters, digits, spaces, hyphens, underscores and points", strconv.Quote(name), string(r))
		}
	}
	return nil
}

// Free calls create with name and, while that is taken, with a number behind it.
func Free(folder, name string, create func(path string) error) (string, error) {
	ext := filepath.Ext(name)
	base := strings.TrimSuffix(name, ext)
	for n := 1; ; n++ {
		path := filepath.Join(folder, name)
		if n > 1 {
			path = filepath.Join(folder, fmt.Sprintf("%s %d%s", base, n, ext))
		}
		err := create(path)
		if errors.Is(err, os.ErrExist) && n < 1000 {
			continue
		}
		return path, err
	}
}

// MoveFree moves a file into a folder under a name, with a number behind it where that is taken.
func MoveFree(from, folder, name string) (string, error) {
	return Free(folder, name, func(to string) error { return Move(from, to) })
}

// Move renames a file without overwriting another: the hard link fails when the
// target exists. Where links are not to be had it looks first.
func Move(from, to string) error {
	err := os.Link(from, to)
	if err == nil {
		return os.Remove(from)
	}
	if errors.Is(err, os.ErrExist) {
		return err
	}
	if _, statErr := os.Lstat(to); statErr == nil {
		return os.ErrExist
	}
	return os.Rename(from, to)
}

// SetAside gives a file that cannot be understood another name, so that nothing is lost.
func SetAside(path string) error { return os.Rename(path, path+".broken") }

// Replace writes a file, which is either whole or as before whatever happens.
func Replace(path string, data []byte) error {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("%s: %w; is the folder there, and may it be written to?", filepath.Base(path), err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		os.Remove(path + ".new")
		return fmt.Errorf("%s: %w; is the disk full?", filepath.Base(path), err)
	}
	return os.Rename(path+".new", path)
}
