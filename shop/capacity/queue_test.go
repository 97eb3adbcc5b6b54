package capacity

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
)

// handbookNumbers reads the numbers of one row of the trade's worked examples.
func handbookNumbers(t *testing.T, id string) (inputs string, want []float64) {
	t.Helper()
	f, err := os.Open(checks.Handbook(t, "worked_examples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := regexp.MustCompile(`(?:^|[ =])(\d+(?:\.\d+)?)`)
	for _, r := range rows {
		if r[0] != id {
			continue
		}
		for _, m := range number.FindAllStringSubmatch(r[3], -1) {
			x, _ := strconv.ParseFloat(m[1], 64)
			want = append(want, x)
		}
		return r[2], want
	}
	t.Fatalf("no row %s", id)
	return "", nil
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got/want-1) > rel {
		t.Errorf("%s: %.6g, want %.6g (within %.2g)", what, got, want, rel)
	} else {
		t.Logf("%s: %.6g, reference %.6g (%+.2f %%)", what, got, want, 100*(got/want-1))
	}
}

// The closed forms against the handbook's rows L01-L06.
func TestQueueFormulas(t *testing.T) {
	_, l01 := handbookNumbers(t, "L01")
	_, l02 := handbookNumbers(t, "L02")
	_, l03 := handbookNumbers(t, "L03")
	_, l04 := handbookNumbers(t, "L04")
	_, l05 := handbookNumbers(t, "L05")
	_, l06 := handbookNumbers(t, "L06")
	near(t, "L01 wait", Kingman(0.8, 1, 0.25, 20), l01[0], 1e-9)
	near(t, "L01 lead", Kingman(0.8, 1, 0.25, 20)+20, l01[1], 1e-9)
	near(t, "L02 wait", Kingman(0.9, 1, 0.25, 20), l02[0], 1e-9)
	near(t, "L03 lead", WaitMMm(1, 0.8, 20)+20, l03[0], 1e-9)
	near(t, "L03 wait", WaitMMm(1, 0.8, 20), l03[1], 1e-9)
	near(t, "L04 Erlang C", ErlangC(2, 0.8), l04[0], 1e-5)
	near(t, "L04 wait", WaitMMm(2, 0.8, 20), l04[1], 1e-5)
	near(t, "L04 Sakasegawa", Sakasegawa(2, 0.8, 1, 1, 20), l04[2], 1e-5)
	near(t, "L05 Erlang C", ErlangC(4, 0.8), l05[0], 1e-5)
	near(t, "L05 wait", WaitMMm(4, 0.8, 20), l05[1], 1e-5)
	near(t, "L05 Sakasegawa", Sakasegawa(4, 0.8, 1, 1, 20), l05[2], 1e-5)
	near(t, "L06 Little", Little(60, 12), l06[0], 1e-12)
}

// queueRun simulates customers at m servers and gives the mean wait in h, and the mean number in the system times the
// mean time between departures, which by Little must equal the mean lead.
//
// Arrivals are a Poisson stream; runs are many short streams after a warm-up rather than one long one. The mean wait is
// corrected by a control variate (Law, ch. 11): the work brought in, whose mean is known, moves the wait of its stream.
func queueRun(t *testing.T, m int, rho float64, op Op, units bool, streams, customers int) (wait, leadLittle, lead float64) {
	t.Helper()
	const service = 20 * hour
	shop := Shop{Resources: []Resource{{ID: "m", Units: m}}}
	if !units {
		shop.Resources = nil
		for i := range m {
			shop.Resources = append(shop.Resources, Resource{ID: strconv.Itoa(i)})
			op.Resource = append(op.Resource, strconv.Itoa(i))
		}
	} else {
		op.Resource = []string{"m"}
	}
	op.ID, op.Seconds = "s", service
	gap := service / (rho * float64(m))
	warm := customers / 20
	rnd := rand.New(rand.NewPCG(20260302, uint64(m)))
	load := Load{Jobs: make([]Job, customers)}
	ops := []Op{op}
	for i := range load.Jobs {
		load.Jobs[i] = Job{ID: strconv.Itoa(i), Ops: ops}
	}
	var ys, xs []float64
	for s := range streams {
		at := 0.0
		for i := range load.Jobs {
			at += rnd.ExpFloat64() * gap
			load.Jobs[i].Release = int64(at)
		}
		r := play(t, load, shop, 0, Options{Seed: uint64(s), Rule: FirstCome})
		total, inSystem := 0.0, 0.0
		from, to := float64(load.Jobs[warm].Release), at
		for i, j := range r.Jobs {
			a, e := float64(load.Jobs[i].Release), float64(j.Ends[0])
			if i >= warm {
				total += e - a
			}
			inSystem += math.Max(0, math.Min(e, to)-math.Max(a, from))
		}
		busy := 0.0
		for _, u := range r.Resources {
			busy += u.BusySeconds
		}
		n := float64(customers - warm)
		mean := total / n
		ys = append(ys, mean-busy/float64(customers))
		lead += mean / float64(streams)
		leadLittle += Little(inSystem/(to-from), n/(to-from)) / float64(streams)
		// Control: offered load of the stream against its known mean.
		xs = append(xs, busy/at/float64(m)-rho)
	}
	var mx, my, sxy, sxx float64
	for i := range ys {
		mx += xs[i] / float64(len(xs))
		my += ys[i] / float64(len(ys))
	}
	for i := range ys {
		sxy += (xs[i] - mx) * (ys[i] - my)
		sxx += (xs[i] - mx) * (xs[i] - mx)
	}
	return (my - sxy/sxx*mx) / hour, leadLittle / hour, lead / hour
}

// The simulator with exponential arrivals and service reproduces the handbook's L03-L06 within 1 %, and with lognormal
// service the Pollaczek-Khinchine value, which Kingman's formula gives exactly for Poisson arrivals (L01, L02).
// Fixed seeds; FIRSTOFF_SLOW=1 runs ten times as long.
func TestQueueSanity(t *testing.T) {
	k := 1
	if os.Getenv("FIRSTOFF_SLOW") != "" {
		k = 10
	}
	exp := Op{Law: Exponential}
	half := Op{CV: 0.5}
	for _, c := range []struct {
		name  string
		m     int
		rho   float64
		op    Op
		units bool
		want  float64
		tol   float64
	}{
		{"L03 M/M/1 wait h", 1, 0.8, exp, true, WaitMMm(1, 0.8, 20), 0.01},
		{"L04 M/M/2 wait h", 2, 0.8, exp, true, WaitMMm(2, 0.8, 20), 0.01},
		{"L05 M/M/4 wait h, four machines", 4, 0.8, exp, false, WaitMMm(4, 0.8, 20), 0.01},
		{"L01 M/G/1 wait h", 1, 0.8, half, true, Kingman(0.8, 1, 0.25, 20), 0.01},
		{"L02 M/G/1 wait h", 1, 0.9, half, true, Kingman(0.9, 1, 0.25, 20), 0.02},
	} {
		wait, little, lead := queueRun(t, c.m, c.rho, c.op, c.units, 40*k, 20000)
		near(t, c.name, wait, c.want, c.tol)
		near(t, "L06 Little on "+strings.Fields(c.name)[0], little, lead, 0.01)
	}
}
