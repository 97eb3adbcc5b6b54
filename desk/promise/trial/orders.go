package trial

import (
	"fmt"
	"math"
	"time"

	"firstoff/desk/promise"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
)

// Kind is a sort of order: what is built where, and what is done with it afterwards.
type Kind struct {
	Name      string
	Share     float64 // of orders; shares need not add to 1
	Machine   string
	Materials []string
	BuildH    float64 // median estimate of the build, h
	Spread    float64 // sigma of its logarithm from order to order
	Again     float64 // chance that the quantity asks for one more build after each, up to four in all
	FinishMin float64 // hands a build, median
	Bath      float64 // h in Soak; 0: none
	Soak      string  // shared resource of the bath, wash or booth
	Measure   bool    // measured on Bench rather than looked over
}

// Scene is a shop and what is asked of it.
type Scene struct {
	Catalogue *shop.Catalogue
	Kinds     []Kind
	Bench     string    // shared resource for measuring
	Start     time.Time // first day
}

// Truth is what the desk does not know. Zero values: everything is as the desk believes.
type Truth struct {
	MachineCV  float64 // of the factor on all builds of one machine in one month
	MaterialCV float64 // of the factor on all work in one material in one month
	OrderCV    float64 // of the factor on one order
	Trouble    float64 // share of orders that turn out far worse
	TroubleBy  float64 // by which factor at most; at least 1.2
	HandsCV    float64 // of one piece of hand work
	FailCV     float64 // of the month's factor on a machine's odds of failure
	Reject     float64 // share of orders rejected and built again
	MTBF, MTTR float64 // breakdowns of machines, s
	Absent     float64
}

// Usual is the truth of the trials: estimates off by 6 % a machine and 5 % a material for a month on end, by 10 % an
// order, 5 % of orders up to 1.8 times as long. Common practice puts the error of a good build estimate at 5 to 10 %.
func Usual() Truth {
	return Truth{MachineCV: 0.06, MaterialCV: 0.05, OrderCV: 0.1, Trouble: 0.05, TroubleBy: 1.8, HandsCV: 0.4, FailCV: 0.5, Reject: 0.03,
		MTBF: 400 * 3600, MTTR: 5 * 3600, Absent: 0.03}
}

// Stream is orders over time, as the desk believes them and as they will turn out.
type Stream struct {
	Believed, True []capacity.Job // same length, by arrival
	Kind           []int
	shop           capacity.Shop // the true one
	cal            *calendar.Calendar
	scene          *Scene
	now            int64
}

// draws is a source of numbers of its own for each question, so that a longer stream begins as a shorter one does.
type draws uint64

func (d draws) at(keys ...int) draws {
	x := uint64(d)
	for _, k := range keys {
		x += uint64(k+1) * 0x9e3779b97f4a7c15
		x = (x ^ x>>30) * 0xbf58476d1ce4e5b9 // splitmix64 finaliser (Steele, Lea, Flood 2014)
		x = (x ^ x>>27) * 0x94d049bb133111eb
		x ^= x >> 31
	}
	return draws(x)
}

func (d draws) uniform() float64 { return (float64(d.at(0)>>11) + 0.5) / (1 << 53) }

// factor is lognormal with mean 1.
func (d draws) factor(cv float64) float64 {
	s := math.Sqrt(math.Log1p(cv * cv))
	return math.Exp(s*math.Sqrt2*math.Erfinv(2*d.uniform()-1) - s*s/2)
}

// about is lognormal with median 1.
func (d draws) about(sigma float64) float64 {
	return math.Exp(sigma * math.Sqrt2 * math.Erfinv(2*d.uniform()-1))
}

const (
	saltArrival = iota
	saltKind
	saltOrder
	saltMachine
	saltMaterial
	saltFail
)

// Orders makes n orders that come in at perDay a business day, on business days from 8 to 17 o'clock.
func (s *Scene) Orders(n int, perDay float64, seed uint64, truth Truth) (*Stream, error) {
	cal, err := calendar.Of(s.Catalogue)
	if err != nil {
		return nil, err
	}
	st := &Stream{cal: cal, scene: s, now: s.Start.Unix()}
	d := draws(seed)
	sum := 0.0
	for _, k := range s.Kinds {
		sum += k.Share
	}
	day := cal.After(s.Start, 0)
	if !cal.Business(day) {
		day = cal.NextBusiness(day)
	}
	at := 0.0 // in business days
	days := 0
	for i := range n {
		at += -math.Log(d.at(saltArrival, i).uniform()) / perDay
		for ; days < int(at); days++ {
			day = cal.NextBusiness(day)
		}
		arrival := day.Unix() + 8*3600 + int64((at-math.Floor(at))*9*3600)
		u, kind := d.at(saltKind, i).uniform()*sum, 0
		for k := range s.Kinds {
			if kind = k; u < s.Kinds[k].Share {
				break
			}
			u -= s.Kinds[k].Share
		}
		month := int((arrival - st.now) / (30 * 86400))
		desk, floor := s.order(i, s.Kinds[kind], kind, month, d, truth)
		desk.Release, floor.Release = arrival, arrival
		st.Believed, st.True, st.Kind = append(st.Believed, desk), append(st.True, floor), append(st.Kind, kind)
	}
	s.trueShop(st, truth)
	return st, nil
}

// order makes one order twice: as estimated and as it will be. The operations are those the desk makes of a route.
func (s *Scene) order(i int, k Kind, kind, month int, d draws, truth Truth) (desk, floor capacity.Job) {
	o := d.at(saltOrder, i)
	m := s.Catalogue.Machine(k.Machine)
	mi := 0
	for j := range s.Catalogue.Machines {
		if s.Catalogue.Machines[j].ID == k.Machine {
			mi = j
		}
	}
	mat := int(o.at(1).uniform() * float64(len(k.Materials)))
	material := k.Materials[mat]
	family := material
	if m.MJT != nil && m.MJT.Slots > 1 {
		family = ""
	}
	size := o.at(2).about(k.Spread)
	hands := math.Sqrt(size) * o.at(3).about(0.4)
	builds := 1
	for builds < 4 && o.at(9, builds).uniform() < k.Again {
		builds++
	}
	hands *= float64(builds)
	ops := []capacity.Op{{ID: "prepare", People: "estimate", Seconds: 900 * o.at(4).about(0.3), CV: 0.25}}
	for range builds {
		ops = append(ops, capacity.Op{ID: "build", Resource: []string{m.ID}, Seconds: k.BuildH * 3600 * size, CV: m.SpreadPct / 100, People: "operate", PeopleSeconds: m.SetUpMin * 60,
			UnloadSeconds: m.UnloadMin * 60, Unattended: true, Family: family, FailProb: m.FailPct / 100})
	}
	ops = append(ops, capacity.Op{ID: "finish", People: "finish", Seconds: k.FinishMin * 60 * hands, CV: 0.3})
	if k.Soak != "" {
		ops = append(ops, capacity.Op{ID: "soak", Resource: []string{k.Soak}, Seconds: k.Bath * 3600 * o.at(5).about(0.3), CV: 0.25, People: "finish", PeopleSeconds: 480, Unattended: true})
	}
	if k.Measure {
		ops = append(ops, capacity.Op{ID: "measure", Resource: []string{s.Bench}, Seconds: 2400 * hands, CV: 0.25, People: "inspect"})
	} else {
		ops = append(ops, capacity.Op{ID: "look-over", Seconds: 360 * hands, CV: 0.2, People: "inspect"})
	}
	ops = append(ops, capacity.Op{ID: "pack", Seconds: 480 * hands, CV: 0.2, People: "pack"})
	id := fmt.Sprintf("order-%d", i+1)
	// Rejects are one more thing this desk does not count on.
	desk = capacity.Job{ID: id, Ops: ops, CV: promise.OrderCV}

	byMachine := d.at(saltMachine, mi, month).factor(truth.MachineCV)
	byMaterial := d.at(saltMaterial, kind, mat, month).factor(truth.MaterialCV)
	whole := o.at(6).factor(truth.OrderCV) * byMaterial
	if o.at(7).uniform() < truth.Trouble {
		whole *= 1.2 + (math.Max(truth.TroubleBy, 1.2)-1.2)*o.at(8).uniform()
	}
	floor = capacity.Job{ID: id, Ops: append([]capacity.Op(nil), ops...), FailProb: truth.Reject, RedoFrom: 1}
	for j := range floor.Ops {
		op := &floor.Ops[j]
		op.Seconds *= whole
		switch op.ID {
		case "build":
			op.Seconds *= byMachine
			op.FailProb = math.Min(0.5, op.FailProb*d.at(saltFail, mi, month).factor(truth.FailCV))
		case "soak":
		default:
			op.CV = math.Max(op.CV, truth.HandsCV)
		}
	}
	return desk, floor
}

// trueShop is the shop as it is: the catalogue's hours and machines over the whole stream, with breakdowns and the true absence.
func (s *Scene) trueShop(st *Stream, truth Truth) {
	st.shop = promise.ModelUntil(s.Catalogue, st.cal, st.now-86400, st.True[len(st.True)-1].Release+60*86400)
	for i := range st.shop.Resources {
		if s.Catalogue.Machine(st.shop.Resources[i].ID) != nil {
			st.shop.Resources[i].MTBFSeconds, st.shop.Resources[i].MTTRSeconds = truth.MTBF, truth.MTTR
		}
	}
	for i := range st.shop.People {
		st.shop.People[i].AbsentProb = truth.Absent
	}
}
