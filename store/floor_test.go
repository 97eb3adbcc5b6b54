package store_test

import (
	"strings"
	"testing"

	"firstoff/store"
	"firstoff/store/pgtest"
	"firstoff/store/storetest"
)

func TestFloorSQLite(t *testing.T) { storetest.Floor(t, lite) }

func TestFloorPostgres(t *testing.T) {
	server := pgtest.Start(t)
	storetest.Floor(t, func(t *testing.T) *store.Store { return at(t, server.Database(t)) })
}

// A trace walks an index and never the whole table, from wherever it starts.
func TestTraceByIndex(t *testing.T) {
	s := lite(t)
	for _, column := range []string{"number", "lot", "machine", "build", "who", "traveller", "order_id", "client_id", "digest"} {
		rows, err := s.DB().Query("EXPLAIN QUERY PLAN SELECT t.piece FROM touches t LEFT JOIN clients c ON c.id = t.client_id WHERE t."+column+" = ?", "x")
		if err != nil {
			t.Fatal(err)
		}
		plan := ""
		for rows.Next() {
			var a, b, c int
			var text string
			if err := rows.Scan(&a, &b, &c, &text); err != nil {
				t.Fatal(err)
			}
			plan += text + "\n"
		}
		if err := rows.Err(); err != nil || !strings.Contains(plan, "SEARCH t USING") || strings.Contains(plan, "SCAN t") {
			t.Errorf("%s: %v\n%s", column, err, plan)
		}
		_ = rows.Close()
	}
}
