// Package post tells other programs what happened: whoever subscribed gets each event of the trail they asked for as a signed message,
// in order, sent again until it is taken.
//
// A message is small: what, about which record, when. What the record holds is asked for at the desk's own interface, so that a message
// that goes astray tells a stranger nothing of a client's parts.
//
// A message is a POST of JSON with the headers webhook-id (the same in every try, so that a receiver can tell doubles), webhook-timestamp
// (seconds) and webhook-signature ("v1," and base64 of HMAC-SHA256 over id.timestamp.body), as the open specification "Standard
// Webhooks" has them (from memory). A subscriber's place in the trail moves on when an answer 2xx came, so a message may come twice
// but never not at all; when nothing is taken for three days the desk gives up and says so.
//
// Promises: a message once taken is not sent again by a process that lives (TestOnce); one that was refused is sent again later, before
// the ones after it (TestAgain); a changed byte of body, id or time does not verify (TestSigned); two processes do not send side by
// side (TestLease).
package post

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/fault"
	"firstoff/trail"
)

// State of a subscriber.
type State string

const (
	On      State = "on"
	Paused  State = "paused"
	GivenUp State = "given up"
)

// Subscriber is a program that wants to be told. ID is a readable number, e.g. "W-1001".
type Subscriber struct {
	ID       string    `json:"id"`
	URL      string    `json:"url"`
	Secret   string    `json:"secret"` // base64 of 32 bytes, with "whsec_" before it
	What     []string  `json:"what"`   // beginnings of names of events, e.g. "order."; none: all
	State    State     `json:"state"`
	Cursor   int64     `json:"cursor"` // number of the last event that was taken or not wanted
	By       string    `json:"by"`
	Made     time.Time `json:"made"`
	Failing  time.Time `json:"failing,omitzero"` // since when nothing is taken
	Failures int       `json:"failures,omitempty"`
	Next     time.Time `json:"next,omitzero"`  // not tried before
	Lease    time.Time `json:"lease,omitzero"` // a process is at it until then
	Tries    []Try     `json:"tries,omitempty"`
	Version  int       `json:"version"`
}

// Try is one sending, newest first.
type Try struct {
	At    time.Time `json:"at"`
	Event int64     `json:"event"`
	What  string    `json:"what"`
	Code  int       `json:"code,omitempty"` // HTTP status; 0: no answer
	Error string    `json:"error,omitempty"`
	TookS float64   `json:"took_s"`
}

// Message is what is sent.
type Message struct {
	ID    string    `json:"id"`   // "event-4711"
	Type  string    `json:"type"` // e.g. "order.accepted"
	At    time.Time `json:"at"`
	About string    `json:"about"`             // number of the record
	In    string    `json:"in,omitempty"`      // number of its folder
	Read  string    `json:"read_at,omitempty"` // path at the desk where the record can be read
}

// Bounds.
const (
	mostTries = 20
	patience  = 72 * time.Hour
	lease     = time.Minute
	block     = 200 // events looked at together
)

// Records keeps subscribers; faults as those of bureau.Records.
type Records interface {
	InTx(ctx context.Context, do func(ctx context.Context) error) error
	Next(ctx context.Context, series string) (int64, error)
	Log(ctx context.Context, events ...trail.Event) error
	AddSubscriber(ctx context.Context, s *Subscriber) error
	SaveSubscriber(ctx context.Context, s *Subscriber) error
	Subscriber(ctx context.Context, id string) (Subscriber, error)
	Subscribers(ctx context.Context) ([]Subscriber, error)
	DeleteSubscriber(ctx context.Context, id string) error
	// EventsAfter lists events of the trail in order; LastEvent is the number of the last.
	EventsAfter(ctx context.Context, seq int64, limit int) ([]trail.Event, error)
	LastEvent(ctx context.Context) (int64, error)
}

// Office sends the messages.
type Office struct {
	Records Records
	Clock   func() time.Time
	Log     *slog.Logger
	Client  *http.Client // nil: ten seconds, no redirects
}

var plain = &http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}

// Subscribe adds a program. Its place is the present end of the trail: it is told what happens from now on.
// Faults: Invalid "url_form", "url_open" for a plain http address beyond this machine, "too_many".
func (o *Office) Subscribe(ctx context.Context, who, address string, what []string) (Subscriber, error) {
	s := Subscriber{URL: strings.TrimSpace(address), State: On, By: who, Made: o.now()}
	u, err := url.Parse(s.URL)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || u.User != nil || len(s.URL) > 2000 {
		return s, fault.New(fault.Invalid, "url_form", "url", "Write the whole address, e.g. https://erp.example.org/desk, without a name and password in it.")
	}
	if u.Scheme == "http" && !loopback(u.Hostname()) {
		return s, fault.New(fault.Invalid, "url_open", "url", "Messages leave this machine by https only; http is for programs on it.")
	}
	for _, w := range what {
		if w = strings.TrimSpace(w); w != "" && !slices.Contains(s.What, w) {
			s.What = append(s.What, w)
		}
	}
	var secret [32]byte
	_, _ = rand.Read(secret[:])
	s.Secret = "whsec_" + base64.StdEncoding.EncodeToString(secret[:])
	err = o.Records.InTx(ctx, func(ctx context.Context) error {
		all, err := o.Records.Subscribers(ctx)
		if err != nil {
			return err
		}
		if len(all) >= 100 {
			return fault.New(fault.Invalid, "too_many", "url", "There are 100 subscribers already; remove one first.")
		}
		if s.Cursor, err = o.Records.LastEvent(ctx); err != nil {
			return err
		}
		n, err := o.Records.Next(ctx, "W")
		if err != nil {
			return err
		}
		s.ID = "W-" + strconv.FormatInt(n, 10)
		if err := o.Records.AddSubscriber(ctx, &s); err != nil {
			return err
		}
		return o.note(ctx, who, "subscriber.added", s.ID, s.URL)
	})
	return s, err
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Set pauses a subscriber or lets it go on; what happened meanwhile is sent then.
func (o *Office) Set(ctx context.Context, who, id string, to State) (Subscriber, error) {
	var s Subscriber
	err := o.again(ctx, func(ctx context.Context) (err error) {
		if s, err = o.Records.Subscriber(ctx, id); err != nil {
			return err
		}
		if to != On && to != Paused {
			return fault.New(fault.Invalid, "state", id, "A subscriber is on or paused.")
		}
		s.State, s.Failures, s.Failing, s.Next = to, 0, time.Time{}, time.Time{}
		if err := o.Records.SaveSubscriber(ctx, &s); err != nil {
			return err
		}
		return o.note(ctx, who, "subscriber."+string(to), s.ID, "")
	})
	return s, err
}

// Remove forgets a subscriber.
func (o *Office) Remove(ctx context.Context, who, id string) error {
	return o.Records.InTx(ctx, func(ctx context.Context) error {
		s, err := o.Records.Subscriber(ctx, id)
		if err != nil {
			return err
		}
		if err := o.Records.DeleteSubscriber(ctx, id); err != nil {
			return err
		}
		return o.note(ctx, who, "subscriber.removed", s.ID, s.URL)
	})
}

// Subscribers lists all.
func (o *Office) Subscribers(ctx context.Context) ([]Subscriber, error) {
	return o.Records.Subscribers(ctx)
}

// Subscriber finds one.
func (o *Office) Subscriber(ctx context.Context, id string) (Subscriber, error) {
	return o.Records.Subscriber(ctx, id)
}

// Try sends a message of the kind "ping" at once and says what came back; nothing else changes.
func (o *Office) Try(ctx context.Context, id string) (Try, error) {
	s, err := o.Records.Subscriber(ctx, id)
	if err != nil {
		return Try{}, err
	}
	t := o.send(ctx, s, Message{ID: fmt.Sprintf("ping-%d", o.now().UnixMilli()), Type: "ping", At: o.now(), About: s.ID})
	return t, o.again(ctx, func(ctx context.Context) error {
		if s, err = o.Records.Subscriber(ctx, id); err != nil {
			return err
		}
		s.tried(t)
		return o.Records.SaveSubscriber(ctx, &s)
	})
}

// Run sends until ctx ends, looking every few seconds.
func (o *Office) Run(ctx context.Context, every time.Duration) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if _, err := o.Round(ctx); err != nil && ctx.Err() == nil && o.Log != nil {
			o.Log.Warn("messages could not be sent", "err", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Round sends what is due to every subscriber, up to a block of events each, and says how many messages were taken.
func (o *Office) Round(ctx context.Context) (int, error) {
	all, err := o.Records.Subscribers(ctx)
	if err != nil {
		return 0, err
	}
	last, err := o.Records.LastEvent(ctx)
	if err != nil {
		return 0, err
	}
	sent := 0
	for _, s := range all {
		now := o.now()
		if s.State != On || s.Cursor >= last || s.Next.After(now) || s.Lease.After(now) {
			continue
		}
		n, err := o.serve(ctx, s)
		sent += n
		if err != nil && fault.Of(err).Code != "changed_meanwhile" {
			return sent, err
		}
	}
	return sent, nil
}

// serve sends one subscriber what is due. It takes a lease first, so that no other process does the same.
func (o *Office) serve(ctx context.Context, s Subscriber) (int, error) {
	s.Lease = o.now().Add(lease)
	if err := o.Records.SaveSubscriber(ctx, &s); err != nil {
		return 0, err
	}
	events, err := o.Records.EventsAfter(ctx, s.Cursor, block)
	if err != nil {
		return 0, err
	}
	sent, began := 0, o.now()
	for _, e := range events {
		if !s.wants(e.What) {
			s.Cursor = e.Seq
			continue
		}
		if ctx.Err() != nil || o.now().Sub(began) > lease/2 {
			break
		}
		t := o.send(ctx, s, Message{ID: "event-" + strconv.FormatInt(e.Seq, 10), Type: name(e.What), At: e.At, About: e.About, In: e.In, Read: where(e.About)})
		t.Event = e.Seq
		s.tried(t)
		if t.Code/100 != 2 {
			s.failed(t, o.now())
			break
		}
		s.Cursor, s.Failures, s.Failing, s.Next = e.Seq, 0, time.Time{}, time.Time{}
		sent++
	}
	s.Lease = time.Time{}
	return sent, o.keep(context.WithoutCancel(ctx), s)
}

// keep saves how far it came; what a person changed meanwhile (paused, removed) stays as they left it.
func (o *Office) keep(ctx context.Context, s Subscriber) error {
	return o.again(ctx, func(ctx context.Context) error {
		now, err := o.Records.Subscriber(ctx, s.ID)
		if err != nil {
			if fault.KindOf(err) == fault.NotFound {
				return nil
			}
			return err
		}
		state := now.State
		v := now.Version
		now = s
		now.Version = v
		if state == Paused {
			now.State = Paused
		}
		return o.Records.SaveSubscriber(ctx, &now)
	})
}

func (o *Office) again(ctx context.Context, do func(ctx context.Context) error) error {
	var err error
	for range 8 {
		if err = o.Records.InTx(ctx, do); err == nil || fault.Of(err).Code != "changed_meanwhile" {
			return err
		}
	}
	return err
}

func (s *Subscriber) wants(what string) bool {
	if strings.HasPrefix(what, "subscriber.") {
		return false
	}
	for _, w := range s.What {
		if strings.HasPrefix(name(what), w) {
			return true
		}
	}
	return len(s.What) == 0
}

func (s *Subscriber) tried(t Try) {
	s.Tries = append([]Try{t}, s.Tries...)
	if len(s.Tries) > mostTries {
		s.Tries = s.Tries[:mostTries]
	}
}

// failed puts the next try off, twice as long every time up to six hours, and gives up after three days or when the receiver says
// that it is gone.
func (s *Subscriber) failed(t Try, now time.Time) {
	if s.Failing.IsZero() {
		s.Failing = now
	}
	wait := 5 * time.Second << min(s.Failures, 13)
	s.Failures++
	s.Next = now.Add(min(wait, 6*time.Hour))
	if t.Code == http.StatusGone || now.Sub(s.Failing) > patience {
		s.State = GivenUp
	}
}

// name is an event as others know it: where it was reported is the desk's own affair.
func name(what string) string { return strings.TrimPrefix(what, "floor.") }

// where a record can be read, by its series.
func where(about string) string {
	series, _, ok := strings.Cut(about, "-")
	if !ok {
		return ""
	}
	room := map[string]string{"R": "requests", "L": "lines", "Q": "quotations", "O": "orders", "T": "travellers", "B": "builds", "P": "purchases"}[series]
	if room == "" {
		return ""
	}
	return "/api/v1/" + room + "/" + about
}

func (o *Office) send(ctx context.Context, s Subscriber, m Message) Try {
	t := Try{At: o.now(), What: m.Type}
	body, err := json.Marshal(m)
	if err != nil {
		t.Error = err.Error()
		return t
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.URL, strings.NewReader(string(body)))
	if err != nil {
		t.Error = "the address cannot be used"
		return t
	}
	at := o.now()
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "firstoff")
	req.Header.Set("webhook-id", m.ID)
	req.Header.Set("webhook-timestamp", strconv.FormatInt(at.Unix(), 10))
	req.Header.Set("webhook-signature", Sign(s.Secret, m.ID, at, body))
	client := o.Client
	if client == nil {
		client = plain
	}
	began := time.Now()
	res, err := client.Do(req)
	t.TookS = time.Since(began).Seconds()
	if err != nil {
		t.Error = short(err)
		return t
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10))
	if t.Code = res.StatusCode; t.Code/100 != 2 {
		t.Error = "answered " + res.Status
	}
	return t
}

func short(err error) string {
	s := err.Error()
	if u, ok := err.(*url.Error); ok {
		s = u.Err.Error()
	}
	if len(s) > 200 {
		s = s[:200]
	}
	return s
}

// Sign is the value of webhook-signature.
func Sign(secret, id string, at time.Time, body []byte) string {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil {
		key = []byte(secret)
	}
	h := hmac.New(sha256.New, key)
	fmt.Fprintf(h, "%s.%d.", id, at.Unix())
	h.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(h.Sum(nil))
}

// Verify is what a receiver does: any of the signatures given, and a time not further from now than five minutes.
func Verify(secret, id, timestamp, signatures string, body []byte, now time.Time) bool {
	sec, err := strconv.ParseInt(timestamp, 10, 64)
	if err != nil {
		return false
	}
	at := time.Unix(sec, 0)
	if d := now.Sub(at); d > 5*time.Minute || d < -5*time.Minute {
		return false
	}
	want := Sign(secret, id, at, body)
	for _, s := range strings.Fields(signatures) {
		if hmac.Equal([]byte(s), []byte(want)) {
			return true
		}
	}
	return false
}

func (o *Office) now() time.Time { return o.Clock().UTC().Truncate(time.Microsecond) }

func (o *Office) note(ctx context.Context, who, what, about, is string) error {
	return o.Records.Log(ctx, trail.Event{At: o.now(), Who: who, What: what, About: about, Is: is})
}
