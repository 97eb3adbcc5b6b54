package main

import (
	"context"

	"firstoff/appraise"
	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake"
	"firstoff/intake/cad"
	"firstoff/intake/content"
	"firstoff/part"
	"firstoff/part/survey"
	"firstoff/printability"
	"firstoff/shop"
)

// cadWorkers keeps kernel processes between files; each file still gets a kernel of its own.
var cadWorkers = cad.NewWorkers(2)

// reader is the intake door with everything this binary can read.
func reader() intake.Reader {
	return intake.Reader{CAD: func(ctx context.Context, format, name string, data []byte, opt intake.Options) (*content.Content, error) {
		return cad.Read(ctx, name, data, cad.Options{Format: format, Limits: opt.Limits, Workers: cadWorkers, Tolerance: opt.ToleranceMM})
	}}
}

// findings looks at a part for every process of the shop.
func findings(s *survey.Survey, cat *shop.Catalogue, r part.Requirement, pose *r3.Quat) []part.Finding {
	return printability.ShopPosed(s.Facts, r, printability.Look(s.Whole), cat, pose)
}

// newDesk is the computing half of the desk as this binary wires it. Findings are looked for when a catalogue is given.
func newDesk(cat func() *shop.Catalogue) *appraise.Desk {
	d := &appraise.Desk{Reader: reader()}
	if cat != nil {
		d.Findings = func(_ context.Context, s *survey.Survey) []part.Finding {
			return findings(s, cat(), part.Requirement{}, nil)
		}
	}
	return d
}

// cadAvailable says whether CAD files can be read.
func cadAvailable() error {
	if err := cad.Available(); err != nil {
		return fault.Because(err, fault.Unsupported, "cad_kernel_missing", "", "The CAD kernel was not built in, so STEP, IGES and BREP cannot be read; build with make build.")
	}
	return nil
}
