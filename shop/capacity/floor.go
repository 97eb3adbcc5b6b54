package capacity

// Where a job is when it is at no operation.
const (
	notHere int32 = -1
	gone    int32 = -2
)

// Floor is a view of a replication at one instant, for whoever gives dates while it is played. It is good until the
// call it was given to returns.
type Floor struct{ w *world }

// Standing is where one job in the shop is.
type Standing struct {
	Job, Op  int    // indices into the load and into the job's operations
	Begun    int64  // start of the run, which may lie ahead while hands set it up; 0: it waits to begin
	Resource string // that holds it, empty while it waits or needs none
	Over     bool   // the run has ended; it holds its resource until unloaded
}

// Now is the instant.
func (f Floor) Now() int64 { return f.w.t }

// End is when a job was done; 0 while it is not.
func (f Floor) End(job int) int64 {
	if f.w.at[job] != gone {
		return 0
	}
	return f.w.jobEnd[job]
}

// Standing says where a job is; false before it came and after it is done. O(1).
func (f Floor) Standing(job int) (Standing, bool) {
	w := f.w
	o := w.at[job]
	if o < 0 {
		return Standing{}, false
	}
	st := Standing{Job: job, Op: int(o - w.m.jobs[job].first), Begun: w.begun[o]}
	if st.Begun == 0 {
		return st, true
	}
	if s := w.opSlot[o]; s >= 0 {
		st.Resource = w.m.res[w.m.slots[s].res].ID
		st.Over = w.ran[o]
	} else if s < -1 {
		st.Resource, st.Over = w.m.res[w.m.slots[-2-s].res].ID, true
	}
	return st, true
}

// Loaded is the family in the first unit of each resource that has one loaded.
func (f Floor) Loaded() map[string]string {
	out := map[string]string{}
	for s, st := range f.w.slots {
		id := f.w.m.res[f.w.m.slots[s].res].ID
		if _, seen := out[id]; !seen && st.loaded >= 0 {
			out[id] = f.w.m.families.list[st.loaded]
		}
	}
	return out
}
