package part21

import "strings"

// products is who is who among a file's products.
type products struct {
	f    *File
	uses map[uint64][]use // by product definition: what it is assembled of, in order of record
	used map[uint64]bool  // product definitions that some assembly uses
	defs []uint64         // all product definitions
}

type use struct {
	name    string
	related uint64
}

func (f *File) products() *products {
	p := &products{f: f, uses: map[uint64][]use{}, used: map[uint64]bool{}}
	for _, w := range []string{"PRODUCT_DEFINITION", "PRODUCT_DEFINITION_WITH_ASSOCIATED_DOCUMENTS"} {
		f.eachPlain(w, func(id uint64, _ []Value) { p.defs = append(p.defs, id) })
	}
	f.eachPlain("NEXT_ASSEMBLY_USAGE_OCCURRENCE", func(_ uint64, a []Value) {
		from, to := arg(a, 3).ID, arg(a, 4).ID
		name := arg(a, 1).Text
		if name == "" {
			name = arg(a, 0).Text
		}
		p.uses[from] = append(p.uses[from], use{name, to})
		p.used[to] = true
	})
	return p
}

// eachPlain is each, without the complex records.
func (f *File) eachPlain(word string, fn func(id uint64, args []Value)) {
	for w, known := range f.words {
		if known != word {
			continue
		}
		for i := range f.records {
			if r := &f.records[i]; r.word == uint32(w) {
				if ps := f.parts(r); len(ps) == 1 {
					fn(r.id, ps[0].args)
				}
			}
		}
	}
}

// name of the product a definition belongs to.
func (p *products) name(def uint64) string {
	a := p.f.args(def)
	formation := p.f.args(arg(a, 2).ID)
	product := p.f.args(arg(formation, 2).ID)
	if n := arg(product, 1).Text; n != "" {
		return n
	}
	return arg(product, 0).Text
}

// args are the parameters of a plain record, whatever it is called.
func (f *File) args(id uint64) []Value {
	r := f.find(id)
	if r == nil || r.word == 0 {
		return nil
	}
	if ps := f.parts(r); len(ps) == 1 {
		return ps[0].args
	}
	return nil
}

// top is the one product definition no assembly uses; 0 when there are several or none.
func (p *products) top() uint64 {
	var top uint64
	for _, d := range p.defs {
		if p.used[d] {
			continue
		}
		if top != 0 {
			return 0
		}
		top = d
	}
	return top
}

// Occurrence is one use of a part that has bodies, at a place in the assembly.
type Occurrence struct {
	Path    string // names of the uses from the top, joined by "/"
	Product string // the part's name
	Bodies  int    // solids and shells its shape lists
}

// Occurrences walks the assembly depth first, uses in order of record, and lists what has bodies of its own.
// A file without an assembly, or with more than limit occurrences, gives none.
func (f *File) Occurrences(limit int) []Occurrence {
	p := f.products()
	if len(p.uses) == 0 {
		return nil
	}
	bodies := f.bodies()
	var all []Occurrence
	steps := 0
	var walk func(def uint64, path []string) bool
	walk = func(def uint64, path []string) bool {
		if steps++; len(path) > 64 || steps > 4*limit {
			return false
		}
		if n := bodies[def]; n > 0 {
			all = append(all, Occurrence{strings.Join(path, "/"), p.name(def), n})
		}
		for _, u := range p.uses[def] {
			if !walk(u.related, append(path[:len(path):len(path)], u.name)) {
				return false
			}
		}
		return len(all) <= limit
	}
	for _, d := range p.defs {
		if !p.used[d] && !walk(d, []string{p.name(d)}) {
			return nil
		}
	}
	return all
}

// maxWork bounds what is looked at through references, so that a text whose records all name one long list
// does not take the square of its length.
const maxWork = 5_000_000

var solidWords = map[string]bool{"MANIFOLD_SOLID_BREP": true, "BREP_WITH_VOIDS": true, "FACETED_BREP": true}

// bodies counts, for each product definition, the solids and shells among the items of its representations.
func (f *File) bodies() map[uint64]int {
	shapeOf := map[uint64]uint64{} // product definition shape -> product definition
	f.eachPlain("PRODUCT_DEFINITION_SHAPE", func(id uint64, a []Value) { shapeOf[id] = arg(a, 2).ID })
	related := map[uint64][]uint64{} // representations that are one shape
	f.eachPlain("SHAPE_REPRESENTATION_RELATIONSHIP", func(_ uint64, a []Value) {
		from, to := arg(a, 2).ID, arg(a, 3).ID
		related[from] = append(related[from], to)
		related[to] = append(related[to], from)
	})
	count := map[uint64]int{}
	work := maxWork
	f.eachPlain("SHAPE_DEFINITION_REPRESENTATION", func(_ uint64, a []Value) {
		def, ok := shapeOf[arg(a, 0).ID]
		if !ok {
			return
		}
		seen := map[uint64]bool{}
		todo := []uint64{arg(a, 1).ID}
		for len(todo) > 0 && len(seen) < 1000 {
			rep := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			if seen[rep] {
				continue
			}
			seen[rep] = true
			todo = append(todo, related[rep]...)
			items := arg(f.args(rep), 1).List
			if work -= 1 + len(items) + len(related[rep]); work < 0 {
				return
			}
			for _, item := range items {
				switch w := f.word(item.ID); {
				case solidWords[w]:
					count[def]++
				case w == "SHELL_BASED_SURFACE_MODEL":
					count[def] += len(arg(f.args(item.ID), 1).List)
				}
			}
		}
	})
	return count
}
