package chamber

import (
	"math"
	"sync"
	"sync/atomic"
)

// Kind is a body in the poses it may take: every one of Bodies (the same part turned freely and made into cells again) in every one
// of Poses.
type Kind struct {
	Bodies []*Bits
	Poses  []Pose // none means unturned
}

// posed is a kind in one pose.
type posed struct {
	kind, body int // body counts over all kinds
	pose       Pose
	b          *Bits
	size       [3]int
}

// table holds the fits of all posed kinds, made when first asked for.
type table struct {
	bodies []*Bits
	of     []int // per body: its number within its kind
	posed  []posed
	first  []int // per kind: its first posed
	count  []int // per kind
	gap    float64
	pad    int
	cells  []int
	pairs  []atomic.Pointer[pair]
	mu     sync.Mutex
	fits   map[fitKey]*fit
}

type fitKey struct {
	moving, lying int
	pose          Pose // of moving when lying is unturned
}

// pair answers for one posed body moving against another lying.
type pair struct {
	f      *fit
	turn   Pose // takes displacements into the fit's frame
	plain  bool // turn does nothing
	mirror bool // the fit has the roles swapped
	dims   [3]int
	fdims  [3]int
	scale  float32
}

func newTable(kinds []Kind, gap float64) *table {
	t := &table{gap: gap, fits: map[fitKey]*fit{}}
	for k, kd := range kinds {
		t.first = append(t.first, len(t.posed))
		t.cells = append(t.cells, kd.Bodies[0].Count())
		poses := kd.Poses
		if len(poses) == 0 {
			poses = Poses[:1]
		}
		for n, body := range kd.Bodies {
			for _, p := range poses {
				b := p.Turn(body)
				same := false
				for _, q := range t.posed[t.first[k]:] {
					same = same || q.b.Equal(b)
				}
				if !same {
					t.posed = append(t.posed, posed{k, len(t.bodies), p, b, [3]int{b.NX, b.NY, b.NZ}})
				}
			}
			t.bodies, t.of = append(t.bodies, body), append(t.of, n)
		}
		t.count = append(t.count, len(t.posed)-t.first[k])
	}
	if gap > 0 {
		t.pad = int(math.Ceil(gap - 1e-9))
	}
	t.pairs = make([]atomic.Pointer[pair], len(t.posed)*len(t.posed))
	return t
}

// pair is the answerer for posed body moving against posed body lying.
func (t *table) pair(moving, lying int32) *pair {
	at := &t.pairs[int(moving)*len(t.posed)+int(lying)]
	if p := at.Load(); p != nil {
		return p
	}
	m, l := &t.posed[moving], &t.posed[lying]
	p := &pair{}
	a, b := m, l // the fit's moving and lying
	if m.body > l.body {
		a, b = l, m
		p.mirror = true
	}
	p.turn = b.pose.inverse()
	p.plain = p.turn == Poses[0]
	key := fitKey{a.body, b.body, p.turn.times(a.pose)}
	fm, fl := key.pose.Turn(t.bodies[a.body]), t.bodies[b.body]
	p.fdims = [3]int{fl.NX - fm.NX, fl.NY - fm.NY, fl.NZ - fm.NZ}
	for i := range 3 {
		p.dims[i] = b.size[i] - a.size[i]
	}
	t.mu.Lock()
	f := t.fits[key]
	t.mu.Unlock()
	if f == nil {
		grown, shift := fl.Grow(t.gap)
		f = newFit(fm, grown)
		f.lox, f.loy, f.loz = f.lox-shift, f.loy-shift, f.loz-shift
		t.mu.Lock()
		if have := t.fits[key]; have != nil {
			f = have
		} else {
			t.fits[key] = f
		}
		t.mu.Unlock()
	}
	p.f = f
	least := min(t.cells[m.kind], t.cells[l.kind])
	p.scale = float32(math.Sqrt(float64(least))) // by trial
	at.Store(p)
	return p
}

// at is the overlap of the moving body with its corner at displacement (x, y, z) from the lying one's.
func (p *pair) at(x, y, z int) float32 {
	if p.mirror {
		x, y, z = -x, -y, -z
	}
	if !p.plain {
		// displacements of middles, doubled, turn without remainder
		v := p.turn.vec([3]int{2*x - p.dims[0], 2*y - p.dims[1], 2*z - p.dims[2]})
		x, y, z = (v[0]+p.fdims[0])/2, (v[1]+p.fdims[1])/2, (v[2]+p.fdims[2])/2
	}
	d := p.f.at(x, y, z)
	if d == 0 {
		return 0
	}
	return float32(d) * p.scale
}
