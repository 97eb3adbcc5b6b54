// Command testrun runs "go test" with the arguments after "--", shows failures in full and passing packages in a
// line, names every test left out, and closes with "N passed, N failed, N skipped". Under CI a test left out is a failure.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"sort"
	"strings"
)

type event struct {
	Action, Package, Test, Output, ImportPath string
	Elapsed                                   float64
}

func main() {
	args := os.Args[1:]
	if len(args) > 0 && args[0] == "--" {
		args = args[1:]
	}
	cmd := exec.Command("go", append([]string{"test", "-json"}, args...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "testrun:", err)
		os.Exit(2)
	}
	var passed, failed, skipped int
	output := map[string][]string{}
	var left []string
	slow := map[string]float64{}
	sc := bufio.NewScanner(out)
	sc.Buffer(make([]byte, 1<<20), 64<<20)
	for sc.Scan() {
		var e event
		if json.Unmarshal(sc.Bytes(), &e) != nil {
			fmt.Println(sc.Text())
			continue
		}
		key := e.Package + " " + e.Test
		switch e.Action {
		case "build-output":
			fmt.Print(e.Output)
		case "output":
			output[key] = append(output[key], e.Output)
		case "pass", "fail", "skip":
			if e.Test == "" {
				if e.Action == "fail" {
					failedPackage(e, output[key])
					unfinished(output, e.Package)
				} else if e.Action == "pass" {
					fmt.Printf("ok   %-40s %6.1f s\n", e.Package, e.Elapsed)
				}
				delete(output, key)
				continue
			}
			switch e.Action {
			case "pass":
				passed++
				if e.Elapsed > 5 {
					slow[key] = e.Elapsed
				}
			case "fail":
				failed++
				fmt.Printf("FAIL %s\n%s", key, strings.Join(output[key], ""))
			case "skip":
				skipped++
				left = append(left, key+": "+reason(output[key]))
			}
			delete(output, key)
		}
	}
	err = cmd.Wait()
	type row struct {
		k string
		s float64
	}
	var rows []row
	for k, s := range slow {
		rows = append(rows, row{k, s})
	}
	sort.Slice(rows, func(i, j int) bool { return rows[i].s > rows[j].s })
	for i, r := range rows {
		if i == 12 {
			break
		}
		fmt.Printf("slow %6.1f s  %s\n", r.s, r.k)
	}
	for _, l := range left {
		fmt.Println("LEFT OUT", l)
	}
	if err != nil && failed == 0 {
		failed = 1
	}
	if skipped > 0 && os.Getenv("CI") != "" {
		fmt.Println("Under CI no test may be left out.")
	}
	fmt.Printf("%d passed, %d failed, %d skipped\n", passed, failed, skipped)
	if failed > 0 || err != nil || passed == 0 || skipped > 0 && os.Getenv("CI") != "" {
		os.Exit(1)
	}
}

func failedPackage(e event, lines []string) {
	fmt.Printf("FAIL %s %.1f s\n%s", e.Package, e.Elapsed, strings.Join(lines, ""))
}

// unfinished shows the tests of a package that never ended, as after a panic or a deadline.
func unfinished(output map[string][]string, pkg string) {
	for k, lines := range output {
		if strings.HasPrefix(k, pkg+" ") && k != pkg+" " {
			fmt.Printf("UNFINISHED %s\n%s", k, strings.Join(lines, ""))
		}
	}
}

func reason(lines []string) string {
	for _, l := range lines {
		if i := strings.Index(l, ".go:"); i >= 0 {
			if j := strings.Index(l[i:], ": "); j >= 0 {
				return strings.TrimSpace(l[i+j+2:])
			}
		}
	}
	return "no reason given"
}
