// Package sketch holds the example sketches that a board may be loaded with,
// ready to be handed out. `make` in the folder above compiles them.
package sketch

import "embed"

//go:embed lamp_clip/lamp_clip.ino any_board/any_board.ino
var files embed.FS

// Names lists the sketches.
func Names() []string { return []string{"any_board", "lamp_clip"} }

// Text returns a sketch's text, false when there is none of that name.
func Text(name string) ([]byte, bool) {
	for _, n := range Names() {
		if n == name {
			b, err := files.ReadFile(n + "/" + n + ".ino")
			return b, err == nil
		}
	}
	return nil, false
}
