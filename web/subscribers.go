package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	"firstoff/post"
)

// PostSteps are the use cases of programs that want to be told; *post.Office is the implementation.
type PostSteps interface {
	Subscribe(ctx context.Context, who, address string, what []string) (post.Subscriber, error)
	Set(ctx context.Context, who, id string, to post.State) (post.Subscriber, error)
	Remove(ctx context.Context, who, id string) error
	Try(ctx context.Context, id string) (post.Try, error)
	Subscribers(ctx context.Context) ([]post.Subscriber, error)
}

func (k *desk) subscribers(w http.ResponseWriter, r *http.Request) error {
	all, err := k.Post.Subscribers(r.Context())
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, subscribersPage(k.frame(r, "Programs that are told", "shop"), all))
	return nil
}

func (k *desk) subscribe(w http.ResponseWriter, r *http.Request) error {
	what := strings.FieldsFunc(r.FormValue("what"), func(c rune) bool { return c == ',' || c == ' ' || c == '\n' || c == '\r' })
	s, err := k.Post.Subscribe(r.Context(), who(r), r.FormValue("url"), what)
	if err != nil {
		return err
	}
	return seeOther(w, r, "/subscribers#"+url.PathEscape(s.ID))
}

func (k *desk) changeSubscriber(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	var err error
	switch r.FormValue("do") {
	case "remove":
		err = k.Post.Remove(r.Context(), who(r), id)
	case "try":
		_, err = k.Post.Try(r.Context(), id)
	case "pause":
		_, err = k.Post.Set(r.Context(), who(r), id, post.Paused)
	default:
		_, err = k.Post.Set(r.Context(), who(r), id, post.On)
	}
	if err != nil {
		return err
	}
	return seeOther(w, r, "/subscribers#"+url.PathEscape(id))
}
