// Package web holds the page: plain ES modules, styles, the page itself and the page about wiring,
// embedded as they stand. There is no build step; tests are left out.
package web

import (
	"embed"
	"io/fs"
)

//go:embed index.html wiring.html icon.svg css js
var files embed.FS

// Files returns the page's files with index.html at the root, read-only.
func Files() fs.FS { return files }
