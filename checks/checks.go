// Package checks finds the outside data that tests are held against. The files themselves are not part
// of this project; where they come from and under which licence stands in the manifests beside them.
// For tests only.
package checks

import (
	"os"
	"path/filepath"
	"testing"
)

// Root is the top folder of this checkout: the one with go.mod, at or above the folder a test was started in.
func Root() string { return root }

var root = func() string {
	at, err := os.Getwd()
	for dir := at; err == nil; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		if dir == filepath.Dir(dir) {
			break
		}
	}
	return at
}()

// Path gives the path of a file or folder of the outside data, e.g. Path(t, "mesh/open").
// The data is looked for in $FIRSTOFF_CHECKS, else beside the checkout. Where it is absent the test is
// left out with one line; under CI it fails instead.
func Path(t testing.TB, rel string) string {
	t.Helper()
	dir := os.Getenv("FIRSTOFF_CHECKS")
	if dir == "" {
		dir = filepath.Join(Root(), "..", "shared", "checks")
	}
	p := filepath.Join(dir, filepath.FromSlash(rel))
	if _, err := os.Stat(p); err != nil {
		Missing(t, "outside data "+rel+" (set FIRSTOFF_CHECKS)")
	}
	return p
}

// Handbook gives the path of one of the trade's tables kept in this project, e.g. "worked_examples.csv".
func Handbook(t testing.TB, name string) string {
	t.Helper()
	return filepath.Join(Root(), "docs", "handbook", "tables", name)
}

// Missing leaves a test out loudly because what is absent here; under CI it fails.
func Missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatalf("not found under CI: %s", what)
	}
	t.Skipf("left out, not found: %s", what)
}
