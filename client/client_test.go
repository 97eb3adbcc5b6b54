package client

import (
	"testing"

	"firstoff/fault"
)

func TestCheck(t *testing.T) {
	for _, k := range []struct {
		c    Client
		want string
	}{
		{Client{Firm: "X"}, ""},
		{Client{Contact: "A. Person", Email: "a@example.org"}, ""},
		{Client{Firm: "X", Email: "a+b@sub.example.org"}, ""},
		{Client{}, "client_nameless"},
		{Client{Firm: "  "}, "client_nameless"},
		{Client{Firm: "X", Email: "a"}, "client_email"},
		{Client{Firm: "X", Email: "@b"}, "client_email"},
		{Client{Firm: "X", Email: "a@"}, "client_email"},
		{Client{Firm: "X", Email: "a@b\r\nBcc: c@d"}, "client_email"},
		{Client{Firm: "X", Email: "A <a@b>"}, "client_email"},
	} {
		err := k.c.Check()
		if f := fault.Of(err); (f == nil) != (k.want == "") || f != nil && f.Code != k.want {
			t.Errorf("%+v: %v, want %q", k.c, err, k.want)
		}
	}
}

func TestName(t *testing.T) {
	for want, c := range map[string]Client{"F": {ID: "C", Firm: "F", Contact: "P"}, "P": {ID: "C", Contact: "P"}, "C": {ID: "C"}, "?": {}} {
		if got := c.Name(); got != want {
			t.Errorf("%+v is called %q, want %q", c, got, want)
		}
	}
}
