package schedule

// instance is a Problem in numbers: operations of job j are first[j] to first[j+1]-1; times count from base.
type instance struct {
	p     *Problem
	base  int64
	n     int // operations
	jobs  int
	mach  int
	job   []int32
	first []int32

	// Alternatives of operation i are altAt[i] to altAt[i+1]-1.
	altAt   []int32
	altM    []int32
	altP    []int32
	release []int32   // by job
	due     []int64   // by job, from base; noDue without
	weight  []float64 // by job

	setups []table // by machine; nil where there are none
	flex   bool    // some operation has a choice
	hasSet bool
	hasCal bool
}

const noDue = int64(1) << 60

// table is the setup table of one machine with one more row and column of zeros for unlisted families.
type table struct {
	k   int32
	of  []int32 // operation → row
	s   []int32
	max int32
}

func (t *table) at(a, b int32) int32 { return t.s[t.of[a]*t.k+t.of[b]] }

// setup on machine m between a and b, real operations.
func (in *instance) setup(m, a, b int32) int32 {
	if !in.hasSet || in.setups[m].s == nil {
		return 0
	}
	return in.setups[m].at(a, b)
}

func newInstance(p *Problem) *instance {
	in := &instance{p: p, jobs: len(p.Jobs), mach: len(p.Machines), base: p.Jobs[0].ReleaseS}
	for _, j := range p.Jobs {
		in.base = min(in.base, j.ReleaseS)
	}
	machine := map[string]int32{}
	for i, m := range p.Machines {
		machine[m.ID] = int32(i)
		if len(m.Calendar) > 0 {
			in.hasCal = true
		}
	}
	in.first = append(in.first, 0)
	in.altAt = append(in.altAt, 0)
	for ji, j := range p.Jobs {
		for _, o := range j.Operations {
			in.job = append(in.job, int32(ji))
			for _, a := range o.Alternatives {
				in.altM = append(in.altM, machine[a.Machine])
				in.altP = append(in.altP, int32(a.DurationS))
			}
			in.altAt = append(in.altAt, int32(len(in.altM)))
			if len(o.Alternatives) > 1 {
				in.flex = true
			}
		}
		in.first = append(in.first, int32(len(in.job)))
		in.release = append(in.release, int32(j.ReleaseS-in.base))
		d, w := noDue, 1.0
		if j.DueS != nil {
			d = *j.DueS - in.base
		}
		if j.Weight != nil {
			w = *j.Weight
		}
		in.due = append(in.due, d)
		in.weight = append(in.weight, w)
	}
	in.n = len(in.job)
	in.setups = make([]table, in.mach)
	for _, s := range p.Setups {
		t := table{k: int32(len(s.Families)) + 1, of: make([]int32, in.n)}
		row := map[string]int32{}
		for i, f := range s.Families {
			row[f] = int32(i)
		}
		t.s = make([]int32, t.k*t.k)
		for a, r := range s.MatrixS {
			for b, x := range r {
				t.s[int32(a)*t.k+int32(b)] = int32(x)
				t.max = max(t.max, int32(x))
			}
		}
		i := 0
		for _, j := range p.Jobs {
			for _, o := range j.Operations {
				r, ok := row[o.Family]
				if !ok {
					r = t.k - 1
				}
				t.of[i] = r
				i++
			}
		}
		if t.max > 0 {
			in.setups[machine[s.Machine]] = t
			in.hasSet = true
		}
	}
	return in
}

// duration of operation i on machine m; -1 if it cannot go there.
func (in *instance) duration(i, m int32) int32 {
	for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
		if in.altM[a] == m {
			return in.altP[a]
		}
	}
	return -1
}

// shortest duration of operation i over its alternatives.
func (in *instance) shortest(i int32) int32 {
	s := in.altP[in.altAt[i]]
	for a := in.altAt[i] + 1; a < in.altAt[i+1]; a++ {
		s = min(s, in.altP[a])
	}
	return s
}

// plan is an answer in numbers: an order of all operations that respects jobs and machines, and their machines. It is
// enough to rebuild everything else.
type plan struct {
	order []int32
	mach  []int32
	value float64
}

func (s *plan) clone() *plan {
	return &plan{append([]int32(nil), s.order...), append([]int32(nil), s.mach...), s.value}
}

// chance is a small random source (xorshift128+, Vigna 2014) seeded through splitmix64.
type chance struct{ a, b uint64 }

func newChance(seed uint64) *chance {
	step := func() uint64 {
		seed += 0x9e3779b97f4a7c15
		x := seed
		x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
		x = (x ^ x>>27) * 0x94d049bb133111eb
		return x ^ x>>31
	}
	return &chance{step(), step() | 1}
}

func (c *chance) next() uint64 {
	x, y := c.a, c.b
	c.a = y
	x ^= x << 23
	c.b = x ^ y ^ x>>17 ^ y>>26
	return c.b + y
}

// below is uniform in 0..n-1.
func (c *chance) below(n int) int { return int((c.next() >> 32) * uint64(n) >> 32) }

// unit is uniform in [0, 1).
func (c *chance) unit() float64 { return float64(c.next()>>11) / (1 << 53) }
