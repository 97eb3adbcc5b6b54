package threemf

import "strings"

// Namespaces of the parts of the standard.
const (
	nsCore       = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
	nsCore2013   = "http://schemas.microsoft.com/3dmanufacturing/2013/01" // before version 1.0
	nsMaterial   = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
	nsProduction = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
	nsSlice      = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
	nsBeam       = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
	nsBalls      = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/balls/2020/07"
	nsSecure     = "http://schemas.microsoft.com/3dmanufacturing/securecontent/2019/04"
	nsBoolean    = "http://schemas.3mf.io/3dmanufacturing/booleanoperations/2023/07"
	nsSets       = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"
)

// extensions are the namespaces known by name; true for those that are read.
var extensions = map[string]struct {
	name string
	read bool
}{
	nsCore:       {"core", true},
	nsCore2013:   {"core before 1.0", true},
	nsMaterial:   {"materials and properties", true},
	nsProduction: {"production", true},
	nsSlice:      {"slice", true},
	nsBeam:       {"beam lattice", true},
	nsBalls:      {"beam lattice balls", true},
	nsSecure:     {"secure content", true},
	nsBoolean:    {"boolean operations", true},
	nsSets:       {"triangle sets", true}, // a way to select facets, without effect on the shape
	"http://schemas.microsoft.com/3dmanufacturing/production/alternatives/2021/04": {"production alternatives", false},
	"http://schemas.microsoft.com/3dmanufacturing/volumetric/2018/11":              {"volumetric", false},
	"http://schemas.microsoft.com/3dmanufacturing/volumetric/2022/01":              {"volumetric", false},
	"http://schemas.microsoft.com/3dmanufacturing/displacement/2022/07":            {"displacement", false},
	"http://schemas.3mf.io/3dmanufacturing/displacement/2023/10":                   {"displacement", false},
	"http://schemas.3mf.io/3dmanufacturing/implicit/2023/12":                       {"implicit", false},
}

// foreign says whether a namespace lies under the standard's own root without being a published part of it: what is in
// there could change the shape, so it is not passed over as a vendor's addition is.
func foreign(space string) bool {
	_, known := extensions[space]
	return !known && strings.HasPrefix(space, "http://schemas.microsoft.com/3dmanufacturing/")
}

// Content types.
const (
	typeModel   = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
	typeTexture = "application/vnd.ms-package.3dmanufacturing-3dmodeltexture"
	typeRels    = "application/vnd.openxmlformats-package.relationships+xml"
	typePNG     = "image/png"
	typeJPEG    = "image/jpeg"
)

// Relationship types.
const (
	relModel     = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
	relTexture   = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dtexture"
	relTicket    = "http://schemas.microsoft.com/3dmanufacturing/2013/01/printticket"
	relKeystore  = "http://schemas.microsoft.com/3dmanufacturing/2019/04/keystore"
	relThumbnail = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
	relCore      = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/core-properties"
	relPreserve  = "http://schemas.openxmlformats.org/package/2006/relationships/mustpreserve"

	nsRels  = "http://schemas.openxmlformats.org/package/2006/relationships"
	nsTypes = "http://schemas.openxmlformats.org/package/2006/content-types"
)
