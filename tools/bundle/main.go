// Command bundle makes what the pages and papers are served with: scripts and styles from web/assets into
// web/static/dist, and the typeface beside them and into paper/fonts. It runs esbuild from Go; Node is needed only to
// fetch node_modules.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/evanw/esbuild/pkg/api"
)

// fonts maps the packages' files to our names.
var fonts = map[string]string{
	"@expo-google-fonts/atkinson-hyperlegible/400Regular/AtkinsonHyperlegible_400Regular.ttf":               "text.ttf",
	"@expo-google-fonts/atkinson-hyperlegible/700Bold/AtkinsonHyperlegible_700Bold.ttf":                     "text-bold.ttf",
	"@expo-google-fonts/atkinson-hyperlegible/400Regular_Italic/AtkinsonHyperlegible_400Regular_Italic.ttf": "text-italic.ttf",
	"@expo-google-fonts/atkinson-hyperlegible-mono/400Regular/AtkinsonHyperlegibleMono_400Regular.ttf":      "mono.ttf",
}

// licences maps the terms of what is bundled to the names under which the notices page shows them.
var licences = map[string]string{
	"three/LICENSE":    "three (model viewer)",
	"htmx.org/LICENSE": "htmx",
	"@expo-google-fonts/atkinson-hyperlegible/LICENSE_FONT": "Atkinson Hyperlegible (typeface)",
	"occt-import-js/dist/license.occt-import-js.txt":        "occt-import-js (CAD kernel, WebAssembly)",
	"occt-import-js/dist/license.occt.txt":                  "Open CASCADE Technology (inside the CAD kernel)",
}

const (
	dist  = "web/static/dist"
	paper = "paper/fonts"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "bundle:", err)
		os.Exit(1)
	}
}

func run() error {
	if err := os.MkdirAll(filepath.Join(dist, "fonts"), 0o755); err != nil {
		return err
	}
	for from, to := range fonts {
		b, err := os.ReadFile(filepath.Join("node_modules", from))
		if err != nil {
			return fmt.Errorf("%w; run npm ci first", err)
		}
		for _, p := range []string{filepath.Join(dist, "fonts", to), filepath.Join(paper, to)} {
			if err := os.WriteFile(p, b, 0o644); err != nil {
				return err
			}
		}
	}
	if err := os.MkdirAll(filepath.Join(dist, "licences"), 0o755); err != nil {
		return err
	}
	for from, to := range licences {
		b, err := os.ReadFile(filepath.Join("node_modules", from))
		if err != nil {
			return fmt.Errorf("%w; run npm ci first", err)
		}
		if err := os.WriteFile(filepath.Join(dist, "licences", to+".txt"), b, 0o644); err != nil {
			return err
		}
	}
	entries, err := filepath.Glob("web/assets/*.entry.ts")
	if err != nil {
		return err
	}
	entries = append(entries, "web/assets/desk.css")
	r := api.Build(api.BuildOptions{
		EntryPoints: entries, Outdir: dist, Bundle: true, Write: true, Splitting: true, Format: api.FormatESModule,
		MinifySyntax: true, MinifyWhitespace: true, MinifyIdentifiers: true, Target: api.ES2022, LegalComments: api.LegalCommentsLinked,
		External: []string{"/static/*"}, LogLevel: api.LogLevelWarning, EntryNames: "[name]", ChunkNames: "chunk-[hash]",
	})
	if len(r.Errors) > 0 {
		return fmt.Errorf("%d errors in web/assets", len(r.Errors))
	}
	for _, f := range r.OutputFiles {
		fmt.Printf("%s %d\n", filepath.Base(f.Path), len(f.Contents))
	}
	return nil
}
