package api

import (
	"html/template"
	"net/http"
	"path"
	"reflect"
	"sort"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// schemaName names a record in the document by its room and its own name, since several rooms have a Line and a State.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	room := path.Base(t.PkgPath())
	if room == "" || room == "." || room == "api" {
		return name
	}
	return strings.ToUpper(room[:1]) + room[1:] + name
}

func typeOf[T any]() reflect.Type { return reflect.TypeFor[T]() }

// row is one operation on the explaining page.
type row struct{ Method, Path, ID, Summary string }

var page = template.Must(template.New("docs").Parse(`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{{.Title}}: JSON interface</title><meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,"><link rel="stylesheet" href="/static/desk.css"></head>
<body><header class="edge"><a class="firm" href="/">{{.Title}}</a></header><main>
<h1>For programs</h1>
<p>The desk's steps as JSON. The document for tools is <a href="/api/openapi.json">openapi.json</a> (OpenAPI 3.1), also as <a href="/api/openapi.yaml">YAML</a>.
Failures are <code>{"error":{"code","message","where"}}</code>; keys carry their unit as a suffix; money is in minor units; dates are 2006-01-02 in the shop's zone.</p>
<p>A walk: open a request, add files (the file is the body), poll the request until its files are ready, look at the options, draft and issue the quotation.</p>
<table><thead><tr><th scope="col">Method</th><th scope="col">Address</th><th scope="col">What it does</th></tr></thead><tbody>
{{range .Rows}}<tr id="{{.ID}}"><td><b>{{.Method}}</b></td><td><code>{{.Path}}</code></td><td>{{.Summary}}</td></tr>
{{end}}</tbody></table></main></body></html>`))

// docs lists the operations of the document.
func docs(a huma.API) http.HandlerFunc {
	var rows []row
	for address, item := range a.OpenAPI().Paths {
		for method, op := range map[string]*huma.Operation{"GET": item.Get, "POST": item.Post, "PUT": item.Put, "DELETE": item.Delete} {
			if op != nil {
				rows = append(rows, row{method, address, op.OperationID, op.Summary})
			}
		}
	}
	sort.Slice(rows, func(i, j int) bool {
		if rows[i].Path != rows[j].Path {
			return rows[i].Path < rows[j].Path
		}
		return rows[i].Method < rows[j].Method
	})
	return func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_ = page.Execute(w, struct {
			Title string
			Rows  []row
		}{a.OpenAPI().Info.Title, rows})
	}
}
