// Package web shows the desk in a browser: server-rendered pages that are fast, print well and work without scripts;
// small scripts add live progress, drag and drop, and the model viewer.
//
// A page is one file: its handler (name.go) and its template (name.templ, compiled by "go tool templ generate"). Handlers
// hold no rule: they read a form, call one step of bureau, and show what came of it. Writing requests are answered
// by a redirect, so that going back or reloading repeats nothing.
//
// States are a word with a shape (state.go), never colour alone. Lengths are shown in mm or inch, as the person chose.
// Not here: JSON (web/api), papers (paper).
package web
