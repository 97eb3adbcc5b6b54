package capacity

// Span is a stretch during which a unit of a resource, or a person, was taken. Family is what a resource had loaded for it.
type Span struct {
	From, To int64
	Family   string
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
}

func newRecorder(m *model) *recorder {
	return &recorder{resources: make([][]Span, len(m.slots)), people: make([][]Span, len(m.people))}
}

func (r *recorder) clear() {
	for i := range r.resources {
		r.resources[i] = nil
	}
	for i := range r.people {
		r.people[i] = nil
	}
}

func (r *recorder) slot(m *model, s int32, from, to int64, loaded int32) {
	family := ""
	if loaded >= 0 {
		family = m.families.list[loaded]
	}
	r.resources[s] = append(r.resources[s], Span{from, to, family})
}

func (r *recorder) person(p int32, from, to int64) {
	r.people[p] = append(r.people[p], Span{From: from, To: to})
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
