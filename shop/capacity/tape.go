package capacity

// Span is a stretch during which a unit of a resource, or a person, was taken. Family is what a resource had loaded for it.
type Span struct {
	From, To int64
	Family   string
	Detail   *Detail // whose work it was; nil unless Options.Detail was set
}

// What a person was taken for.
const (
	Starting  = "starting"  // hands before an unattended run, a changeover included
	Unloading = "unloading" // hands after it
	Attending = "attending" // person and resource together
	HandWork  = "hand work" // no resource
)

// Detail says whose work a span was. In a batch it names the operation that came out last.
type Detail struct {
	Job, Op string
	Task    string // people: Starting, Unloading, Attending or HandWork
	// Change is the changeover at the beginning of a resource's span, s of hands.
	Change int64
	// A resource's span holds its run from Run to Over; before it is set-up, after it the wait for unloading and that itself.
	Run, Over int64
}

// Taken is what happened to one unit of a resource or to one person in one replication: spans in order of start.
type Taken struct {
	ID    string // resource or person
	Unit  int    // which of the like units, from 0; 0 for people
	Spans []Span
}

// Tape is one replication written down: who and what was taken when. Later work can be inserted into it
// without playing the load again (see desk/promise).
type Tape struct {
	Resources []Taken // limited resources only, one entry a unit
	People    []Taken
}

// recorder writes a tape while a world plays.
type recorder struct {
	resources [][]Span // by slot
	people    [][]Span
	runs      []run // by slot, the span that is open; nil without detail
	opNames   []string
}

// run is what is known of an open span of a slot.
type run struct{ change, run, over int64 }

func newRecorder(m *model, load Load) *recorder {
	r := &recorder{resources: make([][]Span, len(m.slots)), people: make([][]Span, len(m.people))}
	if m.opt.Detail {
		r.runs = make([]run, len(m.slots))
		for _, j := range load.Jobs {
			for _, o := range j.Ops {
				r.opNames = append(r.opNames, o.ID)
			}
		}
	}
	return r
}

// begun notes the changeover before a run and when the run itself begins.
func (r *recorder) begun(s int32, change, at int64) {
	if r.runs != nil {
		r.runs[s] = run{change: change, run: at}
	}
}

// ended notes that the run itself is over; unloading may follow.
func (r *recorder) ended(s int32, at int64) {
	if r.runs != nil {
		r.runs[s].over = at
	}
}

func (r *recorder) detail(m *model, o int32) *Detail {
	return &Detail{Job: m.jobIDs[m.ops[o].job], Op: r.opNames[o]}
}

func (r *recorder) clear() {
	for i := range r.resources {
		r.resources[i] = nil
	}
	for i := range r.people {
		r.people[i] = nil
	}
}

func (r *recorder) slot(m *model, s, o int32, from, to int64, loaded int32) {
	family := ""
	if loaded >= 0 {
		family = m.families.list[loaded]
	}
	sp := Span{From: from, To: to, Family: family}
	if r.runs != nil {
		sp.Detail = r.detail(m, o)
		sp.Detail.Change, sp.Detail.Run, sp.Detail.Over = r.runs[s].change, r.runs[s].run, r.runs[s].over
	}
	r.resources[s] = append(r.resources[s], sp)
}

func (r *recorder) person(m *model, p, o int32, from, to int64, task string) {
	sp := Span{From: from, To: to}
	if r.runs != nil {
		sp.Detail = r.detail(m, o)
		sp.Detail.Task = task
	}
	r.people[p] = append(r.people[p], sp)
}

// tape hands over what was written in this replication.
func (r *recorder) tape(m *model) Tape {
	var t Tape
	unit := map[int32]int{}
	for i, sp := range r.resources {
		s := &m.slots[i]
		u := unit[s.res]
		unit[s.res]++
		if s.endless {
			continue
		}
		t.Resources = append(t.Resources, Taken{ID: m.res[s.res].ID, Unit: u, Spans: sp})
	}
	for i, sp := range r.people {
		t.People = append(t.People, Taken{ID: m.staff[i].ID, Spans: sp})
	}
	r.clear()
	return t
}
