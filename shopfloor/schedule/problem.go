package schedule

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"firstoff/fault"
	"firstoff/shop/capacity"
)

// The objectives of a Problem.
const (
	Makespan          = "makespan"
	WeightedTardiness = "weighted_tardiness"
)

// Limits of what Read accepts; larger problems get a TooLarge fault.
const (
	maxBytes      = 256 << 20
	maxOperations = 200_000
	maxMachines   = 10_000
	maxTable      = 64 << 20  // entries of all setup tables together
	maxHorizon    = 1<<30 - 1 // s: 34 years from the first release to the end of all work done one after the other
)

// Problem is the contract of `firstoff plan --json`. Durations and instants are whole seconds.
type Problem struct {
	Machines  []Machine `json:"machines"`
	Jobs      []Job     `json:"jobs"`
	Setups    []Setup   `json:"setups,omitempty"`
	Objective string    `json:"objective"`
}

// Machine does one operation at a time. With a calendar it works only in the calendar's intervals: work is broken
// off where one ends and taken up where the next begins (setups too).
type Machine struct {
	ID       string            `json:"id"`
	Calendar capacity.Calendar `json:"calendar,omitempty"`
}

// Job is a chain of operations, done in the order given.
type Job struct {
	ID         string      `json:"id"`
	ReleaseS   int64       `json:"release_s"`
	DueS       *int64      `json:"due_s,omitempty"`
	Weight     *float64    `json:"weight,omitempty"` // absent: 1
	Operations []Operation `json:"operations"`
}

// Operation needs one of its alternatives. Family says what must be set up on the machine.
type Operation struct {
	Alternatives []Alternative `json:"alternatives"`
	Family       string        `json:"family,omitempty"`
}

// Alternative is a machine and the time the operation takes on it.
type Alternative struct {
	Machine   string `json:"machine"`
	DurationS int64  `json:"duration_s"`
}

// Setup is the changeover table of a machine: row the family before, column the family after. Before the first operation of
// a machine, and for families not listed, there is none. A setup may run before the job arrives.
type Setup struct {
	Machine  string    `json:"machine"`
	Families []string  `json:"families"`
	MatrixS  [][]int64 `json:"matrix_s"`
}

// Solution is a plan for a Problem.
type Solution struct {
	Operations []Placed `json:"operations"`
	MakespanS  int64    `json:"makespan_s"`
	Objective  float64  `json:"objective"`   // value of the problem's objective
	LowerBound float64  `json:"lower_bound"` // no plan has a smaller objective
	Gap        float64  `json:"gap"`         // how far the objective lies above it, as a share of the objective
	Seconds    float64  `json:"seconds"`     // filled in by whoever holds a clock
	Rounds     int      `json:"-"`           // rounds of improvement done
}

// Placed is an operation on its machine.
type Placed struct {
	Job     string `json:"job"`
	Index   int    `json:"index"`
	Machine string `json:"machine"`
	StartS  int64  `json:"start_s"`
	EndS    int64  `json:"end_s"`
}

// Read reads a Problem from JSON and checks it.
func Read(r io.Reader) (*Problem, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "plan_unreadable", "", "The plan file could not be read.")
	}
	if len(data) > maxBytes {
		return nil, fault.New(fault.TooLarge, "plan_too_large", "", "The plan file is larger than %d MB; split it.", maxBytes>>20)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	p := new(Problem)
	if err := dec.Decode(p); err != nil {
		where := fmt.Sprintf("byte %d", dec.InputOffset())
		var kind *json.UnmarshalTypeError
		if errors.As(err, &kind) {
			return nil, fault.Because(err, fault.Invalid, "plan_json", kind.Field, "A %s stands where a %s is wanted; times are whole seconds.", kind.Value, kind.Type)
		}
		return nil, fault.Because(err, fault.Invalid, "plan_json", where, "This is not a plan problem in JSON (%v).", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fault.New(fault.Invalid, "plan_json", fmt.Sprintf("byte %d", dec.InputOffset()), "Something follows after the problem; one file holds one problem.")
	}
	return p, p.Check()
}

// Check says in one sentence what is wrong with the problem, if anything.
func (p *Problem) Check() error {
	bad := func(code, where, format string, args ...any) error {
		return fault.New(fault.Invalid, code, where, format, args...)
	}
	switch p.Objective {
	case Makespan, WeightedTardiness:
	case "":
		return bad("plan_objective", "objective", "The objective is missing; give \"makespan\" or \"weighted_tardiness\".")
	default:
		return bad("plan_objective", "objective", "The objective %q is unknown; give \"makespan\" or \"weighted_tardiness\".", p.Objective)
	}
	if len(p.Machines) == 0 || len(p.Jobs) == 0 {
		return bad("plan_empty", "", "A plan needs at least one machine and one job.")
	}
	if len(p.Machines) > maxMachines {
		return fault.New(fault.TooLarge, "plan_too_large", "machines", "There are more than %d machines.", maxMachines)
	}
	machines := map[string]bool{}
	for i, m := range p.Machines {
		where := fmt.Sprintf("machines[%d]", i)
		if m.ID == "" || machines[m.ID] {
			return bad("plan_machine", where, "Every machine needs an id of its own; %q is empty or used twice.", m.ID)
		}
		machines[m.ID] = true
		if err := m.Calendar.Check(where); err != nil {
			return err
		}
		for _, iv := range m.Calendar {
			if iv.Start < -1<<60 || iv.End > 1<<60 {
				return bad("plan_range", where, "A working interval is beyond reason.")
			}
		}
	}
	jobs := map[string]bool{}
	operations, horizon := 0, int64(0)
	least, most := int64(1)<<62, int64(-1)<<62
	for i := range p.Jobs {
		j := &p.Jobs[i]
		where := fmt.Sprintf("jobs[%d]", i)
		if j.ID == "" || jobs[j.ID] {
			return bad("plan_job", where, "Every job needs an id of its own; %q is empty or used twice.", j.ID)
		}
		jobs[j.ID] = true
		if len(j.Operations) == 0 {
			return bad("plan_job", where, "Job %q has no operations.", j.ID)
		}
		if j.ReleaseS < -1<<60 || j.ReleaseS > 1<<60 || j.DueS != nil && (*j.DueS < -1<<60 || *j.DueS > 1<<60) {
			return bad("plan_range", where, "Release or due date of job %q is beyond reason.", j.ID)
		}
		if j.Weight != nil && !(*j.Weight >= 0 && *j.Weight <= 1e9) {
			return bad("plan_weight", where, "The weight of job %q must be between 0 and 1e9.", j.ID)
		}
		least, most = min(least, j.ReleaseS), max(most, j.ReleaseS)
		operations += len(j.Operations)
		if operations > maxOperations {
			return fault.New(fault.TooLarge, "plan_too_large", where, "There are more than %d operations; plan a shorter time or fewer jobs.", maxOperations)
		}
		for k, o := range j.Operations {
			where := fmt.Sprintf("%s.operations[%d]", where, k)
			if len(o.Alternatives) == 0 {
				return bad("plan_alternatives", where, "Operation %d of job %q has no machine; give at least one alternative.", k+1, j.ID)
			}
			longest := int64(0)
			for x, a := range o.Alternatives {
				if !machines[a.Machine] {
					return bad("plan_machine", where, "Machine %q is not among the machines.", a.Machine)
				}
				if a.DurationS < 0 || a.DurationS > maxHorizon {
					return bad("plan_duration", where, "The duration on %q must be between 0 and %d s.", a.Machine, maxHorizon)
				}
				for _, b := range o.Alternatives[:x] {
					if a.Machine == b.Machine {
						return bad("plan_alternatives", where, "Machine %q is given twice.", a.Machine)
					}
				}
				longest = max(longest, a.DurationS)
			}
			horizon += longest
		}
	}
	table, longest := 0, int64(0)
	seen := map[string]bool{}
	for i, s := range p.Setups {
		where := fmt.Sprintf("setups[%d]", i)
		if !machines[s.Machine] || seen[s.Machine] {
			return bad("plan_setup", where, "Machine %q is not among the machines or has two setup tables.", s.Machine)
		}
		seen[s.Machine] = true
		families := map[string]bool{}
		for _, f := range s.Families {
			if f == "" || families[f] {
				return bad("plan_setup", where, "Family %q is empty or listed twice.", f)
			}
			families[f] = true
		}
		if len(s.MatrixS) != len(s.Families) {
			return bad("plan_setup", where, "There are %d families but %d rows.", len(s.Families), len(s.MatrixS))
		}
		for r, row := range s.MatrixS {
			if len(row) != len(s.Families) {
				return bad("plan_setup", where, "Row %d has %d entries for %d families.", r+1, len(row), len(s.Families))
			}
			for _, x := range row {
				if x < 0 || x > maxHorizon {
					return bad("plan_setup", where, "Row %d has a setup that is negative or longer than %d s.", r+1, maxHorizon)
				}
				longest = max(longest, x)
			}
		}
		if table += len(s.Families) * len(s.Families); table > maxTable {
			return fault.New(fault.TooLarge, "plan_too_large", where, "The setup tables have more than %d entries.", maxTable)
		}
	}
	horizon += longest * int64(operations)
	if horizon > maxHorizon || most-least > maxHorizon-horizon {
		return fault.New(fault.TooLarge, "plan_horizon", "", "All work done one after the other takes more than %d s (34 years); use a coarser unit.", maxHorizon)
	}
	return nil
}
