package offer_test

import (
	"context"
	"fmt"

	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/geom/geomtest"
)

func ExampleEvaluate() {
	table, err := offer.Evaluate(context.Background(), offer.Job{Mesh: geomtest.Box(60, 40, 20).Mesh, Qty: 5, File: "block.stl"}, demo.Shop(), offer.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range table.Picks {
		fmt.Println(p.Tag+":", p.Option)
	}
	// Output:
	// soonest: kingfisher/ACR-R/SUP-GEL/0.027/100
	// thriftiest: heron/ABS/SUP-SOL/0.254/20
	// best-suited: bittern/PA12//0.12/100
	// pick: heron/ABS/SUP-SOL/0.254/20
}
