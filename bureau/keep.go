package bureau

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode"

	"firstoff/fault"
	"firstoff/shop/calendar"
	"firstoff/trail"
)

// now is the present moment as records keep it.
func (b *Bureau) now() time.Time { return b.p.Clock().UTC().Truncate(time.Microsecond) }

// days is the shop's calendar.
func (b *Bureau) days() (*calendar.Calendar, error) {
	c, err := calendar.Of(b.p.Catalogue())
	if err != nil {
		return nil, fault.Because(err, fault.Internal, "calendar", "", "The shop's calendar cannot be read; check its time zone and shifts.")
	}
	return c, nil
}

// today is the present date in the shop's time zone.
func (b *Bureau) today() (string, error) {
	c, err := b.days()
	if err != nil {
		return "", err
	}
	return b.now().In(c.Location()).Format(time.DateOnly), nil
}

// number gives the next readable number of a series.
func (b *Bureau) number(ctx context.Context, series string) (string, error) {
	n, err := b.p.Records.Next(ctx, series)
	return fmt.Sprintf("%s-%d", series, n), err
}

// note writes an event. Values are kept as text, or as JSON when they are no text.
func (b *Bureau) note(ctx context.Context, who, what, about, in string, was, is any, why string) error {
	if who == "" {
		who = "desk"
	}
	return b.p.Records.Log(ctx, trail.Event{
		At: b.now(), Who: who, What: what, About: about, In: in, Was: words(was), Is: words(is), Why: why,
	})
}

func words(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	}
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	return string(b)
}

// tidy makes a person's text fit to be kept: valid UTF-8, no control characters but line breaks and tabs, no
// space around it, at most most characters. Fault: Invalid "text_too_long".
func tidy(field, s string, most int) (string, error) {
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return r
		}
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD")))
	if n := len([]rune(s)); n > most {
		return "", fault.New(fault.Invalid, "text_too_long", field, "This text has %d characters; %d are possible.", n, most)
	}
	return s, nil
}

// fileName is a name as it may be shown and kept: the last part of a path, on one line.
func fileName(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if i := strings.LastIndexAny(s, `/\`); i >= 0 {
		s = s[i+1:]
	}
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, s))
	if r := []rune(s); len(r) > 200 {
		s = string(r[:200])
	}
	if s == "" || s == "." || s == ".." {
		return "unnamed"
	}
	return s
}

// seen checks the version a person saw; 0 means whatever it is now.
func seen(id string, theirs, kept int) error {
	if theirs != 0 && theirs != kept {
		return fault.New(fault.Conflict, "changed_meanwhile", id, "Somebody changed this meanwhile; look at it again and repeat your change.")
	}
	return nil
}
