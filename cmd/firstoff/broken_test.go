package main

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"firstoff/geom/geomtest"
	"firstoff/intake/stl"
	"firstoff/web/browsertest"
)

// input is a file as a client might send it.
type input struct {
	name string
	data []byte
}

// broken are the ten broken inputs every face of the program must answer with one plain sentence and a stable code.
func broken(t testing.TB) map[string]input {
	t.Helper()
	var good bytes.Buffer
	if err := stl.Write(&good, "part", geomtest.Box(10, 10, 10).Mesh); err != nil {
		t.Fatal(err)
	}
	nan := bytes.Clone(good.Bytes())
	binary.LittleEndian.PutUint32(nan[84+12:], math.Float32bits(float32(math.NaN())))
	huge := bytes.Clone(good.Bytes())
	binary.LittleEndian.PutUint32(huge[80:], 2<<30/50)
	none := append(make([]byte, 80), 0, 0, 0, 0)
	lie := append([]byte("solid part\nfacet normal 0 0 1\nouter loop\n"), good.Bytes()[84:]...)
	packed := func(name string, body []byte, n int) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for range n {
			w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, NonUTF8: name[0] == 0xff})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write(body); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	var bomb bytes.Buffer
	z := zip.NewWriter(&bomb)
	for _, f := range []struct{ name, body string }{
		{"[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>`},
		{"_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="r0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`},
		{"3D/3dmodel.model", "<model>" + strings.Repeat(" ", 64<<20) + "</model>"},
	} {
		w, err := z.Create(f.name)
		if err != nil {
			t.Fatal(err)
		}
		_, _ = w.Write([]byte(f.body))
	}
	_ = z.Close()
	return map[string]input{
		"truncated":      {"cut.stl", good.Bytes()[:good.Len()-70]},
		"not a number":   {"nan.stl", nan},
		"text that lies": {"lie.stl", lie},
		"no triangles":   {"none.stl", none},
		"bomb":           {"bomb.3mf", bomb.Bytes()},
		"traversal":      {"up.zip", packed("../../etc/part.stl", good.Bytes(), 1)},
		"huge length":    {"huge.stl", huge},
		"renamed text":   {"letter.stl", []byte("Dear desk, please find attached nothing at all.\n")},
		"name not UTF-8": {"odd.zip", packed("\xff\xfe.stl", good.Bytes(), 1)},
		"twice the name": {"twice.zip", packed("part.stl", good.Bytes(), 2)},
	}
}

func TestBrokenInputsOnTheCommandLine(t *testing.T) {
	codes := map[string]bool{}
	for what, in := range broken(t) {
		p := filepath.Join(t.TempDir(), in.name)
		if err := os.WriteFile(p, in.data, 0o644); err != nil {
			t.Fatal(err)
		}
		for _, command := range []string{"check", "quote"} {
			var out, errs bytes.Buffer
			code := run(t.Context(), []string{command, "--json", p}, streams{strings.NewReader(""), &out, &errs})
			var body struct {
				Error struct{ Code, Message, Where string }
			}
			if err := json.Unmarshal(bytes.TrimSpace(out.Bytes()), &body); err != nil {
				t.Errorf("%s, %s: %v in %q", what, command, err, out.String())
				continue
			}
			m := body.Error.Message
			if code != exitBad || body.Error.Code == "" || body.Error.Code == "internal" || m == "" || strings.Contains(m, "\n") || !strings.HasSuffix(m, ".") {
				t.Errorf("%s, %s: exit %d, %q: %q", what, command, code, body.Error.Code, m)
			}
			codes[body.Error.Code] = true
		}
	}
	if len(codes) < 8 {
		t.Errorf("ten different mistakes get only %d codes", len(codes))
	}
}

// The same ten through the server: each file fails with its sentence, a good one beside them is quoted, the server stays up.
func TestBrokenInputsOnTheServer(t *testing.T) {
	base := server(t)
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	_ = w.WriteField("title", "broken")
	_ = w.WriteField("firm", "Alder Tools")
	n := 0
	add := func(name string, data []byte) {
		h := textproto.MIMEHeader{}
		h.Set("Content-Disposition", `form-data; name="files"; filename="`+name+`"`)
		p, err := w.CreatePart(h)
		if err != nil {
			t.Fatal(err)
		}
		_, _ = p.Write(data)
		n++
	}
	for _, in := range broken(t) {
		add(in.name, in.data)
	}
	var good bytes.Buffer
	if err := stl.Write(&good, "part", geomtest.Box(20, 15, 10).Mesh); err != nil {
		t.Fatal(err)
	}
	add("good.stl", good.Bytes())
	_ = w.Close()
	req, _ := http.NewRequest("POST", base+"/requests", &body)
	req.Header.Set("Content-Type", w.FormDataContentType())
	req.Header.Set("Accept", "application/json")
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	var opened struct{ ID string }
	if err := json.NewDecoder(r.Body).Decode(&opened); err != nil || opened.ID == "" {
		t.Fatalf("not opened: %d %v", r.StatusCode, err)
	}
	r.Body.Close()
	type file struct {
		Name    string
		State   string
		Problem *struct{ Code, Message string }
	}
	var folder struct {
		Files []file
		Lines []struct {
			Name    string
			Problem *struct{ Code, Message string }
			Options int
		}
	}
	deadline := time.Now().Add(browsertest.Patience)
	for {
		r, err := http.Get(base + "/api/v1/requests/" + opened.ID)
		if err != nil {
			t.Fatal(err)
		}
		folder.Files, folder.Lines = nil, nil
		err = json.NewDecoder(r.Body).Decode(&folder)
		r.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		open := 0
		for _, f := range folder.Files {
			if f.State != "ready" && f.State != "failed" {
				open++
			}
		}
		if open == 0 && len(folder.Files) == n {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("not finished: %+v", folder.Files)
		}
		time.Sleep(50 * time.Millisecond)
	}
	for _, f := range folder.Files {
		switch {
		case f.Name == "good.stl":
			if f.State != "ready" {
				t.Errorf("the good file is %s: %+v", f.State, f.Problem)
			}
		case f.State == "failed":
			if f.Problem == nil || f.Problem.Code == "" || f.Problem.Code == "internal" || f.Problem.Message == "" {
				t.Errorf("%s failed without a sentence: %+v", f.Name, f.Problem)
			}
		default:
			// An archive may be ready with its member refused.
			told := false
			for _, l := range folder.Lines {
				told = told || l.Problem != nil
			}
			if !told {
				t.Errorf("%s is %s and nothing was said", f.Name, f.State)
			}
		}
	}
	quoted := false
	for _, l := range folder.Lines {
		quoted = quoted || l.Options > 0
	}
	if !quoted {
		t.Error("the good part was not quoted")
	}
	if r, err := http.Get(base + "/"); err != nil || r.StatusCode != 200 {
		t.Errorf("the server is not well: %v", err)
	}
}
