package web

import "net/http"

// today is the ledger of what needs a decision.
func (k *desk) today(w http.ResponseWriter, r *http.Request) error {
	o, err := k.Steps.Overview(r.Context())
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, todayPage(k.frame(r, "Today", "today"), o))
	return nil
}

// entryLink is where an entry of the ledger leads.
func entryLink(kind, about, request string) string {
	switch kind {
	case "order":
		return "/orders/" + about
	case "quote", "unit", "failed", "analysing":
		if request != "" {
			return "/requests/" + request
		}
	}
	if len(about) > 1 {
		switch about[0] {
		case 'Q':
			return "/quotations/" + about
		case 'R':
			return "/requests/" + about
		case 'O':
			return "/orders/" + about
		case 'L':
			return "/lines/" + about
		}
	}
	return "/requests/" + request
}

var entryWords = map[string]string{
	"unit": "unit?", "failed": "file failed", "quote": "to quote", "issue": "to issue", "question": "client asks",
	"expiring": "runs out", "order": "promised", "analysing": "analysing",
}

func entryTone(kind string, late bool) string {
	if late || kind == "failed" {
		return "stop"
	}
	switch kind {
	case "unit", "question", "expiring":
		return "look"
	case "order":
		return "done"
	}
	return "act"
}

func entryShape(kind string, late bool) string {
	if late || kind == "failed" {
		return "hatch"
	}
	switch kind {
	case "unit", "question", "expiring":
		return "half"
	case "order":
		return "disc"
	}
	return "ring"
}
