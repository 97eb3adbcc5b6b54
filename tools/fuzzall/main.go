// Command fuzzall finds every fuzz target of the module and runs each for a while, one after the other.
package main

import (
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

func main() {
	dur := flag.String("time", "30s", "how long each target runs")
	flag.Parse()
	target := regexp.MustCompile(`(?m)^func (Fuzz\w+)\(`)
	failed := 0
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (d.Name() == "node_modules" || d.Name() == ".git") {
			if err == nil {
				err = filepath.SkipDir
			}
			return err
		}
		if !strings.HasSuffix(path, "_test.go") {
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, m := range target.FindAllStringSubmatch(string(text), -1) {
			pkg := "./" + filepath.ToSlash(filepath.Dir(path))
			fmt.Printf("== %s %s\n", pkg, m[1])
			c := exec.Command("go", "test", "-run", "^$", "-fuzz", "^"+m[1]+"$", "-fuzztime", *dur, pkg)
			c.Stdout, c.Stderr = os.Stdout, os.Stderr
			if c.Run() != nil {
				failed++
			}
		}
		return nil
	})
	if err != nil || failed > 0 {
		fmt.Fprintln(os.Stderr, failed, "targets failed", err)
		os.Exit(1)
	}
}
