package post_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"firstoff/fault"
	"firstoff/post"
	"firstoff/store"
	"firstoff/trail"
)

// station is an office on real records with a receiver that can be told what to answer.
type station struct {
	*post.Office
	t    *testing.T
	s    *store.Store
	at   time.Time
	mu   sync.Mutex
	code int
	got  []post.Message
	raw  []*http.Request
	body [][]byte
	url  string
	hold chan struct{}
}

func open(t *testing.T) *station {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "desk.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	if err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	st := &station{t: t, s: s, at: time.Date(2031, 3, 3, 9, 0, 0, 0, time.UTC), code: 204}
	st.Office = &post.Office{Records: s, Clock: func() time.Time { return st.at }}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		if st.hold != nil {
			<-st.hold
		}
		st.mu.Lock()
		defer st.mu.Unlock()
		var m post.Message
		_ = json.Unmarshal(b, &m)
		if st.code/100 == 2 {
			st.got = append(st.got, m)
		}
		st.raw, st.body = append(st.raw, r), append(st.body, b)
		w.WriteHeader(st.code)
	}))
	t.Cleanup(srv.Close)
	st.url = srv.URL
	return st
}

func (st *station) happens(what, about string) {
	st.t.Helper()
	if err := st.s.Log(st.t.Context(), trail.Event{At: st.at, Who: "B", What: what, About: about, In: "R-1001", Is: "a client's secret"}); err != nil {
		st.t.Fatal(err)
	}
}

func (st *station) round(want int) {
	st.t.Helper()
	if n, err := st.Round(st.t.Context()); err != nil || n != want {
		st.t.Fatalf("%d sent, %v; want %d", n, err, want)
	}
}

func TestOnce(t *testing.T) {
	st := open(t)
	st.happens("order.accepted", "O-1000") // before anybody asked
	x, err := st.Subscribe(t.Context(), "B", st.url, []string{"order", "quotation."})
	if err != nil || x.ID != "W-1001" {
		t.Fatal(err, x.ID)
	}
	st.round(0)
	st.happens("request.opened", "R-1001")
	st.happens("order.accepted", "O-1001")
	st.happens("floor.order.delivered", "O-1001")
	st.happens("floor.finish", "T-1001")
	st.round(2)
	st.round(0)
	if len(st.got) != 2 || st.got[0].Type != "order.accepted" || st.got[1].Type != "order.delivered" || st.got[0].Read != "/api/v1/orders/O-1001" || st.got[1].About != "O-1001" {
		t.Fatalf("%+v", st.got)
	}
	for i, r := range st.raw {
		if !post.Verify(x.Secret, r.Header.Get("webhook-id"), r.Header.Get("webhook-timestamp"), "v1,xx "+r.Header.Get("webhook-signature"), st.body[i], st.at) {
			t.Error("a message does not verify")
		}
		if string(st.body[i]) == "" || json.Valid(st.body[i]) == false || containsSecret(st.body[i]) {
			t.Errorf("a client's words went out: %s", st.body[i])
		}
	}
	// Paused: nothing; on again: what happened meanwhile.
	if _, err := st.Set(t.Context(), "B", x.ID, post.Paused); err != nil {
		t.Fatal(err)
	}
	st.happens("order.accepted", "O-1002")
	st.round(0)
	if _, err := st.Set(t.Context(), "B", x.ID, post.On); err != nil {
		t.Fatal(err)
	}
	st.round(1)
	if try, err := st.Try(t.Context(), x.ID); err != nil || try.Code != 204 || st.got[3].Type != "ping" {
		t.Errorf("%v %+v", err, try)
	}
	if err := st.Remove(t.Context(), "B", x.ID); err != nil {
		t.Fatal(err)
	}
	st.happens("order.accepted", "O-1003")
	st.round(0)
}

func containsSecret(b []byte) bool {
	var m map[string]any
	_ = json.Unmarshal(b, &m)
	return fmt.Sprint(m["is"]) != "<nil>"
}

func TestAgain(t *testing.T) {
	st := open(t)
	x, err := st.Subscribe(t.Context(), "B", st.url, nil)
	if err != nil {
		t.Fatal(err)
	}
	st.happens("order.accepted", "O-1001")
	st.happens("order.accepted", "O-1002")
	st.code = 500
	st.round(0)
	st.round(0) // not before its time
	if len(st.raw) != 1 {
		t.Fatalf("%d tries", len(st.raw))
	}
	st.at = st.at.Add(5 * time.Second)
	st.round(0)
	st.at = st.at.Add(10 * time.Second)
	st.code = 200
	st.round(2)
	if st.got[0].About != "O-1001" || st.got[1].About != "O-1002" || st.raw[0].Header.Get("webhook-id") != st.raw[2].Header.Get("webhook-id") {
		t.Errorf("%+v", st.got)
	}
	s, err := st.Subscriber(t.Context(), x.ID)
	if err != nil || s.Failures != 0 || len(s.Tries) != 4 || s.Tries[3].Code != 500 {
		t.Errorf("%v %+v", err, s)
	}
	// Three days of nothing, and it is given up; a person lets it go on.
	st.happens("order.accepted", "O-1003")
	st.code = 503
	for range 60 {
		st.round(0)
		st.at = st.at.Add(2 * time.Hour)
	}
	if s, _ = st.Subscriber(t.Context(), x.ID); s.State != post.GivenUp || s.Failures > 40 {
		t.Errorf("%s after %d", s.State, s.Failures)
	}
	st.code = 204
	if _, err := st.Set(t.Context(), "B", x.ID, post.On); err != nil {
		t.Fatal(err)
	}
	st.round(1)
	// A receiver that is gone says so, and is believed.
	st.happens("order.accepted", "O-1004")
	st.code = 410
	st.round(0)
	if s, _ = st.Subscriber(t.Context(), x.ID); s.State != post.GivenUp {
		t.Errorf("%s", s.State)
	}
}

func TestSigned(t *testing.T) {
	at := time.Unix(1_930_000_000, 0)
	body := []byte(`{"id":"event-1"}`)
	sig := post.Sign("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_1", at, body)
	ts := "1930000000"
	if !post.Verify("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_1", ts, sig, body, at) {
		t.Fatal("its own signature does not verify")
	}
	for name, ok := range map[string]bool{
		"body":   post.Verify("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_1", ts, sig, []byte(`{"id":"event-2"}`), at),
		"id":     post.Verify("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_2", ts, sig, body, at),
		"time":   post.Verify("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_1", "1930000001", sig, body, at),
		"old":    post.Verify("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_1", ts, sig, body, at.Add(6*time.Minute)),
		"secret": post.Verify("whsec_other", "msg_1", ts, sig, body, at),
	} {
		if ok {
			t.Errorf("a message with another %s verifies", name)
		}
	}
}

// TestExample: the published example of the specification "Standard Webhooks" (its README, from memory).
func TestExample(t *testing.T) {
	got := post.Sign("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", time.Unix(1614265330, 0), []byte(`{"test": 2432232314}`))
	if got != "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=" {
		t.Errorf("%s", got)
	}
}

func TestLease(t *testing.T) {
	st := open(t)
	if _, err := st.Subscribe(t.Context(), "B", st.url, nil); err != nil {
		t.Fatal(err)
	}
	st.happens("order.accepted", "O-1001")
	st.hold = make(chan struct{})
	first := make(chan int)
	go func() {
		n, _ := st.Round(t.Context())
		first <- n
	}()
	// The second process finds the lease taken, whenever it comes.
	other := &post.Office{Records: st.s, Clock: func() time.Time { return st.at }}
	for range 20 {
		xs, err := other.Subscribers(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if !xs[0].Lease.IsZero() {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if n, err := other.Round(t.Context()); err != nil || n != 0 {
		t.Errorf("%d, %v", n, err)
	}
	close(st.hold)
	if n := <-first; n != 1 || len(st.raw) != 1 {
		t.Errorf("%d sent, %d requests", n, len(st.raw))
	}
}

func TestAddresses(t *testing.T) {
	st := open(t)
	for address, want := range map[string]string{"ftp://x": "url_form", "nonsense": "url_form", "https://a:b@x.example": "url_form", "http://x.example/": "url_open", "https://x.example/in": ""} {
		_, err := st.Subscribe(t.Context(), "B", address, nil)
		if want == "" && err != nil || want != "" && (err == nil || fault.Of(err).Code != want) {
			t.Errorf("%s: %v, want %q", address, err, want)
		}
	}
}
