package schedule

import (
	"cmp"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
)

// raster is a platform or a part in cells: rows of words, cell x of a row is bit x. A part takes every cell it touches, so two
// that share none are apart.
type raster struct {
	w, h  int
	row   [][4]uint64
	first []int      // rows, those that block most first
	span  [][][2]int // of each row: where its runs of cells begin, and how long they are
}

func shiftRight(a [4]uint64, k int) (b [4]uint64) {
	word, bit := k>>6, uint(k&63)
	for i := 0; i+word < 4; i++ {
		b[i] = a[i+word] >> bit
		if bit > 0 && i+word+1 < 4 {
			b[i] |= a[i+word+1] << (64 - bit)
		}
	}
	return
}

func shiftLeft(a [4]uint64, k int) (b [4]uint64) {
	word, bit := k>>6, uint(k&63)
	for i := 3; i-word >= 0; i-- {
		b[i] = a[i-word] << bit
		if bit > 0 && i-word-1 >= 0 {
			b[i] |= a[i-word-1] >> (64 - bit)
		}
	}
	return
}

// outline is a footprint: rings, filled by the even-odd rule, with its lower left corner at the origin.
type outline [][][2]float64

func (o outline) turned(quarter int) outline {
	out := make(outline, len(o))
	lx, ly := math.Inf(1), math.Inf(1)
	for i, r := range o {
		for _, p := range r {
			x, y := p[0], p[1]
			for range quarter {
				x, y = -y, x
			}
			lx, ly = math.Min(lx, x), math.Min(ly, y)
			out[i] = append(out[i], [2]float64{x, y})
		}
	}
	for i := range out {
		for k := range out[i] {
			out[i][k][0] -= lx
			out[i][k][1] -= ly
		}
	}
	return out
}

func (o outline) size() (w, h float64) {
	for _, r := range o {
		for _, p := range r {
			w, h = math.Max(w, p[0]), math.Max(h, p[1])
		}
	}
	return
}

func (o outline) inside(x, y float64) bool {
	in := false
	for _, r := range o {
		for i := range r {
			a, b := r[i], r[(i+1)%len(r)]
			if (a[1] > y) != (b[1] > y) && x < a[0]+(y-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
				in = !in
			}
		}
	}
	return in
}

func (o outline) raster(cell float64) *raster {
	w, h := o.size()
	r := &raster{w: int(math.Floor(w/cell-1e-9)) + 1, h: int(math.Floor(h/cell-1e-9)) + 1}
	r.row = make([][4]uint64, r.h)
	set := func(x, y int) {
		x, y = min(max(x, 0), r.w-1), min(max(y, 0), r.h-1)
		r.row[y][x>>6] |= 1 << (x & 63)
	}
	for y := range r.h {
		for x := range r.w {
			if o.inside((float64(x)+0.5)*cell, (float64(y)+0.5)*cell) {
				set(x, y)
			}
		}
	}
	for _, ring := range o {
		for i := range ring {
			a, b := ring[i], ring[(i+1)%len(ring)]
			n := int(math.Hypot(b[0]-a[0], b[1]-a[1])/cell*8) + 1
			for k := 0; k <= n; k++ {
				t := float64(k) / float64(n)
				x, y := a[0]+t*(b[0]-a[0]), a[1]+t*(b[1]-a[1])
				// A little to each side, so that no cell the edge cuts between two samples is missed.
				for _, d := range [][2]float64{{-0.13, -0.13}, {0.13, -0.13}, {-0.13, 0.13}, {0.13, 0.13}} {
					set(int(math.Floor(x/cell+d[0])), int(math.Floor(y/cell+d[1])))
				}
			}
		}
	}
	r.span = make([][][2]int, r.h)
	for k, row := range r.row {
		for x := 0; x < r.w; x++ {
			if from := x; row[x>>6]>>(x&63)&1 == 1 {
				for x+1 < r.w && row[(x+1)>>6]>>((x+1)&63)&1 == 1 {
					x++
				}
				r.span[k] = append(r.span[k], [2]int{from, x - from + 1})
			}
		}
	}
	r.first = make([]int, r.h)
	for k := range r.first {
		r.first[k] = k
	}
	count := func(k int) int {
		return bits.OnesCount64(r.row[k][0]) + bits.OnesCount64(r.row[k][1]) + bits.OnesCount64(r.row[k][2]) + bits.OnesCount64(r.row[k][3])
	}
	sort.SliceStable(r.first, func(a, b int) bool { return count(r.first[a]) > count(r.first[b]) })
	// Far apart, so that the second row looked at says something new.
	if r.h > 4 {
		r.first[1], r.first[r.h-1] = r.first[r.h-1], r.first[1]
	}
	return r
}

// lay is where the parts of a set stand on a platform.
type lay struct {
	fits  bool
	parts []int32
	at    [][3]int // x, y, quarter turns
	used  [][4]uint64
}

// of is where part p stands.
func (l *lay) of(p int32) [3]int { return l.at[slices.Index(l.parts, p)] }

// some is a set of parts.
type some [4]uint64

func someOf(pieces []int32) (s some) {
	for _, p := range pieces {
		s[p>>6] |= 1 << (p & 63)
	}
	return
}

// nester answers whether parts go together on a platform, remembering every set it was asked about; for one thread.
type nester struct {
	parts  [][4]*raster
	dims   [][2]int // platforms in cells
	cell   float64
	known  []map[some]*lay
	area   []float64 // of parts, in mm²
	full   []float64 // highest share of a platform's area that has ever been placed
	tries  []int     // failures above that share since
	convex [][4]outline
	apart  []*apart // by part, turn, part, turn; filled when asked for
}

func (n *nester) fits(machine int, pieces []int32) bool { return n.get(machine, pieces).fits }

func (n *nester) get(machine int, pieces []int32) *lay {
	key := someOf(pieces)
	if l := n.known[machine][key]; l != nil {
		return l
	}
	share := 0.0
	for _, p := range pieces {
		share += n.area[p]
	}
	share /= float64(n.dims[machine][0]*n.dims[machine][1]) * n.cell * n.cell
	if share > n.full[machine]+0.02 && n.tries[machine] > 60 {
		return &lay{} // experience says no
	}
	// The set without one piece is often known: what does not fit with less does not fit, what fits may take one more.
	var l *lay
	for _, p := range pieces {
		less := key
		less[p>>6] &^= 1 << (p & 63)
		if base := n.known[machine][less]; base != nil && !base.fits {
			l = base
			break
		}
	}
	for k := len(pieces) - 1; k >= 0 && l == nil; k-- {
		less := key
		less[pieces[k]>>6] &^= 1 << (pieces[k] & 63)
		if base := n.known[machine][less]; base != nil {
			l = n.add(machine, base, pieces[k])
			break
		}
	}
	if l == nil {
		l = n.all(machine, pieces)
	}
	if !l.fits {
		if share > n.full[machine] {
			n.tries[machine]++
		}
	} else if share > n.full[machine] {
		n.full[machine], n.tries[machine] = share, min(0, n.tries[machine])
	}
	n.known[machine][key] = l
	return l
}

// final is a placement of a set: its own, or that of a set it is part of.
func (n *nester) final(machine int, pieces []int32) *lay {
	if l := n.get(machine, pieces); l.fits {
		return l
	}
	key := someOf(pieces)
	for k, l := range n.known[machine] {
		if l.fits && key[0]&^k[0]|key[1]&^k[1]|key[2]&^k[2]|key[3]&^k[3] == 0 {
			return l
		}
	}
	return &lay{}
}

// add puts one more part into what is free, as low as it goes and then left; nil when it finds no place.
func (n *nester) add(machine int, base *lay, p int32) *lay {
	w, h := n.dims[machine][0], n.dims[machine][1]
	bestX, bestY, bestQ := 0, math.MaxInt, -1
	for q := range 4 {
		r := n.parts[p][q]
		if w < r.w {
			continue
		}
		top := min(h-r.h, bestY-1)
		x, y := 0, -1
		if n.convex != nil {
			x, y = n.between(base, p, q, w-r.w, top)
		} else {
			x, y = r.lowest(base.used, w-r.w+1, top, (w+63)/64)
		}
		if y >= 0 {
			bestX, bestY, bestQ = x, y, q
		}
	}
	if bestQ < 0 {
		return nil
	}
	k := len(base.parts)
	l := &lay{fits: true, parts: append(base.parts[:k:k], p), at: append(base.at[:k:k], [3]int{bestX, bestY, bestQ})}
	if n.convex == nil {
		l.used = append([][4]uint64(nil), base.used...)
		for k, row := range n.parts[p][bestQ].row {
			l.used[bestY+k] = or(l.used[bestY+k], shiftLeft(row, bestX))
		}
	}
	return l
}

// lowest finds the lowest row y up to top, and in it the least x below room, at which the part meets nothing; y −1: none.
// A platform is words wide.
func (r *raster) lowest(used [][4]uint64, room, top, words int) (int, int) {
	var whole [4]uint64 // the places x could have
	for i := range whole {
		if n := room - i*64; n >= 64 {
			whole[i] = math.MaxUint64
		} else if n > 0 {
			whole[i] = 1<<n - 1
		}
	}
	for y := 0; y <= top; y++ {
		free := whole
		for _, k := range r.first {
			occ := &used[y+k]
			if occ[0]|occ[1]|occ[2]|occ[3] == 0 {
				continue
			}
			switch words {
			case 1:
				for _, s := range r.span[k] {
					free[0] &^= smear(occ[0]>>s[0], s[1])
				}
			case 2:
				for _, s := range r.span[k] {
					a, b := smear2(occ[0], occ[1], uint(s[0]), s[1])
					free[0], free[1] = free[0]&^a, free[1]&^b
				}
			default:
				for _, s := range r.span[k] {
					blocked(occ, s[0], s[1], words, &free)
				}
			}
			if free[0]|free[1]|free[2]|free[3] == 0 {
				break
			}
		}
		for i, f := range free {
			if f != 0 {
				return i*64 + bits.TrailingZeros64(f), y
			}
		}
	}
	return 0, -1
}

// smear ors a with itself moved right by up to n−1.
func smear(a uint64, n int) uint64 {
	for have := 1; have < n; {
		s := min(have, n-have)
		a |= a >> s
		have += s
	}
	return a
}

// smear2 is smear on two words, moved right by from first.
func smear2(a, b uint64, from uint, n int) (uint64, uint64) {
	if from >= 64 {
		a, b = b, 0
		from &= 63
	}
	a, b = a>>from|b<<(64-from), b>>from
	for have := 1; have < n; {
		s := uint(min(have, n-have, 63))
		a, b = a|a>>s|b<<(64-s), b|b>>s
		have += int(s)
	}
	return a, b
}

// blocked takes out of free every x at which n cells from x+from on would meet what is taken, by doubling.
func blocked(occ *[4]uint64, from, n, words int, free *[4]uint64) {
	acc := shiftRight(*occ, from)
	for have := 1; have < n; {
		s := min(have, n-have, 63)
		for i := range words - 1 {
			acc[i] |= acc[i]>>s | acc[i+1]<<(64-s)
		}
		acc[words-1] |= acc[words-1] >> s
		have += s
	}
	for i := range words {
		free[i] &^= acc[i]
	}
}

func or(a, b [4]uint64) [4]uint64 {
	return [4]uint64{a[0] | b[0], a[1] | b[1], a[2] | b[2], a[3] | b[3]}
}

// apart is, for two convex parts, the moves of the second from the first that make them overlap: in the row dy = low+i the
// dx between lo[i] and hi[i], both allowed.
type apart struct {
	low    int
	lo, hi []int
}

// pair gives the moves by which part b, turned v, overlaps part a, turned u: the inside of the sum of a and −b.
func (n *nester) pair(a int32, u int, b int32, v int) *apart {
	at := &n.apart[((int(a)*4+u)*len(n.parts)+int(b))*4+v]
	if *at != nil {
		return *at
	}
	var sum [][2]float64
	for _, p := range n.convex[a][u][0] {
		for _, q := range n.convex[b][v][0] {
			sum = append(sum, [2]float64{(p[0] - q[0]) / n.cell, (p[1] - q[1]) / n.cell})
		}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range sum {
		low, high = math.Min(low, p[1]), math.Max(high, p[1])
	}
	x := &apart{low: int(math.Floor(low)) + 1}
	rows := int(math.Ceil(high)) - x.low
	left, right := make([]float64, max(0, rows)), make([]float64, max(0, rows))
	for i := range left {
		left[i], right[i] = math.Inf(1), math.Inf(-1)
	}
	// Every line between two of its points lies in the sum, and its edges are among them.
	for i, p := range sum {
		for _, q := range sum[:i] {
			p, q := p, q
			if p[1] > q[1] {
				p, q = q, p
			}
			if q[1] == p[1] {
				continue
			}
			slope := (q[0] - p[0]) / (q[1] - p[1])
			for y := max(x.low, int(math.Ceil(p[1]))); y < x.low+rows && float64(y) <= q[1]; y++ {
				dx := p[0] + (float64(y)-p[1])*slope
				left[y-x.low], right[y-x.low] = math.Min(left[y-x.low], dx), math.Max(right[y-x.low], dx)
			}
		}
	}
	for i := range left {
		x.lo, x.hi = append(x.lo, int(math.Floor(left[i]))), append(x.hi, int(math.Ceil(right[i])))
	}
	*at = x
	return x
}

// between finds the lowest row up to top, and the least x up to right, at which convex part p overlaps nothing.
func (n *nester) between(base *lay, p int32, q, right, top int) (int, int) {
	var near [64]*apart
	for i, o := range base.parts {
		near[i] = n.pair(o, base.at[i][2], p, q)
	}
	for y := 0; y <= top; y++ {
		x := 0
		for again := true; again && x <= right; {
			again = false
			for i, at := range base.at {
				a := near[i]
				if k := y - at[1] - a.low; k >= 0 && k < len(a.lo) && x-at[0] > a.lo[k] && x-at[0] < a.hi[k] {
					x, again = at[0]+a.hi[k], true
				}
			}
		}
		if x <= right {
			return x, y
		}
	}
	return 0, -1
}

func (n *nester) all(machine int, pieces []int32) *lay {
	order := append([]int32(nil), pieces...)
	area := func(p int32) int { return n.parts[p][0].w * n.parts[p][0].h }
	long := func(p int32) int { return max(n.parts[p][0].w, n.parts[p][0].h) }
	empty := &lay{fits: true}
	if n.convex == nil {
		empty.used = make([][4]uint64, n.dims[machine][1])
	}
	for _, by := range []func(int32) int{area, long} {
		slices.SortFunc(order, func(a, b int32) int { return cmp.Or(by(b)-by(a), int(a-b)) })
		l := empty
		for _, p := range order {
			if l = n.add(machine, l, p); l == nil {
				break
			}
		}
		if l != nil {
			return l
		}
	}
	if len(order) <= 5 {
		// Few parts: every order, given up where one has no place.
		var try func(l *lay, k int) *lay
		try = func(l *lay, k int) *lay {
			if k == len(order) {
				return l
			}
			for i := k; i < len(order); i++ {
				order[k], order[i] = order[i], order[k]
				if next := n.add(machine, l, order[k]); next != nil {
					if next = try(next, k+1); next != nil {
						return next
					}
				}
				order[k], order[i] = order[i], order[k]
			}
			return nil
		}
		if l := try(empty, 0); l != nil {
			return l
		}
	}
	return &lay{}
}

// crossing says whether two outlines, moved to their places, overlap: edges cross, or a corner of one lies inside the other.
// It shares nothing with the raster.
func crossing(a, b outline) bool {
	seg := func(o outline) (s [][4]float64) {
		for _, r := range o {
			for i := range r {
				p, q := r[i], r[(i+1)%len(r)]
				s = append(s, [4]float64{p[0], p[1], q[0], q[1]})
			}
		}
		return
	}
	side := func(s [4]float64, x, y float64) float64 {
		return (s[2]-s[0])*(y-s[1]) - (s[3]-s[1])*(x-s[0])
	}
	for _, s := range seg(a) {
		for _, t := range seg(b) {
			if math.Max(s[0], s[2]) < math.Min(t[0], t[2]) || math.Max(t[0], t[2]) < math.Min(s[0], s[2]) || math.Max(s[1], s[3]) < math.Min(t[1], t[3]) || math.Max(t[1], t[3]) < math.Min(s[1], s[3]) {
				continue
			}
			if side(s, t[0], t[1])*side(s, t[2], t[3]) < -1e-9 && side(t, s[0], s[1])*side(t, s[2], s[3]) < -1e-9 {
				return true
			}
		}
	}
	x, y := a.interior()
	u, v := b.interior()
	return b.inside(x, y) || a.inside(u, v)
}

// interior is some point well inside an outline.
func (o outline) interior() (x, y float64) {
	w, h := o.size()
	for n := 3; ; n *= 2 {
		for i := 1; i < n; i++ {
			for k := 1; k < n; k++ {
				x, y = w*float64(i)/float64(n)+0.0137, h*float64(k)/float64(n)+0.0191
				if o.inside(x, y) {
					return x, y
				}
			}
		}
	}
}

func moved(o outline, x, y float64) outline {
	out := make(outline, len(o))
	for i, r := range o {
		for _, p := range r {
			out[i] = append(out[i], [2]float64{p[0] + x, p[1] + y})
		}
	}
	return out
}

// Nesting and scheduling on unlike powder-bed machines with real footprints (30 instances; source and lower bounds: SOURCES.md
// and bounds.csv beside the data). Which parts go together is decided with a placement of their outlines, checked again
// by the crossing of edges. FIRSTOFF_SLOW=1 runs all, AM_ONLY those whose name begins so.
func TestIrregularParts(t *testing.T) {
	const cell = 4.0 // mm
	dir := checks.Path(t, "opt/raw/amsched_irregular")
	var machines []struct {
		ID     int     `json:"id"`
		Width  float64 `json:"width_mm"`
		Length float64 `json:"length_mm"`
		Height float64 `json:"height_mm"`
		Setup  float64 `json:"setup_s"`
		Vol    float64 `json:"volume_s_per_mm3"`
		Sup    float64 `json:"support_s_per_mm3"`
		Recoat float64 `json:"recoat_s_per_mm"`
	}
	read := func(name string, to any) {
		f, err := os.Open(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if strings.HasSuffix(name, ".gz") {
			z, err := gzip.NewReader(f)
			if err != nil {
				t.Fatal(err)
			}
			err = json.NewDecoder(z).Decode(to)
			if err != nil {
				t.Fatal(err)
			}
			return
		}
		if err := json.NewDecoder(f).Decode(to); err != nil {
			t.Fatal(err)
		}
	}
	read("machines.json", &machines)
	var parts []struct {
		ID     int     `json:"id"`
		Height float64 `json:"height_mm"`
		Volume float64 `json:"volume_mm3"`
		Supp   float64 `json:"support_mm3"`
		Area   float64 `json:"footprint_area_mm2"`
		Rings  outline `json:"rings"`
	}
	read("parts.json.gz", &parts)
	shapes := make([][4]*raster, len(parts))
	outlines := make([][4]outline, len(parts))
	byID := map[int]int{}
	for i, p := range parts {
		byID[p.ID] = i
		for q := range 4 {
			outlines[i][q] = p.Rings.turned(q)
			shapes[i][q] = outlines[i][q].raster(cell)
		}
	}
	f, err := os.Open(filepath.Join(dir, "bounds.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(f).ReadAll()
	f.Close()
	if err != nil {
		t.Fatal(err)
	}
	rounds, slow := 2, os.Getenv("FIRSTOFF_SLOW") != ""
	if slow {
		rounds = 4
	}
	if x, err := strconv.Atoi(os.Getenv("AM_ROUNDS")); err == nil {
		rounds = x
	}
	sum, worst, n := 0.0, 0.0, 0
	for _, row := range rows[1:] {
		if only := os.Getenv("AM_ONLY"); only != "" && !strings.HasPrefix(row[0], only) || only == "" && !slow && !strings.HasPrefix(row[0], "P25M2") {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, row[0]+".txt"))
		if err != nil {
			t.Fatal(err)
		}
		bound, _ := strconv.ParseFloat(row[7], 64)
		r := &Runs{Families: 1, SpanCost: 1}
		nest := &nester{cell: cell}
		from := 0
		if strings.Contains(row[0], "M2") {
			from = 2
		}
		for _, m := range machines[from:] {
			r.Machines = append(r.Machines, RunMachine{ID: fmt.Sprint(m.ID), Size: 0.9 * m.Width * m.Length, FixedS: int64(m.Setup + 0.5), Loaded: 1})
			nest.dims = append(nest.dims, [2]int{int(m.Width/cell + 1e-9), int(m.Length/cell + 1e-9)})
			nest.full, nest.tries = append(nest.full, 0.4), append(nest.tries, 0)
			nest.known = append(nest.known, map[some]*lay{})
		}
		var ids []int
		for _, w := range strings.Fields(string(text)) {
			id, _ := strconv.Atoi(w)
			i := byID[id]
			p := Piece{ID: w}
			for m, x := range machines[from:] {
				fit := false
				for q := range 2 {
					fit = fit || shapes[i][q].w <= nest.dims[m][0] && shapes[i][q].h <= nest.dims[m][1]
				}
				if fit && parts[i].Height <= x.Height && parts[i].Area <= r.Machines[m].Size {
					p.On = append(p.On, PieceOn{Machine: m, Size: parts[i].Area, AddS: int64(parts[i].Volume*x.Vol + parts[i].Supp*x.Sup + 0.5), HighS: int64(parts[i].Height*x.Recoat + 0.5)})
				}
			}
			r.Pieces = append(r.Pieces, p)
			nest.parts = append(nest.parts, shapes[i])
			nest.area = append(nest.area, parts[i].Area)
			ids = append(ids, i)
		}
		r.Fits = nest.fits
		plan, err := Gather(context.Background(), r, Options{Rounds: rounds, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		// Judge: build times from the instance, outlines from the placements.
		free := make([]float64, len(r.Machines))
		placed := 0
		for _, run := range plan.Runs {
			m := machines[from+run.Machine]
			d, high := m.Setup, 0.0
			lay := nest.final(run.Machine, run.Pieces)
			if !lay.fits {
				t.Fatalf("%s: a run of %d parts has no placement", row[0], len(run.Pieces))
			}
			var put []outline
			for _, p := range run.Pieces {
				x := parts[ids[p]]
				d += x.Volume*m.Vol + x.Supp*m.Sup
				high = math.Max(high, x.Height)
				a := lay.of(p)
				o := moved(outlines[ids[p]][a[2]], float64(a[0])*cell, float64(a[1])*cell)
				w, h := o.size()
				if w > m.Width+1e-6 || h > m.Length+1e-6 || x.Height > m.Height {
					t.Errorf("%s: part %d sticks out", row[0], x.ID)
				}
				for _, q := range put {
					if crossing(o, q) {
						t.Fatalf("%s: two parts overlap: %v, %v", row[0], o, q)
					}
				}
				put = append(put, o)
				placed++
			}
			free[run.Machine] += d + high*m.Recoat
		}
		if placed != len(ids) {
			t.Fatalf("%s: %d of %d parts placed", row[0], placed, len(ids))
		}
		span := 0.0
		for _, x := range free {
			span = math.Max(span, x)
		}
		gap := 100 * (span/bound - 1)
		sum, worst = sum+gap, max(worst, gap)
		n++
		t.Logf("fullest %.2f; %-9s %3d parts: %8.0f s in %2d builds, bound %8.0f, %+.2f %%  (logged elsewhere after a short run: %s)", nest.full, row[0], len(ids), span, len(plan.Runs), bound, gap, row[8])
		if gap > 25 {
			t.Errorf("%s: %.1f %% above its bound", row[0], gap)
		}
	}
	t.Logf("%d instances: mean %.2f %% above the lower bound, worst %.2f %%", n, sum/float64(n), worst)
	// The bar is for the whole set: the bound is weak for few parts.
	if slow && os.Getenv("AM_ONLY") == "" && sum/float64(n) > 12 {
		t.Errorf("mean %.2f %% above the lower bound, more than 12", sum/float64(n))
	}
}

// Nesting and scheduling with release and due dates on identical machines, total tardiness (Nascimento, Silva, Antunes,
// Moniz, EJOR 317, 2024; source and values: SOURCES.md beside the data). The published values come from an exact method that
// allows 441 points of a platform only; ours must never be above. Platform size and build time are read as that file says.
func TestTardyParts(t *testing.T) {
	const cell, side = 0.1, 20.0
	f, err := os.Open(checks.Path(t, "opt/raw/amsched_tardiness/best_known.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(f).ReadAll()
	f.Close()
	if err != nil {
		t.Fatal(err)
	}
	published := map[string]float64{}
	for _, r := range rows[1:] {
		if x, err := strconv.ParseFloat(r[5], 64); err == nil {
			published[r[0]] = x
		}
	}
	slow := os.Getenv("FIRSTOFF_SLOW") != ""
	every := 1 << 30 // the first of its set
	if slow {
		every = 1
	}
	if x, err := strconv.Atoi(os.Getenv("AM_EVERY")); err == nil {
		every = x
	}
	rounds := 1
	if slow {
		rounds = 3
	}
	above, below, same, total := 0, 0, 0, 0
	for _, size := range []int{15, 20, 25, 30} {
		var polygons struct {
			Parts []outline `json:"parts"`
		}
		data, err := os.ReadFile(checks.Path(t, fmt.Sprintf("opt/raw/amsched_tardiness/polygons_%d.json", size)))
		if err != nil {
			t.Fatal(err)
		}
		var flat struct {
			Parts [][][2]float64 `json:"parts"`
		}
		if err := json.Unmarshal(data, &flat); err != nil {
			t.Fatal(err)
		}
		nest := &nester{cell: cell, dims: [][2]int{{side / cell, side / cell}}, known: []map[some]*lay{{}}, full: []float64{0.4}, tries: []int{-1 << 60}}
		for _, ring := range flat.Parts {
			o := outline{ring}
			polygons.Parts = append(polygons.Parts, o)
			var r [4]*raster
			area := 0.0
			for i := range ring {
				a, b := ring[i], ring[(i+1)%len(ring)]
				area += (a[0]*b[1] - b[0]*a[1]) / 2
			}
			for q := range 4 {
				r[q] = o.turned(q).raster(cell)
			}
			nest.parts = append(nest.parts, r)
			nest.area = append(nest.area, math.Abs(area))
			nest.convex = append(nest.convex, [4]outline{o.turned(0), o.turned(1), o.turned(2), o.turned(3)})
		}
		nest.apart = make([]*apart, len(nest.parts)*len(nest.parts)*16)
		g, err := os.Open(checks.Path(t, fmt.Sprintf("opt/raw/amsched_tardiness/N%d.jsonl.gz", size)))
		if err != nil {
			t.Fatal(err)
		}
		z, err := gzip.NewReader(g)
		if err != nil {
			t.Fatal(err)
		}
		dec := json.NewDecoder(z)
		for k := 0; dec.More(); k++ {
			var in struct {
				Name     string  `json:"name"`
				Machines int     `json:"machines"`
				Proc     []int64 `json:"proc"`
				Release  []int64 `json:"release"`
				Due      []int64 `json:"due"`
			}
			if err := dec.Decode(&in); err != nil {
				t.Fatal(err)
			}
			want, known := published[in.Name]
			if k%every != 0 || !known {
				continue
			}
			r := &Runs{Families: 1, TardyCost: 1}
			for m := range in.Machines {
				r.Machines = append(r.Machines, RunMachine{ID: fmt.Sprint(m), Size: side * side, Loaded: 1})
			}
			for i := range in.Proc {
				p := Piece{ID: fmt.Sprint(i), Release: in.Release[i], Due: in.Due[i], Weight: 1}
				for m := range in.Machines {
					p.On = append(p.On, PieceOn{Machine: m, Size: nest.area[i], HighS: in.Proc[i]})
				}
				r.Pieces = append(r.Pieces, p)
			}
			// The machines are the same: one memory serves all.
			r.Fits = func(_ int, pieces []int32) bool { return nest.fits(0, pieces) }
			plan, err := Gather(context.Background(), r, Options{Rounds: rounds, Seed: 1})
			if err != nil {
				t.Fatalf("%s: %v", in.Name, err)
			}
			late, placed := int64(0), 0
			free := make([]int64, in.Machines)
			for _, run := range plan.Runs {
				lay := nest.final(0, run.Pieces)
				if !lay.fits {
					t.Fatalf("%s: a run has no placement", in.Name)
				}
				d, ready := int64(0), free[run.Machine]
				var put []outline
				for _, p := range run.Pieces {
					d, ready = max(d, in.Proc[p]), max(ready, in.Release[p])
					a := lay.of(p)
					o := moved(polygons.Parts[p].turned(a[2]), float64(a[0])*cell, float64(a[1])*cell)
					if w, h := o.size(); w > side+1e-9 || h > side+1e-9 {
						t.Fatalf("%s: part %d sticks out", in.Name, p)
					}
					for _, q := range put {
						if crossing(o, q) {
							t.Fatalf("%s: two parts overlap", in.Name)
						}
					}
					put = append(put, o)
					placed++
				}
				if run.Start < ready {
					t.Fatalf("%s: a run starts too early", in.Name)
				}
				free[run.Machine] = run.Start + d
				for _, p := range run.Pieces {
					late += max(0, run.Start+d-in.Due[p])
				}
			}
			if placed != len(in.Proc) {
				t.Fatalf("%s: %d of %d parts placed", in.Name, placed, len(in.Proc))
			}
			total++
			switch x := float64(late); {
			case x > want:
				above++
				t.Logf("%s: %v, published %v", in.Name, x, want)
			case x < want:
				below++
			default:
				same++
			}
		}
		g.Close()
		t.Logf("up to %d parts: %d instances, %d below the published value, %d the same, %d above; %d sets of parts laid out", size, total, below, same, above, len(nest.known[0]))
	}
	t.Logf("%d instances: %d below the published value, %d the same, %d above", total, below, same, above)
	if above > 0 {
		t.Errorf("%d of %d above the published value", above, total)
	}
}
