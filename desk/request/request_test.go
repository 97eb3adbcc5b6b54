package request

import (
	"testing"

	"firstoff/unit"
)

func TestSettle(t *testing.T) {
	for _, k := range []struct {
		s     State
		files []FileState
		want  State
	}{
		{Open, nil, Open},
		{Open, []FileState{Ready}, Analysed},
		{Open, []FileState{Ready, Failed}, Analysed},
		{Open, []FileState{Ready, Waiting}, Open},
		{Analysed, []FileState{Ready, Analysing}, Open},
		{Analysed, nil, Open},
		{Quoted, []FileState{Waiting}, Quoted},
		{Won, []FileState{Waiting}, Won},
		{Lost, nil, Lost},
		{Withdrawn, []FileState{Ready}, Withdrawn},
	} {
		var files []File
		for _, f := range k.files {
			files = append(files, File{State: f})
		}
		if got := Settle(k.s, files); got != k.want {
			t.Errorf("%s with %v: %s, want %s", k.s, k.files, got, k.want)
		}
	}
}

func TestUnitQuestion(t *testing.T) {
	for _, k := range []struct {
		u     UnitQuestion
		open  bool
		taken string
	}{
		{UnitQuestion{}, false, ""},
		{UnitQuestion{Name: unit.MM, Stated: true}, false, ""},
		{UnitQuestion{Name: unit.MM}, false, "mm, inferred from the size"},
		{UnitQuestion{Name: unit.MM, Question: "mm?"}, true, "mm, inferred from the size"},
		{UnitQuestion{Name: unit.Inch, Question: "in?", Answer: unit.Inch}, false, "in, as confirmed"},
	} {
		if k.u.Open() != k.open || k.u.Taken() != k.taken {
			t.Errorf("%+v: open %v, taken %q", k.u, k.u.Open(), k.u.Taken())
		}
	}
}

func TestRanges(t *testing.T) {
	for n, ok := range map[int]bool{-1: false, 0: false, 1: true, MaxQty: true, MaxQty + 1: false} {
		if (CheckQty(n) == nil) != ok {
			t.Errorf("quantity %d: %v", n, CheckQty(n))
		}
	}
	for s, ok := range map[string]bool{"": true, "2031-02-28": true, "2031-02-30": false, "28.02.2031": false, "2031-2-8": false} {
		if (CheckDate(s) == nil) != ok {
			t.Errorf("date %q: %v", s, CheckDate(s))
		}
	}
}
