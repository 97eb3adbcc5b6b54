package appraise

import (
	"testing"

	"firstoff/demo"
	"firstoff/desk/estimate"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// corner is an L of 100 × 100 × 10 mm with arms 30 mm wide: boxes waste half of the platform.
func corner() *mesh.Mesh {
	id := r3.Quat{W: 1}
	return mesh.Merge(geomtest.Box(100, 30, 10).Mesh, geomtest.Box(30, 70, 10).Mesh.Transformed(id, 1, r3.Vec{Y: 30}))
}

// TestTraysHoldMoreThanRows: on no flat machine fewer copies than in rows, on some more; what a tray takes lies within the machine and
// never shrinks with more copies.
func TestTraysHoldMoreThanRows(t *testing.T) {
	m := corner()
	tr := newTrays()
	cat := demo.Shop()
	more := 0
	for i := range cat.Machines {
		x := &cat.Machines[i]
		p := estimate.Piece{SizeMM: r3.Vec{X: 100, Y: 100, Z: 10}, VolumeMM3: 51_000, Mesh: m, Pose: r3.Quat{W: 1}}
		rows, k := estimate.Rows(p, x, 1), tr.Pack(p, x, 1)
		if k.PerBuild < rows.PerBuild {
			t.Errorf("%s: %d by outlines, %d in rows", x.ID, k.PerBuild, rows.PerBuild)
		}
		if k.PerBuild == rows.PerBuild {
			continue
		}
		more++
		t.Logf("%s: %d by outlines, %d in rows", x.ID, k.PerBuild, rows.PerBuild)
		var lx, ly float64
		for n := rows.PerBuild + 1; n <= k.PerBuild; n++ {
			ux, uy := k.Used(n, p.SizeMM)
			if ux < lx || uy < ly || ux > x.Envelope.X-2*x.EdgeMM+1e-6 || uy > x.Envelope.Y-2*x.EdgeMM+1e-6 || float64(n)*5100 > ux*uy {
				t.Errorf("%s: %d copies take %g × %g mm after %g × %g", x.ID, n, ux, uy, lx, ly)
			}
			lx, ly = ux, uy
		}
	}
	if more == 0 {
		t.Error("outlines never held more than rows")
	}
}
