package web

import (
	"io/fs"
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
		name = strings.ReplaceAll(name, "__", "/")
		first, _, _ := strings.Cut(strings.TrimSpace(string(b)), "\n")
		out = append(out, notice{Name: name, Licence: first, Text: string(b)})
	}
	return out
}
