package appraise

import (
	"context"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake"
	"firstoff/part/survey"
	"firstoff/unit"
)

// Nominal reads one member of a file again and gives its mended surface in mm, as measured points are held against it.
func (d *Desk) Nominal(ctx context.Context, name string, data []byte, said unit.Length, member int) (*mesh.Mesh, error) {
	all, err := d.Reader.ReadAll(ctx, name, data, intake.Options{Unit: said, Limits: d.Limits, ToleranceMM: d.ToleranceMM})
	if err != nil {
		return nil, err
	}
	if member < 0 || member >= len(all) {
		return nil, fault.New(fault.NotFound, "member_missing", name, "The file has no part %d any more.", member+1)
	}
	if all[member].Err != nil {
		return nil, all[member].Err
	}
	s, err := survey.Of(ctx, all[member].File, survey.Options{})
	if err != nil {
		return nil, err
	}
	return s.Whole, nil
}
