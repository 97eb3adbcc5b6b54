package web

import (
	"io/fs"
	"runtime/debug"
	"sort"
	"strings"

	"firstoff/web/static"
)

// notice is a work of others that this program contains, with its terms.
type notice struct{ Name, Licence, Text string }

// notices are read from the licence texts that tools/bundle copies beside the pages' files, and from the list of Go modules.
func notices() []notice {
	var out []notice
	files, _ := fs.Glob(static.Files(), "licences/*.txt")
	sort.Strings(files)
	for _, n := range files {
		b, err := fs.ReadFile(static.Files(), n)
		if err != nil {
			continue
		}
		name := strings.TrimSuffix(strings.TrimPrefix(n, "licences/"), ".txt")
		first, _, _ := strings.Cut(strings.TrimSpace(string(b)), "\n")
		out = append(out, notice{Name: name, Licence: first, Text: string(b)})
	}
	if info, ok := debug.ReadBuildInfo(); ok && len(info.Deps) > 0 {
		var b strings.Builder
		for _, d := range info.Deps {
			b.WriteString(d.Path + " " + d.Version + "\n")
		}
		out = append(out, notice{Name: "Go modules built in", Licence: "each under its own terms, to be found in the module", Text: b.String()})
	}
	return out
}
