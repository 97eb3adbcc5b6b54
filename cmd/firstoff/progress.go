package main

import (
	"io"
	"os"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// progress shows on a terminal how far the files have come, once the work has taken a second; silent in a pipe.
type progress struct {
	p    *mpb.Progress
	bar  *mpb.Bar
	name string
	what string
	from time.Time
	w    io.Writer
	n    int
	at   int
	off  bool
}

func newProgress(w io.Writer, files int, quiet bool) *progress {
	f, ok := w.(*os.File)
	off := quiet || !ok
	if ok {
		if st, err := f.Stat(); err != nil || st.Mode()&os.ModeCharDevice == 0 {
			off = true
		}
	}
	return &progress{from: time.Now(), w: w, n: files, off: off}
}

func (p *progress) start(name string) { p.name = name }

func (p *progress) step(what string, done float64) {
	if p.off {
		return
	}
	p.what = what
	if p.p == nil {
		if time.Since(p.from) < time.Second && done < 0.7 {
			return
		}
		p.p = mpb.New(mpb.WithOutput(p.w), mpb.WithWidth(48))
		p.bar = p.p.AddBar(int64(p.n)*1000, mpb.PrependDecorators(decor.Any(func(decor.Statistics) string { return p.name + " " + p.what })))
	}
	p.bar.SetCurrent(int64(p.at)*1000 + int64(done*1000))
}

func (p *progress) next() {
	p.at++
	if p.bar != nil {
		p.bar.SetCurrent(int64(p.at) * 1000)
	}
}

func (p *progress) done() {
	if p.p == nil {
		return
	}
	p.bar.SetTotal(-1, true)
	p.p.Wait()
	p.p = nil
}
