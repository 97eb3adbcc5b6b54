package advise

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"firstoff/part"
	"firstoff/shop"
)

// GentMPa is the modulus of an elastomer of a Shore A hardness: E = 0.0981·(56 + 7.62336·S)/(0.137505·(254 − 2.54·S)) MPa (Gent 1958, Rubber
// Chemistry and Technology 31, from memory). Meaningful from about 20 to 95.
func GentMPa(shoreA float64) float64 {
	return 0.0981 * (56 + 7.62336*shoreA) / (0.137505 * (254 - 2.54*shoreA))
}

// GentShoreA inverts GentMPa.
func GentShoreA(e float64) float64 {
	k := 0.137505 * e / 0.0981
	return (254*k - 56) / (7.62336 + 2.54*k)
}

// RigidShare is the share of rigid base in a blend of the wanted modulus: moduli mix by their logarithms, ln E = φ·ln E_r + (1−φ)·ln E_s
// (Lichtenecker's rule), which follows jetted blends well enough to order them; the lot's own hardness decides.
func RigidShare(soft, rigid, want float64) float64 {
	if want <= soft {
		return 0
	}
	if want >= rigid {
		return 1
	}
	return math.Log(want/soft) / math.Log(rigid/soft)
}

// Ingredient is a base material of a body and its share of the body's volume.
type Ingredient struct {
	Material *shop.Material
	Share    float64
}

// Recipe is what one body is built of.
type Recipe struct {
	Body  string
	Bases []Ingredient
	Note  string
}

// kinds counts the different wishes.
func kinds(wishes []part.BodyWish) int {
	seen := map[part.BodyWish]bool{}
	for _, b := range wishes {
		b.Body = ""
		seen[b] = true
	}
	return len(seen)
}

// SeveralMaterials says whether the bodies ask for more than one material.
func SeveralMaterials(r *part.Requirement) bool { return kinds(r.Bodies) > 1 }

// Assign gives every body of a many-material machine its bases: a named material, a rigid one in the wished colour, or a blend of the machine's
// elastomer family for a Shore A hardness. The refusal names the body that cannot be had, or the slots that are missing.
func Assign(wishes []part.BodyWish, m *shop.Machine, cat *shop.Catalogue) ([]Recipe, *Refusal) {
	return assign(wishes, m, cat, true)
}

func assign(wishes []part.BodyWish, m *shop.Machine, cat *shop.Catalogue, blends bool) ([]Recipe, *Refusal) {
	var mats []*shop.Material
	for _, pass := range []bool{true, false} { // what is loaded first
		for _, id := range m.Materials {
			if k := cat.Material(id); k != nil && slices.Contains(m.Loaded, id) == pass {
				mats = append(mats, k)
			}
		}
	}
	var out []Recipe
	used := map[string]bool{}
	for _, w := range wishes {
		r, ref := recipe(w, mats, blends)
		if ref != nil {
			return nil, ref
		}
		for _, b := range r.Bases {
			used[b.Material.ID] = true
		}
		out = append(out, r)
	}
	if m.MJT != nil && len(used) > max(1, m.MJT.Slots) {
		var ids []string
		for id := range used {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		return nil, no("The bodies need %d base materials (%s); %s holds %d.", len(ids), strings.Join(ids, ", "), m.Name, m.MJT.Slots).but("Fewer different bodies, or a machine with more slots.").whole()
	}
	return out, nil
}

func recipe(w part.BodyWish, mats []*shop.Material, blends bool) (Recipe, *Refusal) {
	r := Recipe{Body: w.Body}
	coloured := func(m *shop.Material) bool { return w.Color == "" || HasColor(m, w.Color) }
	switch {
	case w.Material != "":
		for _, m := range mats {
			if m.ID == w.Material {
				r.Bases = []Ingredient{{m, 1}}
				return r, nil
			}
		}
		return r, no("Body %q asks for %s, which this machine does not run.", w.Body, w.Material).but("Another material or machine.").whole()
	case w.ShoreA > 0:
		for _, m := range mats {
			if !within(w.ShoreA, m.ShoreA, 3) {
				continue
			}
			if m.ShoreA.Hi-m.ShoreA.Lo <= 6 || !blends { // one hardness as it is
				if m.ShoreA.Hi-m.ShoreA.Lo > 6 {
					continue
				}
				r.Bases = []Ingredient{{m, 1}}
				return r, nil
			}
			share := 0.0
			soft := GentMPa(m.ShoreA.Lo)
			for _, k := range mats {
				if !k.Flexible && k.EMPa.Lo > 0 && (w.Color == "" || HasColor(k, w.Color) || k.Clear) {
					share = RigidShare(soft, k.EMPa.Mid(), GentMPa(math.Min(w.ShoreA, 95)))
					if share > 0.005 {
						r.Bases = []Ingredient{{m, 1 - share}, {k, share}}
						r.Note = fmt.Sprintf("body %q: Shore A %.0f by %.0f %% %s in %s (Gent 1958, logarithmic mixing)", w.Body, w.ShoreA, share*100, k.Name, m.Name)
						return r, nil
					}
					break
				}
			}
			r.Bases = []Ingredient{{m, 1}}
			return r, nil
		}
		return r, no("No material of this machine gives body %q a hardness of Shore A %.0f.", w.Body, w.ShoreA).but("Another hardness or machine.").whole()
	}
	for _, m := range mats {
		if !m.Flexible && coloured(m) {
			r.Bases = []Ingredient{{m, 1}}
			return r, nil
		}
	}
	return r, no("No rigid material of this machine comes in %s for body %q.", w.Color, w.Body).but("Another colour, or paint it.").whole()
}

// AssignApart is Assign for machines of one material a build: every body must have one material of its own, and the bodies are printed apart.
func AssignApart(wishes []part.BodyWish, m *shop.Machine, cat *shop.Catalogue) ([]Recipe, *Refusal) {
	return assign(wishes, m, cat, false)
}
