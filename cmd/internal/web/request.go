package web

import (
	"bytes"
	"errors"
	"net/http"
	"net/url"

	"oldhand/cmd/internal/app"
)

// request is one request as it is answered: read it, decide, then draw with show
// or part, or send the browser on with goTo.
type request struct {
	w    http.ResponseWriter
	r    *http.Request
	s    *Server
	shop *app.Shop // nil only in rooms that go without

	room    room
	status  int    // of the answer; zero for 200
	refresh string // where a bare page goes on to by itself
}

// answer runs a page and shows what went wrong with it.
func (s *Server) answer(w http.ResponseWriter, r *http.Request, p room) {
	q := &request{w: w, r: r, s: s, room: p}
	shop, err := s.open()
	q.shop = shop
	switch {
	case err == nil, p.unshoped && errors.As(err, new(*app.NoShop)):
		err = p.do(q)
	case errors.As(err, new(*app.NoShop)) && r.Method == http.MethodGet && !q.wantsPart():
		http.Redirect(w, r, "/begin", http.StatusSeeOther)
		return
	}
	if err != nil {
		q.fail(err)
		s.Check()
	}
}

// wantsPart reports whether a part of a page is fetched into one that is open.
func (q *request) wantsPart() bool { return q.r.Header.Get("HX-Request") == "true" }

// asked is a value of the address.
func (q *request) asked(name string) string { return q.r.URL.Query().Get(name) }

// show draws a page in the frame that all pages have.
func (q *request) show(template, title string, v any) error {
	return q.draw(template, "page", frame{q: q, Title: title, Main: v})
}

// bare draws a page that needs no shop and shows nothing of it.
func (q *request) bare(template, title string, v any) error {
	return q.draw(template, "bare", frame{q: q, Title: title, Main: v})
}

// part draws one block of a page's template alone.
func (q *request) part(template, block string, v any) error { return q.draw(template, block, v) }

// draw makes the whole answer before any of it is sent: an error must not leave
// half a page.
func (q *request) draw(template, block string, v any) error {
	var b bytes.Buffer
	if err := q.s.look.draw(&b, template, block, v); err != nil {
		return err
	}
	q.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if q.status != 0 {
		q.w.WriteHeader(q.status)
	}
	_, err := q.w.Write(b.Bytes())
	if err != nil {
		q.s.opt.Log.Debug("answer not sent", "why", err.Error()) // the browser went away
	}
	return nil
}

// goTo sends the browser to another page after something was done, with words
// that it shows there.
func (q *request) goTo(path string, words ...notice) error {
	if len(words) > 0 {
		u, err := url.Parse(path)
		if err != nil {
			return err
		}
		v := u.Query()
		v.Set("said", q.s.said.keep(words))
		u.RawQuery = v.Encode()
		path = u.String()
	}
	if q.wantsPart() {
		q.w.Header().Set("HX-Redirect", path)
		return nil
	}
	http.Redirect(q.w, q.r, path, http.StatusSeeOther)
	return nil
}

// fail shows an error: what went wrong, what was kept, and what to do next.
func (q *request) fail(err error) {
	c := app.ClassOf(err)
	q.status = c.Status
	t := troubleOf(err)
	if c.Status >= http.StatusInternalServerError {
		q.s.opt.Log.Error("page failed", "path", q.r.URL.Path, "why", err.Error())
	}
	var drawn error
	if q.wantsPart() {
		drawn = q.part("trouble", "trouble", t)
	} else {
		drawn = q.show("trouble", t.Title, t)
	}
	if drawn != nil {
		q.s.opt.Log.Error("page not drawn", "page", "trouble", "why", drawn.Error())
		http.Error(q.w, "something went wrong: "+err.Error(), http.StatusInternalServerError)
	}
}

// trouble is an error as a page shows it.
type trouble struct {
	Title string
	Words string
	Hint  string
	Units []unitLine // that may have been meant
}

func troubleOf(err error) *trouble {
	t := &trouble{Title: app.ClassOf(err).Title, Words: err.Error(), Hint: app.HintFor(err)}
	var unclear *app.Unclear
	if errors.As(err, &unclear) {
		t.Words = "“" + unclear.Typed + "” " + unclear.Why + "."
		for _, l := range unclear.Likely {
			t.Units = append(t.Units, lineOfLikely(l))
		}
	}
	return t
}

// errNoPage is returned for an address that is no page.
var errNoPage = errors.New("there is no page at this address")

func nowhere(q *request) error {
	q.status = http.StatusNotFound
	return q.show("trouble", "No page here", &trouble{Title: "No page here", Words: errNoPage.Error() + "."})
}
