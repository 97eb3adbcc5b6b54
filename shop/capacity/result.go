package capacity

import "sort"

// What a job can wait for.
const (
	ForResource = "resource" // a machine, bath or oven was taken
	ForPeople   = "people"   // hands with the skill were busy
	ForHours    = "hours"    // nobody with the skill, or the resource, was on shift
)

// Wait is time a job spent waiting for one thing, mean over the replications.
type Wait struct {
	Kind    string // ForResource, ForPeople, ForHours
	ID      string // resource or skill
	Seconds float64
}

// Outcome is what became of one job.
type Outcome struct {
	ID    string
	Ends  []int64 // completion in each replication, in order of replication
	Waits []Wait  // longest first
}

// Binding is what the job waited for longest; Kind is empty when it never waited.
func (o Outcome) Binding() Wait {
	if len(o.Waits) == 0 {
		return Wait{}
	}
	return o.Waits[0]
}

// Quantile is the completion not passed in the share q of replications (the smallest such sample).
func (o Outcome) Quantile(q float64) int64 {
	if len(o.Ends) == 0 {
		return 0
	}
	s := append([]int64(nil), o.Ends...)
	sort.Slice(s, func(i, j int) bool { return s[i] < s[j] })
	k := int(q*float64(len(s))+0.999999) - 1
	return s[min(max(k, 0), len(s)-1)]
}

// Usage is how a resource or skill was used, mean over replications.
type Usage struct {
	ID          string
	BusySeconds float64 // taken: changeover, running, waiting to be unloaded
	Served      float64 // operations begun
	WaitSeconds float64 // sum of waits for it
}

// Result of a run.
type Result struct {
	Jobs      []Outcome
	Resources []Usage
	People    []Usage // by person
	// Makespan of each replication: the last completion.
	Makespan []int64
	// Tapes of each replication, when Options.Record was set.
	Tapes []Tape
}
