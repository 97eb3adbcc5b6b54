// Command fetchkernel copies the CAD kernel that npm fetched into the folder it is embedded from.
//
//	npm ci --ignore-scripts && go run ./tools/fetchkernel
//
// It copies only the known build, told by its SHA-256; -any takes another one of the same interface.
// Run it from the top folder of the checkout.
package main

import (
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
)

// The files of occt-import-js 0.0.23.
var files = map[string]string{
	"occt-import-js.wasm":        "33391fc9d94ea5c869a6718488bf0a9a464222bac9bdc764dfe1690cef281952",
	"occt-import-js.js":          "3fb44ce11d00611f9b3f3c5775d520ebab48930c1f08279b7b1316f05f0d3379",
	"license.occt-import-js.txt": "",
	"license.occt.txt":           "",
}

func main() {
	from := flag.String("from", filepath.Join("node_modules", "occt-import-js", "dist"), "folder the kernel is in")
	to := flag.String("to", filepath.Join("intake", "cad", "kernel"), "folder it is embedded from")
	unknown := flag.Bool("any", false, "take a build other than the known one")
	flag.Parse()
	if err := fetch(*from, *to, *unknown); err != nil {
		fmt.Fprintln(os.Stderr, "fetchkernel:", err)
		os.Exit(1)
	}
}

func fetch(from, to string, unknown bool) error {
	for name, want := range files {
		b, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			return fmt.Errorf("%w (run `npm ci --ignore-scripts` first)", err)
		}
		sum := sha256.Sum256(b)
		if got := hex.EncodeToString(sum[:]); want != "" && got != want && !unknown {
			return fmt.Errorf("%s is not the known build (SHA-256 %s); -any takes it all the same", name, got)
		}
		if err := os.WriteFile(filepath.Join(to, name), b, 0o644); err != nil {
			return err
		}
	}
	return nil
}
