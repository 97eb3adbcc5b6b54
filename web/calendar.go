package web

import (
	"bytes"
	"fmt"
	"net/http"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/google/uuid"

	"firstoff/appraise"
)

// calendarFeed serves the promised days and the planned builds as iCalendar (RFC 5545), for a calendar program to
// subscribe to.
func (k *desk) calendarFeed(w http.ResponseWriter, r *http.Request) error {
	b, err := k.wall(r.Context())
	if err != nil {
		return err
	}
	text, err := calendarOf(b, k.Catalogue().Firm.Name)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Content-Disposition", `inline; filename="board.ics"`)
	w.Header().Set("Cache-Control", "no-store")
	_, err = w.Write(text)
	return err
}

// calendarOf writes the board as a calendar. An entry keeps its UID from one fetch to the next, so that a moved build
// moves in the reader's calendar too. Promised days are whole days; builds are in UTC.
func calendarOf(b appraise.Board, firm string) ([]byte, error) {
	space := uuid.NewSHA1(uuid.NameSpaceOID, []byte("firstoff board of "+firm))
	cal := ical.NewCalendar()
	cal.Props.SetText(ical.PropVersion, "2.0")
	cal.Props.SetText(ical.PropProductID, "-//firstoff//wall board//EN")
	cal.Props.SetText(ical.PropName, firm+", the board")
	refresh := ical.NewProp(ical.PropRefreshInterval) // RFC 7986
	refresh.SetDuration(30 * time.Minute)
	refresh.Params.Set(ical.ParamValue, string(ical.ValueDuration))
	cal.Props.Set(refresh)
	event := func(kind, id, summary, text string) *ical.Event {
		e := ical.NewEvent()
		e.Props.SetText(ical.PropUID, uuid.NewSHA1(space, []byte(kind+" "+id)).String())
		e.Props.SetDateTime(ical.PropDateTimeStamp, b.Now.UTC())
		e.Props.SetText(ical.PropSummary, summary)
		e.Props.SetText(ical.PropDescription, text)
		e.Props.SetText(ical.PropCategories, kind)
		e.Props.SetText(ical.PropTransparency, "TRANSPARENT") // takes up nobody's time
		cal.Children = append(cal.Children, e.Component)
		return e
	}
	for _, j := range b.Jobs {
		name := j.Title
		if j.Order != "" {
			name = j.Order + " " + j.Title
		}
		if !j.Due.IsZero() {
			e := event("promise", j.ID, "Promised: "+name, "Expected "+dayWord(j.P50)+", by "+dayWord(j.P90)+fmt.Sprintf(" in %.0f %% of the cases: ", b.Level*100)+string(j.Standing)+".")
			e.Props.SetDate(ical.PropDateTimeStart, j.Due)
			e.Props.SetDate(ical.PropDateTimeEnd, j.Due.AddDate(0, 0, 1))
		}
		if j.Start.IsZero() || !j.BuildEnd.After(b.Now) {
			continue
		}
		e := event("build", j.ID, "Start: "+name+" on "+j.Machine, "Planned; "+j.Material+", machine free again "+momentWord(j.BuildEnd)+".")
		e.Props.SetDateTime(ical.PropDateTimeStart, j.Start.UTC())
		e.Props.SetDateTime(ical.PropDateTimeEnd, j.BuildEnd.UTC())
		e.Props.SetText(ical.PropLocation, j.Machine)
	}
	if len(cal.Children) == 0 {
		// A calendar holds at least one component: a stretch during which nothing is taken.
		c := ical.NewComponent(ical.CompFreeBusy)
		c.Props.SetText(ical.PropUID, uuid.NewSHA1(space, []byte("nothing in hand")).String())
		c.Props.SetDateTime(ical.PropDateTimeStamp, b.Now.UTC())
		cal.Children = append(cal.Children, c)
	}
	var out bytes.Buffer
	if err := ical.NewEncoder(&out).Encode(cal); err != nil {
		return nil, err
	}
	return folded(out.Bytes()), nil
}

// folded breaks lines longer than 75 octets as RFC 5545, 3.1 asks, never within a letter.
func folded(text []byte) []byte {
	var out bytes.Buffer
	for line := range bytes.SplitSeq(bytes.TrimSuffix(text, []byte("\r\n")), []byte("\r\n")) {
		for limit := 75; len(line) > limit; limit = 74 {
			cut := limit
			for cut > 1 && !utf8.RuneStart(line[cut]) {
				cut--
			}
			out.Write(line[:cut])
			out.WriteString("\r\n ")
			line = line[cut:]
		}
		out.Write(line)
		out.WriteString("\r\n")
	}
	return out.Bytes()
}
