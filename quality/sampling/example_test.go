package sampling_test

import (
	"fmt"

	"firstoff/quality/sampling"
)

func ExampleSingle() {
	p, err := sampling.Single(500, sampling.II, 1.0, sampling.Normal)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(p)
	fmt.Printf("at twice the AQL it still accepts %.0f %% of lots\n", 100*p.Accept(0.02))
	// Output:
	// inspect 50 of 500, accept at 1, refuse at 2 (letter H, AQL 1, normal)
	// at twice the AQL it still accepts 74 % of lots
}
