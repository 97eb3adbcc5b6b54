package firstoff

import (
	"bufio"
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// outside are the standard packages that belong to the outside world; rooms below floor 50 do without them.
var outside = []string{"os", "net", "net/", "database/sql", "html/template", "log", "log/", "math/rand"}

// allowed are the exceptions, each with its reason.
var allowed = map[string]string{
	"checks os":            "finds test data on disk; tests only",
	"intake/cad os":        "hosts the CAD kernel in a child process",
	"intake/cad os/exec":   "hosts the CAD kernel in a child process",
	"intake/cad os/signal": "hosts the CAD kernel in a child process",
}

// foreign are the third-party modules a room below floor 50 may import; each has a decision record.
var foreign = []string{"github.com/goccy/go-yaml", "gonum.org/v1/gonum", "github.com/tetratelabs/wazero", "golang.org/x/text", "golang.org/x/sys"}

// TestFloors holds the tree to docs/floors.txt: every package has a line, every line a package, imports go down only, and
// the domain knows no clock, no shared randomness, no web and no database.
func TestFloors(t *testing.T) {
	floors := map[string]int{}
	f, err := os.Open("docs/floors.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	for sc.Scan() {
		line := strings.TrimSpace(sc.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		parts := strings.Fields(line)
		n, err := strconv.Atoi(parts[0])
		if err != nil || len(parts) < 3 {
			t.Errorf("docs/floors.txt: %q is not \"NN package  what it is for\"", line)
			continue
		}
		floors[parts[1]] = n
	}
	seen := map[string]bool{}
	forbidden := map[string]bool{"utils": true, "util": true, "common": true, "models": true, "helpers": true, "manager": true, "misc": true}
	fset := token.NewFileSet()
	filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			t.Fatal(err)
		}
		if d.IsDir() {
			n := d.Name()
			if path != "." && (strings.HasPrefix(n, ".") || n == "node_modules" || n == "testdata" || n == "var" || n == "bin" || n == "tools") {
				return filepath.SkipDir
			}
			if forbidden[n] {
				t.Errorf("%s: a folder may not be called %q; name it for the trade's thing in it", path, n)
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || filepath.Dir(path) == "." {
			return nil
		}
		dir := filepath.ToSlash(filepath.Dir(path))
		room := dir
		room = home(dir, floors)
		floor, ok := floors[room]
		if !ok {
			if !seen[room] {
				t.Errorf("%s has no line in docs/floors.txt", room)
			}
			seen[room] = true
			return nil
		}
		seen[room] = true
		file, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Error(err)
			return nil
		}
		for _, imp := range file.Imports {
			p, _ := strconv.Unquote(imp.Path.Value)
			if rest, own := strings.CutPrefix(p, "firstoff/"); own {
				to := rest
				to = home(to, floors)
				if to == room {
					continue
				}
				tf, ok := floors[to]
				if !ok {
					t.Errorf("%s imports %s, which has no line in docs/floors.txt", path, to)
				} else if tf >= floor {
					t.Errorf("%s (floor %02d) imports %s (floor %02d): imports go down only", path, floor, to, tf)
				}
				continue
			}
			if floor >= 50 {
				continue
			}
			if strings.Contains(strings.Split(p, "/")[0], ".") {
				good := false
				for _, m := range foreign {
					good = good || p == m || strings.HasPrefix(p, m+"/")
				}
				if !good {
					t.Errorf("%s imports %s: below floor 50 a foreign module needs a decision record and a line in floors_test.go", path, p)
				}
				continue
			}
			for _, o := range outside {
				if p != "net/url" && (p == o || strings.HasSuffix(o, "/") && strings.HasPrefix(p, o)) {
					if _, ok := allowed[room+" "+p]; !ok {
						t.Errorf("%s imports %s: that belongs to floor 50 and above", path, p)
					}
				}
			}
		}
		if floor < 50 && room != "intake/cad" && room != "checks" {
			src, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, bad := range []string{"time.Now(", "time.Since(", "rand.Seed("} {
				if strings.Contains(string(src), bad) {
					t.Errorf("%s calls %s): below floor 50 time and seed come in as arguments", path, bad)
				}
			}
		}
		return nil
	})
	var idle []string
	for room := range floors {
		if !seen[room] {
			idle = append(idle, room)
		}
	}
	sort.Strings(idle)
	for _, room := range idle {
		t.Errorf("docs/floors.txt names %s, but there is no such package", room)
	}
	if t.Failed() {
		fmt.Println("How to find a room's floor: docs/architecture.md.")
	}
}

// home is the room a folder belongs to: private parts stand on their room's floor unless several rooms share them
// and they have a line of their own.
func home(dir string, floors map[string]int) string {
	i := strings.Index(dir, "/internal")
	if i < 0 {
		return dir
	}
	if own := dir[:i] + "/internal"; floors[own] > 0 {
		return own
	}
	return dir[:i]
}
