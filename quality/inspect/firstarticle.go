package inspect

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"firstoff/digest"
	"firstoff/fault"
)

// FirstArticle is the report on the first part of a kind, in three parts: what was made, from what and how, and every
// characteristic with its result. The fields are those a first-article inspection commonly has (AS9102, from memory).
type FirstArticle struct {
	Number string `json:"number"`
	// Part accountability.
	PartNumber   string        `json:"partNumber"`
	PartName     string        `json:"partName"`
	Serial       string        `json:"serial"`
	Revision     string        `json:"revision"`
	FileDigest   digest.Digest `json:"fileDigest"` // the model is the master
	Order        string        `json:"order"`
	Organisation string        `json:"organisation"`
	Full         bool          `json:"full"`
	Reason       Reason        `json:"reason,omitempty"`   // of a partial one
	Baseline     string        `json:"baseline,omitempty"` // the report a partial one builds on
	// Product accountability.
	Materials []Used `json:"materials"`
	Processes []Used `json:"processes"`
	Tests     []Used `json:"tests,omitempty"`
	// Characteristic accountability.
	Lines []Accounted `json:"lines"`
	// The end.
	Verdict    Verdict   `json:"verdict"`
	PreparedBy string    `json:"preparedBy"`
	ApprovedBy string    `json:"approvedBy,omitempty"`
	At         time.Time `json:"at"`
}

// Used is a material, special process or functional test with its paper.
type Used struct {
	Name          string `json:"name"`
	Specification string `json:"specification,omitempty"`
	Code          string `json:"code,omitempty"`
	Supplier      string `json:"supplier,omitempty"`
	Lot           string `json:"lot,omitempty"`
	Certificate   string `json:"certificate,omitempty"`
}

// Accounted is one characteristic with what was found.
type Accounted struct {
	Characteristic
	Results        []Judged `json:"results"`
	Worst          Decision `json:"worst"`
	Nonconformance string   `json:"nonconformance,omitempty"`
	Comment        string   `json:"comment,omitempty"`
}

// Reason is why a first article is inspected again (common practice).
type Reason string

const (
	NewPart       Reason = "new part"
	DesignChange  Reason = "design change"
	NewSource     Reason = "source or place changed"
	ProcessChange Reason = "process, program, machine or tool changed"
	NewMaterial   Reason = "material changed"
	NewMethod     Reason = "inspection method changed"
	LongPause     Reason = "not made for two years"
	Corrective    Reason = "corrective action for a characteristic"
)

// Made is what is known of how a part was made, to tell whether its first article still stands.
type Made struct {
	FileDigest digest.Digest
	Revision   string
	Site       string
	Process    string // process, machine and settings
	Material   string
	Method     string // inspection
	At         time.Time
}

// Again lists the reasons for which a first article must be inspected again, at least in part; none if it stands.
func Again(first, now Made) []Reason {
	var out []Reason
	for _, r := range []struct {
		changed bool
		why     Reason
	}{
		{first.FileDigest != now.FileDigest || first.Revision != now.Revision, DesignChange},
		{first.Site != now.Site, NewSource},
		{first.Process != now.Process, ProcessChange},
		{first.Material != now.Material, NewMaterial},
		{first.Method != now.Method, NewMethod},
		{!now.At.Before(first.At.AddDate(2, 0, 0)), LongPause},
	} {
		if r.changed {
			out = append(out, r.why)
		}
	}
	return out
}

// Account fills the report's lines and verdict from characteristics, results and the nonconformances raised.
func (f FirstArticle) Account(cs []Characteristic, rs []Result, g Guard, raised []Nonconformance) (FirstArticle, error) {
	v, err := Judge(cs, rs, g)
	if err != nil {
		return f, err
	}
	f.Verdict, f.Lines = v, nil
	for _, c := range cs {
		line := Accounted{Characteristic: c, Worst: Accept}
		for _, j := range v.Judged {
			if j.Balloon != c.Balloon {
				continue
			}
			line.Results = append(line.Results, j)
			if j.Decision == Reject || j.Decision == Undecided && line.Worst == Accept {
				line.Worst = j.Decision
			}
		}
		if len(line.Results) == 0 {
			line.Worst = Undecided
		}
		var ns []string
		for _, n := range raised {
			if n.Balloon == c.Balloon {
				ns = append(ns, n.Number)
			}
		}
		line.Nonconformance = strings.Join(ns, ", ")
		f.Lines = append(f.Lines, line)
	}
	return f, nil
}

// Open lists what still keeps the report from being approved, in plain words; empty when it may be.
func (f FirstArticle) Open() []string {
	var out []string
	need := func(v, what string) {
		if strings.TrimSpace(v) == "" {
			out = append(out, what+" is missing")
		}
	}
	need(f.Number, "the report's number")
	need(f.PartNumber, "the part's number")
	need(f.Serial, "the serial or piece")
	need(f.Revision, "the revision")
	need(f.PreparedBy, "who prepared it")
	if !f.FileDigest.Valid() {
		out = append(out, "the digest of the part's file is missing")
	}
	if !f.Full {
		need(string(f.Reason), "the reason of a partial report")
		need(f.Baseline, "the report a partial one builds on")
	}
	if len(f.Materials) == 0 {
		out = append(out, "no material is named")
	}
	for _, m := range f.Materials {
		if m.Lot == "" && m.Certificate == "" {
			out = append(out, fmt.Sprintf("material %s has neither lot nor certificate", m.Name))
		}
	}
	if len(f.Processes) == 0 {
		out = append(out, "no process is named")
	}
	if len(f.Lines) == 0 {
		out = append(out, "no characteristic is accounted for")
	}
	for _, l := range f.Lines {
		switch {
		case len(l.Results) == 0:
			out = append(out, fmt.Sprintf("balloon %d has no result", l.Balloon))
		case len(l.Results) < l.Places:
			out = append(out, fmt.Sprintf("balloon %d has %d results for %d places", l.Balloon, len(l.Results), l.Places))
		case l.Worst == Undecided:
			out = append(out, fmt.Sprintf("balloon %d lies within the uncertainty of its limit", l.Balloon))
		case l.Worst == Reject && l.Nonconformance == "":
			out = append(out, fmt.Sprintf("balloon %d does not conform and no nonconformance is raised", l.Balloon))
		}
	}
	return out
}

// Approve signs the report. Whoever prepared it may not approve it; everything Open lists must be settled.
func (f FirstArticle) Approve(by string, at time.Time) (FirstArticle, error) {
	if open := f.Open(); len(open) > 0 {
		return f, fault.New(fault.Conflict, "first_article_open", f.Number, "the report cannot be approved: %s", strings.Join(open, "; "))
	}
	if strings.TrimSpace(by) == "" || strings.EqualFold(by, f.PreparedBy) {
		return f, fault.New(fault.Denied, "first_article_second_person", f.Number, "someone other than %s must approve the report", f.PreparedBy)
	}
	f.ApprovedBy, f.At = by, at
	f.Lines = slices.Clone(f.Lines)
	return f, nil
}
