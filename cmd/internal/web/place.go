package web

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"sync"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// meetingPlace is how this bench stands with the place where the benches meet, in
// words.
type meetingPlace struct {
	Says  []string
	Wrong []string
	Code  string // says where it is, for a bench that does not know it
	Notes []app.Heard
}

func placeOf(st app.DutyState) meetingPlace {
	p := meetingPlace{Notes: st.Notes}
	at := strings.Join(st.Hosted.Addresses, " and ")
	switch {
	case st.Hosts:
		p.say("The other benches meet here, at %s.", at)
		p.Code = st.Hosted.Code
		if st.Shown != "" {
			p.say("%s.", capital(st.Shown))
		}
	case st.Command:
		p.say("The other benches meet here, at %s: a command in another window hosts, and ends with it.", at)
		p.Code = st.Hosted.Code
	case st.Host:
		p.say("This bench is told to host at %s, and does not yet. It goes on trying.", st.Listen)
	}
	switch {
	case st.Watch && st.With != "":
		p.say("This bench stays with the others at %s: what is written here is there within a moment, and the other way round.", st.With)
	case st.Watch && st.Known != "":
		p.say("This bench is told to stay with the others at %s and does not reach them. It goes on trying.", st.Known)
	case st.Hosts, st.Command, st.Host:
	case st.Known != "":
		p.say("The others were met last at %s. They are met when somebody asks for it.", st.Known)
	default:
		p.say("This bench knows no place where the benches meet. Host here, type the code of the bench that hosts, or carry a file.")
	}
	p.addExchange(st.Place)
	for _, w := range []string{st.HostSays, st.WatchSay} {
		if w != "" {
			p.Wrong = append(p.Wrong, capital(strings.TrimPrefix(w, "--"))+".") // a flag's name is of no use here
		}
	}
	return p
}

func (p *meetingPlace) say(format string, args ...any) {
	p.Says = append(p.Says, fmt.Sprintf(format, args...))
}

// addExchange says how the exchange itself is.
func (p *meetingPlace) addExchange(x *app.PlaceState) {
	if x == nil {
		return
	}
	if x.Problem != "" {
		p.Wrong = append(p.Wrong, capital(x.Problem)+".")
	}
	if !x.Answers {
		return
	}
	p.say("The exchange, where what they give each other lies, holds %s, %s.", events.Count(int(x.Messages), "message"), app.SizeText(int64(x.Bytes)))
	if x.Holes > 0 {
		p.Wrong = append(p.Wrong, fmt.Sprintf("%s of the exchange were lost to damage. The benches give again what they have of that.", events.Count(int(x.Holes), "message")))
	}
	for _, w := range x.Warnings {
		p.Wrong = append(p.Wrong, capital(w)+".")
	}
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".")
}

// addPlaceForms gives the forms of what can be turned on or off.
func (g *gathering) addPlaceForms(st app.DutyState) {
	if st.Host {
		g.Host = &form{ID: "unhost", Action: "/benches/unhost", Submit: "Stop hosting", Once: newOnce(), Small: true}
	} else if !st.Command {
		g.Host = &form{ID: "host", Action: "/benches/host", Submit: "Host here", Once: newOnce(), Fields: []*field{
			{Name: "listen", Label: "Let the others meet here, at", Value: st.Listen, Hint: "address and port; 0.0.0.0 is every network that this machine is in"},
			{Name: "unannounced", Label: "Do not show it on the local network", Kind: "checkbox"}}}
	}
	switch {
	case st.Watch:
		g.Watch = &form{ID: "unwatch", Action: "/benches/unwatch", Submit: "Stop staying with the others", Once: newOnce(), Small: true}
	case st.Known != "":
		g.Watch = &form{ID: "watch", Action: "/benches/watch", Submit: "Stay with the others at " + st.Known, Once: newOnce(), Small: true}
	}
	if st.Host && st.Known == "" {
		return // the others come here
	}
	g.Meet = &form{ID: "meet", Action: "/benches/meet", Submit: "Meet the others once", Once: newOnce(), Fields: []*field{
		{Name: "code", Label: "Code or address", Hint: "only where the place is another than before: the code stands on the page of the bench that hosts"}}}
}

// placePart draws how it stands, anew.
func placePart(q *request) error {
	st, err := q.s.duties.State()
	if err != nil {
		return err
	}
	return q.part("benches", "place", placeOf(st))
}

// deed does what one of the page's small forms is for.
func (q *request) deed(which func(*gathering) *form, do func(f *form) ([]notice, error)) error {
	g, err := q.gathering()
	if err != nil {
		return err
	}
	f := which(g)
	if f == nil || f.Action != q.r.URL.Path {
		return q.goTo("/benches", notice{Words: "That was done already.", Warn: true})
	}
	return q.post(f, func() (string, []notice, error) {
		said, err := do(f)
		return "/benches", said, err
	}, func() error { return q.show("benches", "Benches", g) })
}

func startHosting(q *request) error {
	return q.deed(func(g *gathering) *form { return g.Host }, func(f *form) ([]notice, error) {
		listen := f.value("listen")
		err := q.s.duties.Host(app.HostDuty{Listen: choose(listen != "", listen, app.UsualListen), Unannounced: f.value("unannounced") != ""})
		return []notice{{Words: "This bench hosts. It does so again whenever its page is started, until that is stopped here."}}, err
	})
}

func stopHosting(q *request) error {
	return q.deed(func(g *gathering) *form { return g.Host }, func(*form) ([]notice, error) {
		return []notice{{Words: "This bench hosts no more."}}, q.s.duties.Unhost()
	})
}

func startWatching(q *request) error {
	return q.deed(func(g *gathering) *form { return g.Watch }, func(*form) ([]notice, error) {
		return []notice{{Words: "This bench stays with the others. It does so again whenever its page is started, until that is stopped here."}}, q.s.duties.Watch(true)
	})
}

func stopWatching(q *request) error {
	return q.deed(func(g *gathering) *form { return g.Watch }, func(*form) ([]notice, error) {
		return []notice{{Words: "This bench meets the others when somebody asks for it."}}, q.s.duties.Watch(false)
	})
}

// meetWithin is how long one meeting may take before the person is told.
const meetWithin = 2 * time.Minute

func meetOnce(q *request) error {
	return q.deed(func(g *gathering) *form { return g.Meet }, func(f *form) ([]notice, error) {
		ctx, stop := context.WithTimeout(q.r.Context(), meetWithin)
		defer stop()
		r, err := app.Find(ctx, q.s.opt.Dir, strings.Fields(f.value("code")), q.s.opt.App)
		if err != nil {
			return nil, err
		}
		defer r.Close()
		m, err := q.shop.Meet(ctx, r, app.Patient, nil)
		return metWords(m), err
	})
}

func metWords(m app.Met) []notice {
	said := []notice{{Words: fmt.Sprintf("Met the others at %s: %s taken, %s given.", m.With, events.Count(m.Took, "event"), events.Count(m.Gave, "event"))}}
	for _, w := range append(m.WaitsFor, m.NotHeeded...) {
		said = append(said, notice{Words: capital(w) + ".", Warn: true})
	}
	return said
}

// codes are the join codes that were made on the page, in this process only.
type codes struct {
	mu   sync.Mutex
	list []*app.OpenCode // the last first
}

// mostCodes is how many are shown; older ones are long over.
const mostCodes = 3

func (c *codes) add(o *app.OpenCode) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.list = slices.Insert(c.list, 0, o)
	c.list = c.list[:min(len(c.list), mostCodes)]
}

func (c *codes) all() []*app.OpenCode {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.list)
}

// joinCodes is what became of them.
type joinCodes struct {
	Hosts, Owner bool
	Make         *form
	Codes        []joinCode
}

type joinCode struct {
	Says    string
	Open    bool
	Code    string
	Picture template.HTML
}

func (q *request) joinCodes() (j joinCodes, err error) {
	j.Make = &form{ID: "invite", Action: "/benches/code/make", Submit: "Make a join code", Once: newOnce(), Small: true}
	for _, c := range q.s.codes.all() {
		st, err := q.shop.Stands(c)
		if err != nil {
			return j, err
		}
		one := joinCode{Says: st.Says, Open: st.Open}
		if st.Open {
			one.Code, one.Picture = c.Code, codePicture(c.Code)
		}
		j.Codes = append(j.Codes, one)
	}
	return j, nil
}

// codePart draws the codes, anew.
func codePart(q *request) error {
	j, err := q.joinCodes()
	if err != nil {
		return err
	}
	return q.part("benches", "codes", j)
}

func makeCode(q *request) error {
	return q.deed(func(g *gathering) *form { return g.Code.Make }, func(*form) ([]notice, error) {
		c, err := q.shop.InviteAndWait()
		if err == nil {
			q.s.codes.add(c)
		}
		return nil, err
	})
}
