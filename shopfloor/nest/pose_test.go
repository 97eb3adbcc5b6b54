package nest

import (
	"fmt"
	"testing"
)

// A plate of 80 × 60 × 8 lies flat or stands on its long edge. Alone, flat is lower and so cheaper. Twelve of them take four trays
// flat (3 on 200 × 130) but one standing: with a cost of 1 h a tray and 0.05 h a mm, one standing tray (1 + 60·0.05 = 4 h) beats
// four flat ones (4·(1 + 0.4) = 5.6 h).
func TestBestPoses(t *testing.T) {
	height := []float64{8, 60}
	hours := func(pose []int, trays []Tray) float64 {
		return float64(len(trays)) * (1 + 0.05*height[pose[0]])
	}
	for _, c := range []struct{ n, pose, trays int }{{1, 0, 1}, {12, 1, 1}} {
		plate := Choice{ID: "plate", Quantity: c.n, Poses: []PoseOption{{Outline: rect(80, 60)}, {Outline: rect(80, 8)}}}
		p, err := BestPoses([]Choice{plate}, 200, 130, 2, 0, Quick{}, 20, hours)
		if err != nil {
			t.Fatal(err)
		}
		if p.Pose[0] != c.pose || len(p.Trays) != c.trays {
			t.Errorf("%d plates: pose %d on %d trays, %g h", c.n, p.Pose[0], len(p.Trays), p.Cost)
		}
	}
	if _, err := BestPoses([]Choice{{ID: "none", Quantity: 1}}, 10, 10, 0, 0, Quick{}, 5, hours); err == nil {
		t.Error("a part without a pose is laid")
	}
	if _, err := BestPoses([]Choice{{ID: "large", Quantity: 1, Poses: []PoseOption{{Outline: rect(80, 60)}}}}, 10, 10, 0, 0, Quick{}, 5, hours); err == nil {
		t.Error("a part that does not fit is laid")
	}
	// the preferred pose does not fit, the other does
	p, err := BestPoses([]Choice{{ID: "long", Quantity: 1, Poses: []PoseOption{{Outline: rect(280, 6)}, {Outline: rect(8, 6)}}}}, 200, 130, 2, 0, Quick{}, 1, hours)
	if err != nil || p.Pose[0] != 1 {
		t.Error(p, err)
	}
}

func ExamplePlatform() {
	bracket := Part{ID: "bracket", Outline: [][2]float64{{0, 0}, {60, 0}, {60, 20}, {20, 20}, {20, 60}, {0, 60}}}
	for _, n := range []int{1, 10, 25, 50} {
		bracket.Quantity = n
		trays, err := Platform([]Part{bracket}, 250, 200, 3, 5, Quick{})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%d pieces: %d trays, the last with %d\n", n, len(trays), len(trays[len(trays)-1].Pieces))
	}
	// Output:
	// 1 pieces: 1 trays, the last with 1
	// 10 pieces: 1 trays, the last with 10
	// 25 pieces: 2 trays, the last with 9
	// 50 pieces: 4 trays, the last with 2
}

// More of a part never takes fewer trays, and a tray that is full for one quantity is full for every larger one.
func TestTraysRiseWithQuantity(t *testing.T) {
	before := 0
	for n := 1; n <= 40; n++ {
		parts := []Part{{ID: "angle", Quantity: n, Outline: angleOutline}}
		trays, err := Platform(parts, 250, 200, 3, 5, Quick{})
		if err != nil {
			t.Fatal(err)
		}
		judgeTrays(t, parts, trays, 250, 200, 3, 5)
		if len(trays) < before {
			t.Errorf("%d trays for %d, %d for one fewer", len(trays), n, before)
		}
		before = len(trays)
	}
}
