package store

import (
	"encoding/json"
	"strings"
	"testing"
)

// FuzzRow: whatever stands in a line of a backup, it is turned away or read into as many whole numbers and texts as the
// table has columns, and reads the same when written again.
func FuzzRow(f *testing.F) {
	for _, s := range []string{
		`[0,"R",1003]`, `[1,"C-1",1,1,"{}","X","x"]`, `[99,"a"]`, `[-1,"a","b"]`, `[0,null,1]`, `[0,1.5,2]`, `[]`, `{}`, `[0,"a\u0000",1]`, `[9223372036854775808,"a"]`, `[0,[],{}]`, `[0,"a",1]x`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		table, values, err := readRow(raw)
		if err != nil {
			return
		}
		if len(values) != strings.Count(exported[table].columns, ",")+1 {
			t.Fatalf("%d values for table %s", len(values), exported[table].name)
		}
		again, err := json.Marshal(append([]any{table}, values...))
		if err != nil {
			t.Fatal(err)
		}
		table2, values2, err := readRow(again)
		if err != nil || table2 != table {
			t.Fatalf("%s: %v", again, err)
		}
		for i := range values {
			if values[i] != values2[i] {
				t.Fatalf("%v came back as %v", values[i], values2[i])
			}
		}
	})
}
