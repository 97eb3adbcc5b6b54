package intake_test

import (
	"context"
	"fmt"

	"firstoff/fault"
	"firstoff/intake"
)

func ExampleRead() {
	const bracket = `# bracket, units: mm
v 0 0 0
v 60 0 0
v 0 40 0
v 0 0 25
f 1 3 2
f 1 2 4
f 1 4 3
f 2 3 4
`
	f, err := intake.Read(context.Background(), "bracket.obj", []byte(bracket), intake.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	size := f.Bodies[0].Mesh.Box().Size()
	fmt.Printf("%s: %s in %s, %.0f × %.0f × %.0f mm, %.0f mm³\n", f.Name, f.Format, f.Unit.Name, size.X, size.Y, size.Z, f.Bodies[0].Mesh.Measure().VolumeMM3)

	_, err = intake.Read(context.Background(), "bracket.stl", []byte("the file comes tomorrow"), intake.Options{})
	fmt.Println(fault.Of(err).Code+":", err)
	// Output:
	// bracket.obj: obj in mm, 60 × 40 × 25 mm, 10000 mm³
	// not_a_model: The file is named .stl but holds only text that is no model; send the model itself.
}
