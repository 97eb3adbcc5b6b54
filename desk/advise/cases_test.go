package advise

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"firstoff/demo"
	"firstoff/part"

	"github.com/goccy/go-yaml"
)

var rewrite = flag.Bool("rewrite", false, "write the answers into testdata/*.txt; review the diff")

// caseFile is a written case: what is asked as YAML, then a line of dashes, then the answer.
type caseFile struct {
	Why         string           `yaml:"why"` // the rule and its source that justify the answer
	Qty         int              `yaml:"qty"`
	BoxMM       [3]float64       `yaml:"box_mm"`
	VolumeCM3   float64          `yaml:"volume_cm3"`
	WallMM      float64          `yaml:"wall_mm"`
	TrappedCM3  float64          `yaml:"trapped_cm3"`
	Requirement part.Requirement `yaml:"requirement"`
	Top         string           `yaml:"top"`     // what the first route must be: process or process/material, any of several separated by |
	Refused     []string         `yaml:"refused"` // "who material code" that must be among the refusals; * stands for any
}

// TestCases: thirty written cases against the made-up shop. The file says by hand which route must come first and which refusals must be
// among them; the whole answer below is golden and rewritten with -rewrite.
func TestCases(t *testing.T) {
	files, _ := filepath.Glob("testdata/*.txt")
	if len(files) < 30 {
		t.Errorf("%d cases, thirty are wanted", len(files))
	}
	cat := demo.Shop()
	for _, name := range files {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			ask, want, _ := strings.Cut(string(text), "\n----\n")
			var c caseFile
			if err := yaml.UnmarshalWithOptions([]byte(ask), &c, yaml.Strict()); err != nil {
				t.Fatal(err)
			}
			if c.Why == "" || c.Top == "" {
				t.Fatal("a case names why and what must come first")
			}
			f := part.Facts{OrientedMM: c.BoxMM, VolumeMM3: c.VolumeCM3 * 1000, MinWallMM: c.WallMM, TrappedMM3: c.TrappedCM3 * 1000, Closed: true, Bodies: 1}
			f.Max.X, f.Max.Y, f.Max.Z = c.BoxMM[0], c.BoxMM[1], c.BoxMM[2]
			f.AreaMM2 = 2 * (c.BoxMM[0]*c.BoxMM[1] + c.BoxMM[1]*c.BoxMM[2] + c.BoxMM[0]*c.BoxMM[2])
			routes := Answer(Case{Requirement: c.Requirement, Facts: f, Qty: c.Qty}, cat)
			best := Best(routes)
			if c.Top == "none" {
				if len(best) > 0 {
					t.Errorf("%s %s is feasible, none should be", best[0].Who(), best[0].Material.ID)
				}
			} else if len(best) == 0 {
				t.Error("nothing is feasible")
			} else {
				ok := false
				for _, top := range strings.Split(c.Top, "|") {
					p, m, has := strings.Cut(strings.TrimSpace(top), " ")
					ok = ok || best[0].Process.Code == p && (!has || best[0].Material.ID == m)
				}
				if !ok {
					t.Errorf("first is %s %s, want %s", best[0].Process.Code, best[0].Material.ID, c.Top)
				}
			}
			for _, want := range c.Refused {
				w := strings.Fields(want)
				found := false
				for _, r := range routes {
					if r.Refused == nil || len(w) != 3 {
						continue
					}
					found = found || (w[0] == "*" || w[0] == r.Who() || w[0] == r.Process.Code) && (w[1] == "*" || w[1] == r.Material.ID) && w[2] == r.Refused.Code
				}
				if !found {
					t.Errorf("not refused: %s", want)
				}
			}
			got := answerText(routes, best)
			if *rewrite {
				if err := os.WriteFile(name, []byte(ask+"\n----\n"+got), 0o644); err != nil {
					t.Fatal(err)
				}
			} else if got != want {
				t.Errorf("the answer changed; run with -rewrite and review:\n%s", got)
			}
		})
	}
}

// answerText is the answer a person can read: feasible routes best first, then refusals by reason.
func answerText(routes, best []Route) string {
	var b strings.Builder
	for _, r := range best {
		fmt.Fprintf(&b, "%.2f  %s, %s, %s\n", r.Fitness, r.Process.Code, r.Who(), r.Material.ID)
		for _, x := range r.Reasons {
			fmt.Fprintf(&b, "        %.2f %s (%s)\n", x.Factor, x.Text, x.Source)
		}
	}
	type key struct{ code, reason, change string }
	who := map[key][]string{}
	var keys []key
	for _, r := range routes {
		if r.Refused == nil {
			continue
		}
		k := key{r.Refused.Code, r.Refused.Reason, r.Refused.Change}
		if who[k] == nil {
			keys = append(keys, k)
		}
		who[k] = append(who[k], r.Who()+" "+r.Material.ID)
	}
	sort.SliceStable(keys, func(i, j int) bool { return keys[i].code < keys[j].code })
	for _, k := range keys {
		fmt.Fprintf(&b, "no  %s: %s %s\n        %s\n", k.code, k.reason, k.change, strings.Join(who[k], ", "))
	}
	return b.String()
}
