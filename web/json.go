package web

import (
	"encoding/json"
	"net/http"
	"strings"
)

// wantsJSON says whether a script of our own asks, which goes on by itself.
func wantsJSON(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "application/json")
}

func writeJSON(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(v)
}
