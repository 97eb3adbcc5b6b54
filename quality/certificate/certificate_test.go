package certificate

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/quality/inspect"
)

func example() Certificate {
	return Certificate{Number: "C-1001", Issuer: "the bureau", Client: "a client", Order: "O-77", ClientRef: "PO 5", Part: "cover", Revision: "B", File: digest.Of([]byte("part")),
		Quantity: 2, Serials: []string{"1", "2"}, Process: "PBF-LB/P", Machine: "M-1", Settings: "S-4", Material: "nylon 12", Lots: []string{"L-1"}, Treatments: []string{"dyed"},
		Standards: []string{"ISO 2768-m"}, Evidence: []Evidence{{"traveller", "T-9", digest.Of([]byte("t"))}, {"inspection", "I-3", digest.Of([]byte("i"))}},
		SignedBy: "ann", Role: "quality", At: time.Date(2026, 3, 1, 10, 0, 0, 500, time.FixedZone("", 3600)), Replaces: "C-900"}
}

func conceded() inspect.Nonconformance {
	n := inspect.Nonconformance{Number: "N-1", FoundBy: "bob", Part: "cover", Lot: "L-1", Quantity: 1, Requirement: "10 ± 0.1", Found: "10.2", Designator: inspect.Major}
	n, err := n.Dispose(inspect.Disposal{Disposition: inspect.UseAsIs, Quantity: 1, By: "ann", Authority: inspect.Quality, Concession: "K-5", Reason: "hidden"})
	if err != nil {
		panic(err)
	}
	return n
}

func made(t *testing.T) Certificate {
	t.Helper()
	c, err := Make(example(), []inspect.Nonconformance{conceded()})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestMake(t *testing.T) {
	c := made(t)
	if !c.Intact() || len(c.Deviations) != 1 || c.Deviations[0].Concession != "K-5" || c.Evidence[0].Kind != "inspection" || !strings.Contains(c.Statement, "except for the deviations") {
		t.Errorf("%+v", c)
	}
	plain, err := Make(example(), nil)
	if err != nil || !strings.HasSuffix(plain.Statement, "conform without exception.") {
		t.Errorf("%s %v", plain.Statement, err)
	}
	// Evidence named in another order or twice is the same certificate.
	x := example()
	x.Evidence = []Evidence{x.Evidence[1], x.Evidence[0], x.Evidence[1]}
	again, err := Make(x, nil)
	if err != nil || again.Seal != plain.Seal {
		t.Error("the order of evidence changes the seal", err)
	}
}

// Every field of every struct is changed in turn; each change must break the seal.
func TestEveryFieldIsSealed(t *testing.T) {
	c := made(t)
	n := 0
	var walk func(v reflect.Value, name string, check func())
	walk = func(v reflect.Value, name string, check func()) {
		switch v.Kind() {
		case reflect.Struct:
			if at, ok := v.Interface().(time.Time); ok {
				v.Set(reflect.ValueOf(at.Add(time.Second)))
				check()
				v.Set(reflect.ValueOf(at))
				n++
				return
			}
			for i := range v.NumField() {
				if v.Type().Field(i).Name != "Seal" {
					walk(v.Field(i), name+"."+v.Type().Field(i).Name, check)
				}
			}
		case reflect.Slice:
			if v.Len() == 0 {
				t.Errorf("%s is empty in the example", name)
			}
			for i := range v.Len() {
				walk(v.Index(i), name, check)
			}
			old := reflect.ValueOf(v.Interface())
			v.Set(old.Slice(0, v.Len()-1))
			check()
			v.Set(old)
			n++
		case reflect.String:
			old := v.String()
			for _, s := range []string{old + "x", ""} {
				v.SetString(s)
				check()
			}
			v.SetString(old)
			n++
		case reflect.Int:
			v.SetInt(v.Int() + 1)
			check()
			v.SetInt(v.Int() - 1)
			n++
		default:
			t.Fatalf("%s: a kind of field this test does not know", name)
		}
	}
	walk(reflect.ValueOf(&c).Elem(), "certificate", func() {
		if c.Intact() {
			t.Errorf("a change is not sealed: %+v", c)
		}
	})
	if !c.Intact() || n < 30 {
		t.Fatalf("%d changes tried", n)
	}
	// Moving a letter from one field to the next is a change too.
	c.Part, c.Revision = c.Part+c.Revision, ""
	if c.Intact() {
		t.Error("fields run into each other")
	}
}

func TestJSONKeepsTheSeal(t *testing.T) {
	c := made(t)
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var back Certificate
	if err := json.Unmarshal(b, &back); err != nil || !back.Intact() || back.Seal != c.Seal || len(Differences(c, back)) != 0 {
		t.Errorf("%v %v", err, Differences(c, back))
	}
	back.Quantity, back.Lots = 3, []string{"L-2"}
	if d := Differences(c, back); !reflect.DeepEqual(d, []string{"quantity", "lots"}) {
		t.Error(d)
	}
}

func TestPrinted(t *testing.T) {
	c := made(t)
	r := &Record{Certificate: c}
	code := c.Code()
	if len(code) != 19 {
		t.Fatal(code)
	}
	sloppy := strings.NewReplacer("-", " ", "0", "o", "1", "l").Replace(strings.ToLower(code))
	for _, x := range []struct {
		number, code string
		r            *Record
		want         Answer
	}{
		{"C-1001", code, r, Genuine}, {"c-1001 ", sloppy, r, Genuine}, {"C-1001", string(c.Seal), r, Genuine}, {"C-1001", strings.ToUpper(string(c.Seal)), r, Genuine},
		{"C-1001", "", r, Altered}, {"C-1001", string(c.Seal[:20]), r, Altered}, {"C-1001", code[:18] + "!", r, Altered}, {"C-1002", code, r, Unknown}, {"C-1001", code, nil, Unknown},
		{"C-1001", code, &Record{Certificate: c, ReplacedBy: "C-1005"}, Replaced}, {"C-1001", code, &Record{Certificate: c, ReplacedBy: "C-1005", Withdrawn: "recall"}, Withdrawn},
	} {
		if got := Verify(x.number, x.code, x.r); got != x.want {
			t.Errorf("%s %s: %s, want %s", x.number, x.code, got, x.want)
		}
	}
	d := c
	d.Quantity = 200
	if got := Verify("C-1001", code, &Record{Certificate: d}); got != Damaged {
		t.Error(got)
	}
	// A certificate made anew over the altered data has another code.
	d, err := Make(d, nil)
	if err == nil && d.Code() == code {
		t.Error("same code for another certificate")
	}
}

func TestRefusals(t *testing.T) {
	held := inspect.Nonconformance{Number: "N-2", Quantity: 1}
	for _, x := range []struct {
		code   string
		change func(*Certificate)
		raised []inspect.Nonconformance
	}{
		{"certificate_held", func(*Certificate) {}, []inspect.Nonconformance{held}},
		{"certificate_incomplete", func(c *Certificate) { c.Client = " " }, nil},
		{"certificate_incomplete", func(c *Certificate) { c.At = time.Time{} }, nil},
		{"certificate_incomplete", func(c *Certificate) { c.File = "x" }, nil},
		{"certificate_incomplete", func(c *Certificate) { c.Lots = nil }, nil},
		{"certificate_quantity", func(c *Certificate) { c.Quantity = 0 }, nil},
		{"certificate_quantity", func(c *Certificate) { c.Quantity = 3 }, nil},
		{"certificate_no_evidence", func(c *Certificate) { c.Evidence = nil }, nil},
		{"certificate_evidence", func(c *Certificate) { c.Evidence[0].Digest = "x" }, nil},
		{"certificate_no_concession", func(c *Certificate) { c.Deviations = []Deviation{{Number: "N-9"}} }, nil},
	} {
		c := example()
		x.change(&c)
		if _, err := Make(c, x.raised); fault.Of(err) == nil || fault.Of(err).Code != x.code {
			t.Errorf("want %s, got %v", x.code, err)
		}
	}
}
