package web

import (
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"

	"firstoff/bureau/proving"
	"firstoff/fault"
	"firstoff/quality/scan"
	"firstoff/unit"
)

// mostScan is how large an uploaded scan may be.
const mostScan = 512 << 20

func (k *desk) scanRoutes(on func(string, func(http.ResponseWriter, *http.Request) error)) {
	on("POST /orders/{id}/scans", k.compareScan)
	on("GET /scans/{id}", k.scan)
	on("GET /scans/{id}/{what}", k.scanFile)
}

func (k *desk) compareScan(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, mostScan)
	if err := r.ParseMultipartForm(32 << 20); err != nil {
		return fault.New(fault.TooLarge, "upload_too_large", "file", "The scan could not be taken; it may have %d MiB at most.", mostScan>>20)
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }()
	f, head, err := r.FormFile("file")
	if err != nil {
		return fault.New(fault.Invalid, "file_missing", "file", "Choose a file with measured points: PLY, XYZ, or any model file.")
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return err
	}
	line, _ := strconv.Atoi(r.FormValue("line"))
	u := unit.MM
	if v := r.FormValue("unit"); v != "" {
		if u, err = unit.Parse(v); err != nil {
			return err
		}
	}
	tolerance, err := number(r, "tolerance")
	if err != nil {
		return err
	}
	s, err := k.Proving.Compare(r.Context(), k.byWhom(r), r.PathValue("id"), line, strings.TrimSpace(r.FormValue("piece")), head.Filename, data, u, tolerance)
	if err != nil {
		return err
	}
	return seeOther(w, r, "/scans/"+s.ID)
}

func (k *desk) scan(w http.ResponseWriter, r *http.Request) error {
	s, err := k.Proving.Scan(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, scanPage(k.frame(r, "Scan "+s.ID, "inspection", "viewer.entry.js"), s))
	return nil
}

func (k *desk) scanFile(w http.ResponseWriter, r *http.Request) error {
	what, _, _ := strings.Cut(r.PathValue("what"), ".")
	s, f, err := k.Proving.OpenScan(r.Context(), r.PathValue("id"), what)
	if err != nil {
		return err
	}
	defer f.Close()
	kind := map[string]string{"map": "model/gltf-binary", "report": "application/pdf", "points": "application/octet-stream"}[what]
	w.Header().Set("Content-Type", kind)
	if what == "points" {
		w.Header().Set("Content-Disposition", `attachment; filename="`+s.ID+`-points"`)
	}
	http.ServeContent(w, r, "", s.At, f)
	return nil
}

func bandColor(i int) string {
	c := scan.Colors[i]
	return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])
}

// bars are the bins of a scan as bars of a field of 560 × 120.
type bar struct {
	x, y, w, h float64
	color      string
}

func bars(s proving.Scan) []bar {
	most, n := 1, len(s.Result.Bins)
	for _, b := range s.Result.Bins {
		most = max(most, b.Count)
	}
	var out []bar
	for i, b := range s.Result.Bins {
		h := 110 * float64(b.Count) / float64(most)
		out = append(out, bar{560 * float64(i) / float64(n), 115 - h, 560/float64(n) - 2, h, bandColor(scan.Band((b.From+b.To)/2, s.Result.BandMM))})
	}
	return out
}
