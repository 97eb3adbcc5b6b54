// Package static holds what the pages are served with: bundled scripts, styles and the typeface. The files are made by
// tools/bundle and not kept in the repository; a build without them serves plain pages.
package static

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// Files are the bundled files by name.
func Files() fs.FS {
	f, err := fs.Sub(dist, "dist")
	if err != nil {
		panic(err) // the folder is embedded
	}
	return f
}
