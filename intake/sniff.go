package intake

import (
	"bytes"
	"path"
	"strings"
	"unicode/utf8"

	"firstoff/fault"
	"firstoff/intake/stl"
)

// kind is what a file turns out to be: a format we read, "zip", or one of the things we can only name.
type kind string

const (
	kindZIP    kind = "zip"
	kindSTL    kind = "stl"
	kindOBJ    kind = "obj"
	kindPLY    kind = "ply"
	kindOFF    kind = "off"
	kindAMF    kind = "amf"
	kindGLB    kind = "glb"
	kind3MF    kind = "3mf"
	kindSTEP   kind = "step"
	kindIGES   kind = "iges"
	kindBREP   kind = "brep"
	kindCAD    kind = "cad system's own"
	kindKernel kind = "solid modeller's own"
	kindScene  kind = "scene"
	kindDraw   kind = "drawing"
	kindCode   kind = "machine code"
	kindPaper  kind = "document"
	kindPack   kind = "other archive"
	kindText   kind = "text"
	kindOther  kind = "unknown"
)

// extensions are the usual endings of file names. They decide only where the content does not.
var extensions = map[string]kind{
	".stl": kindSTL, ".obj": kindOBJ, ".ply": kindPLY, ".off": kindOFF, ".amf": kindAMF, ".glb": kindGLB, ".gltf": kindGLB, ".3mf": kind3MF,
	".step": kindSTEP, ".stp": kindSTEP, ".p21": kindSTEP, ".iges": kindIGES, ".igs": kindIGES, ".brep": kindBREP, ".brp": kindBREP, ".zip": kindZIP,

	".sldprt": kindCAD, ".sldasm": kindCAD, ".ipt": kindCAD, ".iam": kindCAD, ".prt": kindCAD, ".asm": kindCAD, ".par": kindCAD, ".psm": kindCAD,
	".catpart": kindCAD, ".catproduct": kindCAD, ".cgr": kindCAD, ".3dxml": kindCAD, ".model": kindCAD, ".f3d": kindCAD, ".f3z": kindCAD, ".3dm": kindCAD,
	".fcstd": kindCAD, ".skp": kindCAD, ".icd": kindCAD, ".e3": kindCAD, ".xcs": kindCAD, ".shapr": kindCAD,
	".x_t": kindKernel, ".x_b": kindKernel, ".xmt_txt": kindKernel, ".xmt_bin": kindKernel, ".sat": kindKernel, ".sab": kindKernel, ".jt": kindKernel, ".neu": kindKernel,
	".3ds": kindScene, ".fbx": kindScene, ".dae": kindScene, ".wrl": kindScene, ".x3d": kindScene, ".usd": kindScene, ".usdz": kindScene, ".usda": kindScene,
	".usdc": kindScene, ".blend": kindScene, ".max": kindScene, ".ma": kindScene, ".mb": kindScene, ".c4d": kindScene, ".lwo": kindScene, ".abc": kindScene,
	".dwg": kindDraw, ".dxf": kindDraw, ".slddrw": kindDraw, ".idw": kindDraw, ".svg": kindDraw, ".catdrawing": kindDraw, ".dft": kindDraw,
	".gcode": kindCode, ".gco": kindCode, ".nc": kindCode, ".tap": kindCode, ".bgcode": kindCode, ".cnc": kindCode,
	".pdf": kindPaper, ".png": kindPaper, ".jpg": kindPaper, ".jpeg": kindPaper, ".gif": kindPaper, ".tif": kindPaper, ".tiff": kindPaper, ".bmp": kindPaper,
	".heic": kindPaper, ".webp": kindPaper, ".doc": kindPaper, ".docx": kindPaper, ".xls": kindPaper, ".xlsx": kindPaper, ".ppt": kindPaper, ".pptx": kindPaper,
	".odt": kindPaper, ".ods": kindPaper, ".rtf": kindPaper, ".htm": kindPaper, ".html": kindPaper, ".md": kindPaper, ".csv": kindPaper, ".eml": kindPaper, ".msg": kindPaper,
	".mtl": kindPaper, ".bin": kindPaper, ".log": kindPaper, ".json": kindPaper, ".db": kindPaper, ".ini": kindPaper,
	".rar": kindPack, ".7z": kindPack, ".gz": kindPack, ".tgz": kindPack, ".tar": kindPack, ".bz2": kindPack, ".xz": kindPack, ".zst": kindPack,
}

// beginnings are the first bytes of things we can only name.
var beginnings = []struct {
	bytes string
	kind  kind
}{
	{"V5_CFV", kindCAD}, {"3D Geometry File Format ", kindCAD}, {"#UGC:2", kindCAD}, {"\xff\xfe\xff\x0eS\x00k\x00e\x00t\x00c\x00h\x00", kindCAD},
	{"**ABCDEFGHIJKLMNOPQRSTUVWXYZ", kindKernel}, {"ACIS BinaryFile", kindKernel}, {"ASM BinaryFile", kindKernel}, {"PS\x00\x00\x00", kindKernel},
	{"Kaydara FBX Binary", kindScene}, {"#VRML ", kindScene}, {"#X3D ", kindScene}, {"#usda ", kindScene}, {"PXR-USDC", kindScene}, {"BLENDER", kindScene},
	{"%PDF-", kindPaper}, {"\x89PNG\r\n", kindPaper}, {"\xff\xd8\xff", kindPaper}, {"GIF8", kindPaper}, {"II*\x00", kindPaper}, {"MM\x00*", kindPaper}, {"{\\rtf", kindPaper},
	{"AC10", kindDraw}, {"AutoCAD Binary DXF", kindDraw},
	{"Rar!\x1a\x07", kindPack}, {"7z\xbc\xaf\x27\x1c", kindPack}, {"\x1f\x8b", kindPack}, {"BZh", kindPack}, {"\xfd7zXZ\x00", kindPack}, {"\x28\xb5\x2f\xfd", kindPack},
}

// sniff tells what data is. name serves where the content leaves several answers.
func sniff(name string, data []byte) kind {
	ext := extensions[strings.ToLower(path.Ext(name))]
	begins := func(s string) bool { return bytes.HasPrefix(data, []byte(s)) }
	head := data[:min(len(data), 2048)]
	text := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n")
	starts := func(s string) bool { return len(text) >= len(s) && strings.EqualFold(string(text[:len(s)]), s) }
	switch {
	case begins("PK\x03\x04"), begins("PK\x05\x06"):
		return sniffZIP(data, ext)
	case begins("glTF"):
		return kindGLB
	case begins("ply\n"), begins("ply\r"):
		return kindPLY
	case starts("ISO-10303-21"):
		return kindSTEP
	case begins("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"): // a compound file: CAD systems and office programs both use it
		if ext == kindPaper || ext == kindDraw || ext == kindScene {
			return ext
		}
		return kindCAD
	case isIGES(head):
		return kindIGES
	case bytes.Contains(head, []byte("DBRep_DrawableShape")), starts("CASCADE Topology"), bytes.Contains(head, []byte("Open CASCADE Topology")):
		return kindBREP
	case stl.Plausible(data) && (!stl.Text(data) || bytes.Contains(bytes.ToLower(head), []byte("facet"))):
		return kindSTL
	}
	for _, m := range beginnings {
		if begins(m.bytes) {
			return m.kind
		}
	}
	if len(data) > 262 && string(data[257:262]) == "ustar" {
		return kindPack
	}
	switch {
	case starts("<"):
		return sniffXML(text, ext)
	case isOFF(text):
		return kindOFF
	case starts("{") && bytes.Contains(head, []byte("\"asset\"")), ext == kindGLB && starts("{"):
		return kindGLB
	case starts("Version ") && bytes.Contains(head, []byte(" JT ")):
		return kindKernel
	case ext == kindSTL && (stl.Text(data) || !printable(head)):
		return kindSTL // the reader says what is wrong with it
	case isUTF16(data) && (ext == kindOBJ || ext == ""):
		return kindOBJ
	case printable(head):
		switch ext {
		case kindOBJ, kindPLY, kindOFF, kindBREP, kindSTEP, kindIGES, kindCode, kindDraw, kindKernel, kindCAD, kindScene, kindPaper:
			if ext != kindOBJ || objLines(head) {
				return ext
			}
		}
		if objLines(head) {
			return kindOBJ
		}
		if isMachineCode(text) {
			return kindCode
		}
		return kindText
	}
	if ext != "" {
		return ext
	}
	return kindOther
}

// sniffZIP tells a 3MF package and office documents from other archives by their directory, which lies open at the end.
func sniffZIP(data []byte, ext kind) kind {
	has := func(s string) bool {
		return bytes.Contains(data[:min(len(data), 1<<16)], []byte(s)) || bytes.Contains(data[max(0, len(data)-1<<16):], []byte(s))
	}
	switch {
	case ext == kindAMF:
		return ext
	case has("_rels/.rels"):
		switch {
		case has("word/document.xml"), has("xl/workbook.xml"), has("ppt/presentation.xml"):
			return kindPaper
		}
		return kind3MF
	case has("[Content_Types].xml"):
		return kind3MF
	case has("META-INF/manifest.xml") && has("mimetype"):
		return kindPaper
	}
	if ext == kindCAD || ext == kindScene || ext == kindPaper {
		return ext
	}
	return kindZIP
}

func sniffXML(text []byte, ext kind) kind {
	low := bytes.ToLower(text)
	switch {
	case bytes.Contains(low, []byte("<amf")):
		return kindAMF
	case bytes.Contains(low, []byte("<svg")), ext == kindDraw:
		return kindDraw
	case bytes.Contains(low, []byte("<html")), ext == kindPaper:
		return kindPaper
	case bytes.Contains(low, []byte("<collada")), bytes.Contains(low, []byte("<x3d")), ext == kindScene:
		return kindScene
	case ext == kindAMF:
		return ext
	}
	return kindText
}

// isOFF says whether the text begins with OFF or one of its variants, or has its prefixes.
func isOFF(text []byte) bool {
	for len(text) > 0 && text[0] == '#' { // comments before the word
		_, text, _ = bytes.Cut(text, []byte("\n"))
		text = bytes.TrimLeft(text, " \t\r\n")
	}
	i := 0
	for i < len(text) && i < 6 && text[i] > ' ' {
		i++
	}
	word := strings.TrimPrefix(string(text[:i]), "ST")
	for _, p := range []string{"C", "N", "4", "n"} {
		word = strings.TrimPrefix(word, p)
	}
	return word == "OFF"
}

// isIGES says whether the first lines are 80 columns with the section letter and a running number at their end.
func isIGES(head []byte) bool {
	line, _, _ := bytes.Cut(head, []byte("\n"))
	line = bytes.TrimRight(line, "\r")
	if len(line) < 80 && len(head) >= 80 {
		line = head[:80]
	}
	if len(line) < 80 || line[72] != 'S' && line[72] != 'C' && line[72] != 'B' {
		return false
	}
	return strings.TrimLeft(string(line[73:80]), " 0") == "1"
}

// printable says whether b is text in some 8-bit encoding.
func printable(b []byte) bool {
	for _, c := range b {
		if c < ' ' && c != '\t' && c != '\r' && c != '\n' && c != '\f' && c != 0x1a || c == 0x7f {
			return false
		}
	}
	return len(b) > 0
}

// isUTF16 says whether data begins as UTF-16 text does: with its mark, or with two letters of it.
func isUTF16(data []byte) bool {
	if len(data) < 4 || len(data)%2 != 0 {
		return false
	}
	return data[0] == 0xff && data[1] == 0xfe || data[0] == 0xfe && data[1] == 0xff ||
		data[1] == 0 && data[3] == 0 && data[0] >= '\n' && data[0] < 0x7f && data[2] >= '\n' && data[2] < 0x7f
}

// objLines says whether one of the first lines is a vertex, and none is prose.
func objLines(head []byte) bool {
	vertices := 0
	for line := range bytes.Lines(head) {
		f := bytes.Fields(line)
		if len(f) == 0 || f[0][0] == '#' {
			continue
		}
		switch string(f[0]) {
		case "v", "vn", "vt", "f":
			if len(f) < 3 && f[0][0] == 'v' && bytes.HasSuffix(line, []byte("\n")) {
				return false
			}
			vertices++
		case "o", "g", "s", "mtllib", "usemtl", "vp", "l", "p":
		default:
			return vertices >= 3
		}
	}
	return vertices > 0
}

// isMachineCode says whether the first lines are words of a letter and a number, as numerical controls read.
func isMachineCode(text []byte) bool {
	n := 0
	for line := range bytes.Lines(text) {
		line = bytes.TrimSpace(line)
		if len(line) == 0 || line[0] == ';' || line[0] == '(' || line[0] == '%' {
			continue
		}
		if len(line) < 2 || !strings.ContainsRune("GMTNOgm", rune(line[0])) || line[1] < '0' || line[1] > '9' {
			return false
		}
		if n++; n == 3 {
			return true
		}
	}
	return n > 0
}

// named is the answer to something recognised that is not a model we can read.
func named(k kind, name string) error {
	e := strings.ToLower(path.Ext(name))
	switch k {
	case kindCAD:
		return fault.New(fault.Unsupported, "cad_native", "", "This is a CAD system's own file format, which only that system can read; export the part from it as STEP (AP214 or AP242), or else as IGES, 3MF or STL, and send that.")
	case kindKernel:
		return fault.New(fault.Unsupported, "cad_kernel", "", "This is a solid modeller's own exchange format, which is not read here; export the part as STEP (AP214 or AP242), or else as IGES, 3MF or STL, and send that.")
	case kindScene:
		return fault.New(fault.Unsupported, "scene_format", "", "This is a format for pictures and scenes, which is not read here; export the part as STL, OBJ, 3MF or GLB and send that.")
	case kindDraw:
		return fault.New(fault.Unsupported, "drawing_not_model", "", "This is a drawing, not a solid model; send the model as STEP, 3MF or STL, and the drawing along with it.")
	case kindCode:
		return fault.New(fault.Unsupported, "machine_code", "", "These are instructions for one machine, not a model; send the model itself as STEP, 3MF or STL.")
	case kindPaper:
		return fault.New(fault.Unsupported, "document_not_model", "", "This is a document or picture, not a model; send the model as STEP, 3MF or STL, and the document along with it.")
	case kindPack:
		return fault.New(fault.Unsupported, "archive_kind", "", "This kind of archive is not opened here; pack the files as ZIP.")
	case kindText:
		if _, known := extensions[e]; known && e != "" {
			return fault.New(fault.Invalid, "not_a_model", "", "The file is named %s but holds only text that is no model; send the model itself.", e)
		}
		return fault.New(fault.Invalid, "not_a_model", "", "The file holds only text that is no model; send the model as STEP, 3MF or STL.")
	}
	return fault.New(fault.Unsupported, "format_unknown", "", "The file is of no kind known here; send the model as STEP, IGES, 3MF, STL, OBJ, PLY, AMF, GLB or OFF.")
}

// validName refuses names that cannot be shown or stored safely.
func validName(name string) error {
	if !utf8.ValidString(name) {
		return fault.New(fault.Invalid, "name_not_utf8", "", "The file's name is not UTF-8; rename it with plain letters and send it again.")
	}
	if strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return fault.New(fault.Invalid, "name_control", "", "The file's name holds control characters; rename it with plain letters and send it again.")
	}
	return nil
}
