package occt

import (
	"errors"
	"regexp"
)

// glue maps between the C names of the interface and the short names the build was minified to.
type glue struct {
	imports map[string]string // short -> C name
	exports map[string]string // C name -> short
}

var (
	importTable = regexp.MustCompile(`wasmImports\s*=\s*\{([^}]*)\}`)
	importPair  = regexp.MustCompile(`["']?([\w$]+)["']?\s*:\s*([\w$]+)`)
	exportPair  = regexp.MustCompile(`([\w$]+)=(?:Module\["[^"]*"\]=)?wasmExports\["([^"]+)"\]`)
)

// readGlue finds both tables in the loader script.
func readGlue(script []byte) (*glue, error) {
	g := &glue{map[string]string{}, map[string]string{}}
	t := importTable.FindSubmatch(script)
	if t == nil {
		return nil, errors.New("occt: the loader script has no table of imports")
	}
	for _, p := range importPair.FindAllSubmatch(t[1], -1) {
		g.imports[string(p[1])] = string(p[2])
	}
	for _, p := range exportPair.FindAllSubmatch(script, -1) {
		g.exports[string(p[1])] = string(p[2])
	}
	for _, need := range []string{"_malloc", "_free", "___wasm_call_ctors"} {
		if g.exports[need] == "" {
			return nil, errors.New("occt: the loader script does not name the export " + need)
		}
	}
	return g, nil
}

// short is the short name of an imported C function, or "".
func (g *glue) short(cname string) string {
	for s, c := range g.imports {
		if c == cname {
			return s
		}
	}
	return ""
}
