package schedule

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"firstoff/checks"
	"firstoff/shop/capacity"
)

// oven scheduling instances, in their own words.
type osp struct {
	Name          string  `json:"name"`
	Attributes    int     `json:"attributes"`
	SetupCosts    [][]int `json:"setup_costs"`
	SetupTimes    [][]int `json:"setup_times"`
	Machines      int     `json:"machines"`
	MaxCap        []int   `json:"max_cap"`
	InitState     []int   `json:"init_state"`
	ShiftStart    [][]int `json:"shift_start"`
	ShiftEnd      [][]int `json:"shift_end"`
	Jobs          int     `json:"jobs"`
	Eligible      [][]int `json:"eligible"`
	EarliestStart []int   `json:"earliest_start"`
	LatestEnd     []int   `json:"latest_end"`
	MinTime       []int   `json:"min_time"`
	MaxTime       []int   `json:"max_time"`
	Size          []int   `json:"size"`
	Attribute     []int   `json:"attribute"`
	Upper         int     `json:"upper_bound_integer_objective"`
	RunFactor     int     `json:"mult_factor_total_runtime"`
	LateFactor    int     `json:"mult_factor_finished_toolate"`
	SetupTimeF    int     `json:"mult_factor_total_setuptimes"`
	SetupCostF    int     `json:"mult_factor_total_setupcosts"`
}

func (o *osp) runs() *Runs {
	r := &Runs{Families: o.Attributes, RunCost: float64(o.RunFactor), LateCost: float64(o.LateFactor), SetupRate: float64(o.SetupTimeF)}
	// Their first row is for a machine in no state; ours is the last.
	for a := range o.Attributes + 1 {
		from := a + 1
		if a == o.Attributes {
			from = 0
		}
		var t []int64
		var c []float64
		for b := range o.Attributes {
			t = append(t, int64(o.SetupTimes[from][b]))
			c = append(c, float64(o.SetupCosts[from][b]*o.SetupCostF))
		}
		r.SetupS, r.SetupCost = append(r.SetupS, t), append(r.SetupCost, c)
	}
	for m := range o.Machines {
		x := RunMachine{ID: fmt.Sprint(m + 1), Size: float64(o.MaxCap[m]), Loaded: o.InitState[m] - 1}
		if x.Loaded < 0 {
			x.Loaded = o.Attributes
		}
		for k := range o.ShiftStart[m] {
			s, e := int64(o.ShiftStart[m][k]), int64(o.ShiftEnd[m][k])
			if e <= s {
				continue
			}
			x.Open = append(x.Open, capacity.Interval{Start: s, End: e})
		}
		r.Machines = append(r.Machines, x)
	}
	for j := range o.Jobs {
		p := Piece{ID: fmt.Sprint(j + 1), Family: o.Attribute[j] - 1, Release: int64(o.EarliestStart[j]), Due: int64(o.LatestEnd[j]), Weight: 1, MaxS: int64(o.MaxTime[j])}
		for _, m := range o.Eligible[j] {
			p.On = append(p.On, PieceOn{Machine: m - 1, Size: float64(o.Size[j]), HighS: int64(o.MinTime[j])})
		}
		r.Pieces = append(r.Pieces, p)
	}
	return r
}

// judge prices a plan from the instance alone, and says whether it is allowed.
func (o *osp) judge(p *RunPlan) (float64, error) {
	seen := make([]bool, o.Jobs)
	cost := 0
	last := make([]int, o.Machines)
	state := append([]int(nil), o.InitState...)
	for k, r := range p.Runs {
		m := r.Machine
		size, least, most, family := 0, 0, math.MaxInt, 0
		late := 0
		for _, j := range r.Pieces {
			if seen[j] {
				return 0, fmt.Errorf("job %d runs twice", j+1)
			}
			seen[j] = true
			ok := false
			for _, e := range o.Eligible[j] {
				ok = ok || e == m+1
			}
			if !ok || family != 0 && family != o.Attribute[j] || int(r.Start) < o.EarliestStart[j] {
				return 0, fmt.Errorf("job %d may not be in run %d", j+1, k)
			}
			family = o.Attribute[j]
			size += o.Size[j]
			least, most = max(least, o.MinTime[j]), min(most, o.MaxTime[j])
			if int(r.End) > o.LatestEnd[j] {
				late++
			}
		}
		d := int(r.End - r.Start)
		setup := o.SetupTimes[state[m]][family-1]
		if size > o.MaxCap[m] || d < least || d > most || int(r.Start) < last[m]+setup {
			return 0, fmt.Errorf("run %d is too full, of a wrong length or too early", k)
		}
		inside := false
		for s := range o.ShiftStart[m] {
			inside = inside || int(r.Start)-setup >= o.ShiftStart[m][s] && int(r.End) <= o.ShiftEnd[m][s]
		}
		if !inside {
			return 0, fmt.Errorf("run %d lies in no shift", k)
		}
		cost += d*o.RunFactor + late*o.LateFactor + setup*o.SetupTimeF + o.SetupCosts[state[m]][family-1]*o.SetupCostF
		last[m], state[m] = int(r.End), family
	}
	for j, x := range seen {
		if !x {
			return 0, fmt.Errorf("job %d never runs", j+1)
		}
	}
	return float64(cost), nil
}

func readOSP(t testing.TB, set string) []osp {
	t.Helper()
	f, err := os.Open(checks.Path(t, "opt/raw/osp/"+set+".jsonl.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	sc := bufio.NewScanner(z)
	sc.Buffer(nil, 64<<20)
	var all []osp
	for sc.Scan() {
		var o osp
		if err := json.Unmarshal(sc.Bytes(), &o); err != nil {
			t.Fatal(err)
		}
		all = append(all, o)
	}
	return all
}

// Oven scheduling instances of the group that named the problem (Constraints 28, 2023; source and best known values: SOURCES.md
// beside the data). Every plan is priced by a reader of its own. FIRSTOFF_SLOW=1 runs all 240, OSP_ROUNDS sets the rounds.
func TestOvenScheduling(t *testing.T) {
	f, err := os.Open(checks.Path(t, "opt/raw/osp/best_known.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(f).ReadAll()
	f.Close()
	if err != nil {
		t.Fatal(err)
	}
	best := map[string]float64{}
	for _, r := range rows[1:] {
		if x, err := strconv.ParseFloat(r[5], 64); err == nil {
			best[r[0]] = x
		}
	}
	every, rounds := 11, 4
	if os.Getenv("FIRSTOFF_SLOW") != "" {
		every, rounds = 1, 5
	}
	if x, err := strconv.Atoi(os.Getenv("OSP_ROUNDS")); err == nil {
		rounds = x
	}
	if x, err := strconv.Atoi(os.Getenv("OSP_EVERY")); err == nil {
		every = x
	}
	sum, n, worst, below := 0.0, 0, 0.0, 0
	for _, set := range []string{"uc1", "uc2", "uc3"} {
		sum0, n0, worst0 := sum, n, 0.0
		for k, o := range readOSP(t, set) {
			if k%every != 0 || every > 1 && o.Jobs > 100 && os.Getenv("OSP_EVERY") == "" {
				continue
			}
			p, err := Gather(context.Background(), o.runs(), Options{Rounds: rounds, Seed: 1, Threads: 2})
			if err != nil {
				t.Fatal(err)
			}
			c, err := o.judge(p)
			if err != nil {
				t.Errorf("%s: %v (%d runs without a time)", o.Name, err, p.Infeasible)
				continue
			}
			if math.Abs(c-p.Cost) > 1e-3 {
				t.Errorf("%s: costs %v, reported %v", o.Name, c, p.Cost)
			}
			b := best[o.Name]
			gap := 100 * (c/float64(o.Upper)/b - 1)
			sum, worst, worst0 = sum+gap, max(worst, gap), max(worst0, gap)
			n++
			if gap < -1e-4 {
				below++
			}
			t.Logf("%s  %3d jobs %d machines  %.6f  best known %.6f  %+.2f %%", o.Name, o.Jobs, o.Machines, c/float64(o.Upper), b, gap)
		}
		t.Logf("%s: %d instances, mean gap %.2f %%, worst %.2f %%", set, n-n0, (sum-sum0)/float64(max(1, n-n0)), worst0)
	}
	t.Logf("mean gap %.2f %%, worst %.2f %%, %d of %d below the best known", sum/float64(n), worst, below, n)
	if sum/float64(n) > 1.5 {
		t.Errorf("mean gap %.2f %% is above 1.5", sum/float64(n))
	}
}
