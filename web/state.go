package web

// mark is how a state looks: a shape and a tone beside the word. The same shapes stand on screen, board and paper.
type mark struct {
	shape string // ring, half, disc, notch, hatch
	tone  string // "", act, look, stop, done
}

var marks = map[string]mark{
	// requests
	"open": {"ring", "act"}, "analysed": {"half", "act"}, "quoted": {"half", "look"}, "won": {"disc", "done"}, "lost": {"notch", ""}, "withdrawn": {"notch", ""},
	// files
	"waiting": {"ring", ""}, "analysing": {"half", "act"}, "ready": {"disc", "done"}, "failed": {"hatch", "stop"},
	// quotations
	"draft": {"ring", "act"}, "issued": {"half", "look"}, "accepted": {"disc", "done"}, "declined": {"notch", ""}, "expired": {"notch", "look"}, "superseded": {"notch", ""},
	// orders
	"in work": {"half", "act"}, "done": {"disc", "done"}, "cancelled": {"notch", "stop"}, "delivered": {"disc", "done"},
	// purchases
	"asked": {"ring", "act"}, "sent": {"half", "act"}, "promised": {"half", "look"}, "checked": {"disc", "done"},
	// travellers, builds, lots
	"running": {"half", "act"}, "paused": {"notch", "look"}, "short": {"hatch", "stop"}, "ahead": {"ring", ""}, "planned": {"ring", "act"}, "dropped": {"notch", ""},
	"sealed": {"ring", ""}, "quarantined": {"hatch", "stop"}, "used up": {"notch", ""},
	// inspection
	"no plan": {"ring", ""}, "measuring": {"half", "act"}, "rejected": {"hatch", "stop"}, "not decided": {"half", "look"},
	"contained": {"half", "look"}, "disposed": {"half", "act"}, "closed": {"disc", "done"}, "overdue": {"hatch", "stop"},
	"conforms": {"disc", "done"}, "does not conform": {"hatch", "stop"},
	"in force": {"disc", "done"},
	// subscribers
	"on": {"disc", "done"}, "given up": {"hatch", "stop"},
	// findings
	"note": {"ring", ""}, "warning": {"half", "look"}, "stop": {"hatch", "stop"},
}

func markOf(state string) mark {
	if m, ok := marks[state]; ok {
		return m
	}
	return mark{"ring", ""}
}
