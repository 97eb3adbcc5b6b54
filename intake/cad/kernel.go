package cad

import (
	"embed"
	"fmt"
	"os"
	"path/filepath"

	"firstoff/fault"
)

// The kernel as fetched: the build, its loader script (for the names of its interface) and both licences.
// Only .gitkeep is in the repository.
//
//go:embed all:kernel
var embedded embed.FS

const (
	wasmFile       = "occt-import-js.wasm"
	scriptFile     = "occt-import-js.js"
	licenceFile    = "license.occt-import-js.txt"
	licenceOCCT    = "license.occt.txt"
	kernelVersion  = "0.0.23"
	kernelPackage  = "occt-import-js"
	kernelUnderlay = "Open CASCADE Technology 7.6"
)

// kernelFiles gives the build and the script, from folder when one is given, else as built in.
func kernelFiles(folder string) (wasm, script []byte, err error) {
	read := func(name string) ([]byte, error) {
		if folder != "" {
			return os.ReadFile(filepath.Join(folder, name))
		}
		return embedded.ReadFile("kernel/" + name)
	}
	if wasm, err = read(wasmFile); err == nil {
		script, err = read(scriptFile)
	}
	if err != nil {
		where := "built in"
		if folder != "" {
			where = folder
		}
		return nil, nil, fault.Because(err, fault.Unsupported, "cad_kernel_missing", "",
			"STEP, IGES and BREP cannot be read: the CAD kernel is missing (%s). Run `npm ci --ignore-scripts`, then `go run ./tools/fetchkernel`, and build again.", where)
	}
	return wasm, script, nil
}

// Available says whether exact files can be read: nil, or a fault "cad_kernel_missing" that says what to do.
func Available() error {
	_, _, err := kernelFiles("")
	return err
}

// Notice is the paragraph for the page of third-party notices, with the licences' full texts when the kernel
// was built in.
func Notice() string {
	s := fmt.Sprintf(`STEP, IGES and BREP files are read by %s %s, which contains %s, compiled to WebAssembly.
Both are licensed under the GNU Lesser General Public License, version 2.1 (%s with the Open CASCADE exception, version 1.0).
The library is a separate file, fetched unchanged from the npm registry; it runs in a process of its own. You may replace it by another build of the same interface: put %s and %s into a folder and name that folder in the settings, or exchange them and build again.
`, kernelPackage, kernelVersion, kernelUnderlay, kernelUnderlay, wasmFile, scriptFile)
	for _, f := range []string{licenceFile, licenceOCCT} {
		if b, err := embedded.ReadFile("kernel/" + f); err == nil {
			s += "\n" + string(b)
		}
	}
	return s
}
