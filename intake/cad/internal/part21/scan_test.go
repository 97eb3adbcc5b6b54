package part21

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
)

// small is a part in inches with everything the package reads, laid out as unkindly as the grammar allows.
const small = `ISO-10303-21;
HEADER; /* a comment; with 'a quote */
FILE_DESCRIPTION(('d;e'),'2;1');
FILE_NAME('it''s.stp','2020-01-01T00:00:00',('a'),('o'),'pre 1','sys  2','auth');
FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));
ENDSEC;
DATA;
#1=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));
#2=LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#1);
#3=(CONVERSION_BASED_UNIT('INCH',#2)LENGTH_UNIT()NAMED_UNIT(#99));
#4 = DERIVED_UNIT_ELEMENT ( #3 , 3. ) ;
#5=DERIVED_UNIT((#4));
#6=DERIVED_UNIT_ELEMENT(#3,2.);
#7=(AREA_UNIT()DERIVED_UNIT((#6)));
#8=(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNIT_ASSIGNED_CONTEXT((#3,#98))REPRESENTATION_CONTEXT('',''));
#10=PRODUCT('id','Pl\X\E4tte; \X2\03A9\X0\','',(#97));
#11=PRODUCT_DEFINITION_FORMATION('','',#10);
#12=PRODUCT_DEFINITION('','',#11,#96);
#13=PRODUCT_DEFINITION_SHAPE('','',#12);
#14=SHAPE_ASPECT('','solid data',#13,.F.);
#20=MEASURE_REPRESENTATION_ITEM('volume measure',VOLUME_MEASURE(2.E0),#5);
#21=REPRESENTATION('volume',(#20),#8);
#22=PROPERTY_DEFINITION('geometric validation property','',#14);
#23=PROPERTY_DEFINITION_REPRESENTATION(#22,#21);
#30=(MEASURE_REPRESENTATION_ITEM()MEASURE_WITH_UNIT(AREA_MEASURE(3.),#7)REPRESENTATION_ITEM('surface area measure'));
#31=CARTESIAN_POINT('centre point',(1.,-2.,.5));
#32=REPRESENTATION('all',(#30,#31),#8);
#33=PROPERTY_DEFINITION('Geometric Validation Property','',#13);
#34=PROPERTY_DEFINITION_REPRESENTATION(#33,#32);
#40=MANIFOLD_SOLID_BREP('',#95);
#41=SHAPE_REPRESENTATION('',(#40),#8);
#42=SHAPE_DEFINITION_REPRESENTATION(#13,#41);
#51=VERTEX_POINT('',#61);
#52=VERTEX_POINT('',#62);
#53=VERTEX_POINT('',#63);
#54=VERTEX_POINT('',#64);
#61=CARTESIAN_POINT('',(0.,0.,0.));
#62=CARTESIAN_POINT('',(4.,0.,0.));
#63=CARTESIAN_POINT('',(4.,1.,-1.));
#64=CARTESIAN_POINT('',(0.,1.,1.));
#65=CARTESIAN_POINT('far away, no corner',(0.,1.E3,1.));
ENDSEC;
END-ISO-10303-21;
`

func TestSmall(t *testing.T) {
	f := Scan([]byte(small))
	if !f.Complete || f.Records() != 34 {
		t.Errorf("complete %v, %d records", f.Complete, f.Records())
	}
	h := f.ReadHeader()
	if h.Name != "it's.stp" || h.Generator != "sys 2; pre 1" || len(h.Schema) != 1 || !strings.HasPrefix(h.Schema[0], "AUTOMOTIVE_DESIGN") {
		t.Errorf("header %+v", h)
	}
	if l := f.Lengths(); len(l) != 1 || l[0] != 25.4 {
		t.Errorf("lengths %v", l)
	}
	s := f.Stated()
	if s == nil || math.Abs(s.Volume-2*25.4*25.4*25.4) > 1e-9 || math.Abs(s.Area-3*25.4*25.4) > 1e-9 || s.Centroid == nil || *s.Centroid != [3]float64{25.4, -50.8, 12.7} {
		t.Errorf("stated %+v", s)
	}
	if n := f.products().name(12); n != "Plätte; Ω" {
		t.Errorf("product %q", n)
	}
	if e := f.Extent(); math.Abs(e-4*25.4) > 1e-9 {
		t.Errorf("extent %v", e)
	}
	if sh := f.Shapes(); sh != (Shapes{Solids: 1}) {
		t.Errorf("shapes %+v", sh)
	}
}

func TestDecode(t *testing.T) {
	for in, want := range map[string]string{
		`plain`:                   "plain",
		`it''s`:                   "it's",
		`a\\b`:                    `a\b`,
		`\X\C4`:                   "Ä",
		`\S\D`:                    "Ä", // 0x44 + 0x80 = 0xC4
		`\X2\00C400D6\X0\x`:       "ÄÖx",
		`\X2\D83DDE00\X0\`:        "😀",
		`\X4\0001F600\X0\`:        "😀",
		`\PA\x`:                   "x",
		`\X2\00C4`:                `\X2\00C4`, // no end: as it stands
		`\Xzz`:                    `\Xzz`,
		"Ä":                       "Ä",
		"\xc4":                    "Ä",
		string([]byte{'a', '\\'}): `a\`,
		`\X\4`:                    `\X\4`,
		`\X2\ZZZZ\X0\`:            `\X2\ZZZZ\X0\`,
	} {
		if got := Decode([]byte(in)); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

func TestCutOff(t *testing.T) {
	for _, n := range []int{0, 5, 200, 700, len(small) - 30} {
		if f := Scan([]byte(small[:n])); f.Complete {
			t.Errorf("%d bytes count as complete", n)
		}
	}
}

// The values other systems wrote into their files, as asserted_validation_properties.csv lists them by a
// plain search for the keywords; here they must be found through units and structure.
func TestStatedOfRealFiles(t *testing.T) {
	dir := checks.Path(t, "step/open")
	read := func(name string) *File {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return Scan(b)
	}
	file, err := os.Open(filepath.Join(dir, "asserted_validation_properties.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	// The largest volume and area of each file are those of the whole part.
	volume, area := map[string]float64{}, map[string]float64{}
	for _, r := range rows[1:] {
		v, err := strconv.ParseFloat(r[2], 64)
		if err != nil {
			continue
		}
		switch r[1] {
		case "VOLUME_MEASURE":
			volume[r[0]] = max(volume[r[0]], v)
		case "AREA_MEASURE":
			area[r[0]] = max(area[r[0]], v)
		}
	}
	if len(volume) != 5 {
		t.Fatalf("%d files with a volume", len(volume))
	}
	for name, v := range volume {
		f := read(name)
		s := f.Stated()
		l := f.Lengths()
		if s == nil || len(l) == 0 {
			t.Errorf("%s: stated %v, lengths %v", name, s, l)
			continue
		}
		u := l[0]
		if math.Abs(s.Volume-v*u*u*u) > 1e-9*s.Volume || math.Abs(s.Area-area[name]*u*u) > 1e-9*s.Area || s.Centroid == nil {
			t.Errorf("%s: stated %+v, want volume %v area %v × %v mm", name, s, v, area[name], u)
		}
	}
	// Files without such properties state nothing.
	if s := read("box.stp").Stated(); s != nil {
		t.Errorf("box.stp states %+v", s)
	}
}

func TestUnitsOfRealFiles(t *testing.T) {
	for name, want := range map[string]float64{
		"open/as1-oc-214.stp": 1, "open/as1-oc-214_inches.stp": 25.4, "open/nist_ctc_05_asme1_rd.stp": 25.4,
		"open/nist_ftc_10_asme1_rb.stp": 1, "open/box.stp": 1, "open/featuretype.STEP": 25.4,
		"generated/plate_AP203_M.step": 1000, "generated/plate_AP214IS_INCH.step": 25.4, "generated/plate_AP242DIS_MM.step": 1,
	} {
		b, err := os.ReadFile(filepath.Join(checks.Path(t, "step"), name))
		if err != nil {
			t.Fatal(err)
		}
		if l := Scan(b).Lengths(); len(l) != 1 || l[0] != want {
			t.Errorf("%s: lengths %v, want %v", name, l, want)
		}
	}
}

// AS1 (CAx-IF): two brackets with three bolts and nuts each, a rod with two nuts, a plate.
func TestOccurrencesOfRealAssembly(t *testing.T) {
	b, err := os.ReadFile(checks.Path(t, "step/open/as1-oc-214.stp"))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]int{}
	first := ""
	for _, o := range Scan(b).Occurrences(1000) {
		got[o.Product] += o.Bodies
		if first == "" {
			first = o.Path
		}
	}
	want := map[string]int{"nut": 8, "bolt": 6, "l-bracket": 2, "plate": 1, "rod": 1}
	for k, n := range want {
		if got[k] != n {
			t.Errorf("%s: %d, want %d", k, got[k], n)
		}
	}
	if len(got) != len(want) || first != "as1/rod-assembly_1/nut_1" {
		t.Errorf("%v, first %q", got, first)
	}
	if o := Scan(b).Occurrences(5); o != nil {
		t.Errorf("a limit of 5 gave %d", len(o))
	}
}

// An assembly that uses itself ends.
func TestOccurrencesWithALoop(t *testing.T) {
	src := `#1=PRODUCT_DEFINITION('','',$,$);#2=PRODUCT_DEFINITION('','',$,$);#3=PRODUCT_DEFINITION('','',$,$);
#4=NEXT_ASSEMBLY_USAGE_OCCURRENCE('a','','',#1,#2,$);#5=NEXT_ASSEMBLY_USAGE_OCCURRENCE('b','','',#2,#3,$);
#6=NEXT_ASSEMBLY_USAGE_OCCURRENCE('c','','',#3,#2,$);`
	if o := Scan([]byte(src)).Occurrences(1000); len(o) != 0 {
		t.Errorf("got %v", o)
	}
}

func TestExternal(t *testing.T) {
	src := `#1=DOCUMENT_FILE('bolt.stp','','',#2,'',$);
#3=APPLIED_EXTERNAL_IDENTIFICATION_ASSIGNMENT('nut.stp',#4,#5,(#1));#6=DOCUMENT_FILE('bolt.stp','','',#2,'',$);`
	if got := strings.Join(Scan([]byte(src)).External(), " "); got != "nut.stp bolt.stp" {
		t.Errorf("got %q", got)
	}
}

func FuzzScan(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte(small[:900]))
	f.Add([]byte("#1=A((((((((('x'"))
	f.Add([]byte("#1=(A()B(.X.,$,*,\"0F\",-1.E+3)C(D(#1)));#1=E();"))
	f.Add([]byte("/*"))
	f.Fuzz(func(t *testing.T, b []byte) {
		x := Scan(b)
		x.ReadHeader()
		x.Shapes()
		x.Lengths()
		x.Extent()
		x.External()
		if s := x.Stated(); s != nil && s.Volume == 0 && s.Area == 0 && s.Centroid == nil {
			t.Error("stated nothing but not nil")
		}
		if n := len(x.Occurrences(100)); n > 101 {
			t.Errorf("%d occurrences over the limit", n)
		}
		for i := range x.records {
			if r := &x.records[i]; r.at > r.end || r.end > len(b) {
				t.Fatalf("record %+v of %d bytes", *r, len(b))
			}
		}
	})
}

func BenchmarkScan(b *testing.B) {
	src, err := os.ReadFile(checks.Path(b, "step/open/nist_ctc_04_asme1_ap242-e1.stp"))
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(src)))
	for b.Loop() {
		f := Scan(src)
		f.Extent()
		f.Stated()
		f.Lengths()
	}
}
