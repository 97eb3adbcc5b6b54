package traveller

import (
	"strings"
	"time"

	"firstoff/digest"
)

// Touch says that one piece went through one operation: by whose hands, where, and with which lot in it. A piece with two
// lots at an operation has two touches; without a lot, Lot is empty.
type Touch struct {
	Piece   string    `json:"piece"`
	Op      int       `json:"op"`
	Lot     string    `json:"lot,omitempty"`
	Machine string    `json:"machine,omitempty"`
	Build   string    `json:"build,omitempty"`
	Who     string    `json:"who,omitempty"`
	At      time.Time `json:"at"`
	Scrap   bool      `json:"scrap,omitempty"` // the piece was scrapped, here or later
}

// Touches lists where every piece has been, and those lots that are in pieces still lying at the operation: a lot that is in
// the machine is in the part. When it is not known which pieces of a batch a lot went into, it is in all of
// them, for a recall must miss none.
func (s State) Touches() []Touch {
	var out []Touch
	for _, p := range s.Pieces {
		for _, x := range p.passes {
			out = s.touch(out, p, x)
		}
		if !p.Scrap && !p.Away && p.At <= len(s.Ops) && len(s.Ops[p.At-1].lotsIn(p.ID)) > 0 {
			o := s.Ops[p.At-1]
			out = s.touch(out, p, pass{op: p.At, who: o.Who, machine: o.Machine, at: o.Started})
		}
	}
	return out
}

func (s State) touch(out []Touch, p Piece, x pass) []Touch {
	lots := s.Ops[x.op-1].lotsIn(p.ID)
	if len(lots) == 0 {
		lots = []string{""}
	}
	for _, l := range lots {
		out = append(out, Touch{Piece: p.ID, Op: x.op, Lot: l, Machine: x.machine, Build: x.build, Who: x.who, At: x.at, Scrap: p.Scrap})
	}
	return out
}

func (o OpState) lotsIn(piece string) []string {
	var out []string
	seen := map[string]bool{}
	for _, u := range o.uses {
		in := len(u.pieces) == 0
		for _, id := range u.pieces {
			in = in || id == piece
		}
		if in && !seen[u.lot] {
			seen[u.lot] = true
			out = append(out, u.lot)
		}
	}
	return out
}

// Found is a touch as a search finds it, with what the piece belongs to.
type Found struct {
	Touch
	Number    string        `json:"number"` // the piece without its attempt
	Traveller string        `json:"traveller"`
	OrderID   string        `json:"order_id"`
	ClientID  string        `json:"client_id"`
	Client    string        `json:"client,omitempty"` // name
	Digest    digest.Digest `json:"sha256"`           // of the client's file
}

// Number is a piece's id without its attempt.
func Number(piece string) string {
	n, _, _ := strings.Cut(piece, ".")
	return n
}
