package capacity

// Law is the shape of a duration's spread.
type Law int

const (
	Lognormal   Law = iota // mean and CV as given; CV 0 is exact
	Exponential            // memoryless, CV 1 whatever is given; for checks against queueing theory
)

// Op is one operation of a job.
type Op struct {
	ID       string
	Resource []string  // any one of these; empty: none needed
	Seconds  float64   // mean time on the resource (or of the hand work, or of the wait when nothing is held)
	Each     []float64 // mean time on each of Resource, where they differ; overrides Seconds
	CV       float64   // standard deviation over mean
	Law      Law

	People        string  // skill of the person needed; empty: none
	PeopleSeconds float64 // hands before an unattended run; for hand work without resource the work, when Seconds is 0
	UnloadSeconds float64 // hands after a run before the resource is free
	Unattended    bool    // runs on alone once started

	Family   string  // what must be loaded (material); a change of family costs the resource's changeover
	FailProb float64 // chance that a run fails, somewhere between start and end, and is repeated

	// Planned is the start a plan gave it (0: none); it goes before due dates where Rule is AsPlanned.
	Planned int64
	// RunningOn is the resource on which it is at work now: Seconds is then what is left, and no hands are needed to start.
	RunningOn string
	// NotBefore is the earliest instant at which it may begin, because somebody decided so; 0: none.
	NotBefore int64
}

// Job is a sequence of operations with a date.
type Job struct {
	ID       string
	Ops      []Op
	Release  int64    // not before; 0: now
	Due      int64    // 0: none (waits behind work that has one, as if due 30 days after release)
	Weight   float64  // how much a second late hurts; not used to order work, handed through for measures
	CV       float64  // spread common to all operations of the job: the estimate as a whole is off
	FailProb float64  // chance that the finished job is rejected and made again from RedoFrom (at most three times)
	RedoFrom int      // index of the first operation to repeat
	After    []string // jobs of the load that must be done first; names that are not in the load count as done
}

// Load is the work in hand.
type Load struct {
	Jobs []Job
}

// Change is a changeover between two families.
type Change struct {
	From, To string
	Seconds  float64
}

// Resource is a machine, bath, oven or partner.
type Resource struct {
	ID        string
	Units     int      // like units sharing one queue; 0 is 1
	Unlimited bool     // a partner: never a queue, only its time
	Batch     int      // operations of one family that run together when they start together (oven); 0 is 1
	Calendar  Calendar // when it can run; nil: always

	Family        string   // loaded now
	ChangeSeconds float64  // changeover between different families, unless listed in Changes
	Changes       []Change // particular changeovers

	MTBFSeconds float64 // mean running time between breakdowns; 0: never
	MTTRSeconds float64 // mean repair; work resumes afterwards
}

// Person works at what the skills allow.
type Person struct {
	ID         string
	Skills     []string
	Calendar   Calendar
	AbsentProb float64 // chance of staying away, day by day (UTC day on which an interval of the calendar starts); needs a calendar
}

// Shop is what the load runs on.
type Shop struct {
	Resources []Resource
	People    []Person
}

// Rule is the order in which waiting operations are taken.
type Rule int

const (
	EarliestDue Rule = iota // job's due date
	FirstCome               // moment of becoming ready
	AsPlanned               // Op.Planned, then due date
)

// Options of a run.
type Options struct {
	Seed         uint64
	Replications int // 0 is 1
	Threads      int // 0 is 1; does not change the result
	Rule         Rule
	// Campaign is how many seconds of urgency one second of changeover is worth: at 10, a job of the loaded
	// material may overtake one due up to 10 changeovers earlier. Negative is none; 0 is 10.
	Campaign float64
	// Arrive, where given, is asked for a job's due date at the moment it comes in, with a view of the floor as it then
	// stands; 0 keeps the date the job has. It needs a single replication.
	Arrive func(f Floor, job int) (due int64)
	// Exact leaves out all spread, failures, breakdowns and absence.
	Exact bool
	// Record keeps a Tape of each replication in Result.Tapes.
	Record bool
	// Detail has the tape say of each span whose work it was; worth its memory for one replication, not for many.
	Detail bool
}
