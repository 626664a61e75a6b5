package web

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"oldhand/cmd/internal/app"
)

// landoor serves the page to other devices on the local network, as long as the
// owner has that turned on. Who comes this way comes with a device's session and
// with no other: what lets a browser of this machine in is good for nothing here,
// nor the other way round.
type landoor struct {
	s     *Server
	lan   *app.Lan
	tries *tries

	end  context.CancelFunc
	done chan struct{}

	mu      sync.Mutex // over what follows
	at      string     // where it listens; empty while it does not
	print   string     // the fingerprint of its certificate
	trouble string     // why it does not listen though it should
	hosts   map[string]bool
	took    chan struct{} // closed when it has done next what it was told
}

// lanRetry is the pause before an address that could not be taken is tried again:
// the laptop may be on its way into the network.
const lanRetry = 10 * time.Second

// lanEnds is how long requests may take that are on their way when it is turned
// off.
const lanEnds = 2 * time.Second

func (s *Server) openLan(lan *app.Lan) *landoor {
	ctx, end := context.WithCancel(context.Background())
	d := &landoor{s: s, lan: lan, tries: &tries{now: s.opt.now}, end: end, done: make(chan struct{}), took: make(chan struct{})}
	took := d.took
	go d.follow(ctx)
	<-took
	return d
}

// turn changes what is listened on and waits until that is done, so that the page
// that comes next can say what came of it.
func (d *landoor) turn(do func() error) error {
	d.mu.Lock()
	took := d.took
	d.mu.Unlock()
	if err := do(); err != nil {
		return err
	}
	select {
	case <-took:
	case <-time.After(2 * lanEnds):
	}
	return nil
}

// follow listens as it is turned on, off and elsewhere.
func (d *landoor) follow(ctx context.Context) {
	defer close(d.done)
	for ctx.Err() == nil {
		address, names, changed := d.lan.Listens()
		var stop func()
		retry := make(<-chan time.Time)
		if address != "" {
			var err error
			if stop, err = d.listen(ctx, address, names); err != nil {
				d.set("", "", err.Error(), nil)
				d.s.opt.Log.Error("not shown to other devices", "at", address, "why", err.Error())
				retry = time.After(lanRetry)
			}
		}
		d.mu.Lock()
		close(d.took)
		d.took = make(chan struct{})
		d.mu.Unlock()
		select {
		case <-changed:
		case <-retry:
		case <-ctx.Done():
		}
		if stop != nil {
			stop()
		}
		d.set("", "", "", nil)
	}
}

func (d *landoor) set(at, print, trouble string, hosts map[string]bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.at, d.print, d.trouble, d.hosts = at, print, trouble, hosts
}

// listen serves at an address until stop is called, which cuts off who is there.
func (d *landoor) listen(ctx context.Context, address string, names []string) (stop func(), err error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	cert, err := d.lan.Certificate(host, names)
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, err
	}
	if port == "0" { // any was good; it stays what it came to
		address = l.Addr().String()
		if err := d.lan.Moved(address); err != nil {
			return nil, errors.Join(err, l.Close())
		}
		_, port, _ = net.SplitHostPort(address)
	}
	hosts := map[string]bool{}
	for _, name := range append([]string{host}, names...) {
		hosts[net.JoinHostPort(name, port)] = true
		if port == "443" {
			hosts[name] = true
		}
	}
	d.set(address, app.Fingerprint(cert), "", hosts)
	inside, cut := context.WithCancel(ctx)
	h := &http.Server{Handler: d.handler(), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		Protocols:   oldHTTP(),
		TLSConfig:   &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12},
		BaseContext: func(net.Listener) context.Context { return inside },
		ErrorLog:    slog.NewLogLogger(d.s.opt.Log.Handler(), slog.LevelDebug)}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := h.ServeTLS(l, "", ""); !errors.Is(err, http.ErrServerClosed) {
			d.set("", "", err.Error(), nil)
		}
	}()
	d.s.opt.Log.Info("serving other devices", "at", address)
	return func() {
		cut()
		last, over := context.WithTimeout(context.WithoutCancel(ctx), lanEnds)
		defer over()
		if h.Shutdown(last) != nil {
			_ = h.Close() // who still waits is cut off
		}
		<-ended
	}, nil
}

// oldHTTP is HTTP/1.1 alone. Whoever is on the local network reaches this door
// before anything is asked of them, and the newer protocol is where a stranger could
// make a server fall over or work for nothing (GO-2026-6603, 6611, 6612 and 6617).
func oldHTTP() *http.Protocols {
	p := &http.Protocols{}
	p.SetHTTP1(true)
	return p
}

// close ends it.
func (d *landoor) close() error {
	d.end()
	<-d.done
	return d.lan.Close()
}

// handler is all that a request of another device passes, the outermost first.
func (d *landoor) handler() http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(d.s.foreign))
	mux := http.NewServeMux()
	d.s.addPages(mux)
	mux.HandleFunc("GET /enter", d.showEnter)
	mux.HandleFunc("POST /enter", d.enter)
	return headers(d.knownHost(cross.Handler(d.admitted(mux))))
}

func (d *landoor) knownHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.mu.Lock()
		known := d.hosts[strings.ToLower(r.Host)]
		d.mu.Unlock()
		if !known {
			http.Error(w, "this page does not answer to that name", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// visitorKey is where a request's context has the device that it comes from.
type visitorKey struct{}

// visitorOf is the device that a request comes from; nil for a browser of this
// machine.
func visitorOf(r *http.Request) *app.Visitor {
	v, _ := r.Context().Value(visitorKey{}).(*app.Visitor)
	return v
}

// admitted lets devices in that came with a code before, and lets those that may
// only look do nothing else. A device whose rights end is cut off in the middle.
func (d *landoor) admitted(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/enter" || strings.HasPrefix(r.URL.Path, "/static/") {
			r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
			next.ServeHTTP(w, r)
			return
		}
		v, ok := d.visitor(w, r)
		if !ok {
			return
		}
		if !v.Write && r.Method != http.MethodGet && r.Method != http.MethodHead && !looksOnly(r.URL.Path) {
			d.s.refuse(w, r, &app.NotAllowed{Why: v.Name + " may look at the pages and do nothing; nothing was done"})
			return
		}
		ctx, stop := context.WithCancel(context.WithValue(r.Context(), visitorKey{}, v))
		defer stop()
		go func() {
			select {
			case <-v.Ended:
				stop()
			case <-ctx.Done():
			}
		}()
		r = r.WithContext(ctx)
		r.Body = http.MaxBytesReader(w, r.Body, bodyLimit(r.URL.Path))
		next.ServeHTTP(w, r)
	})
}

// deviceCookie is known by browsers to be of this very address, and sent over TLS
// only (RFC 6265bis, section 4.1.3.2).
const deviceCookie = "__Host-oldhand-device"

// visitor is the device that a request comes from. Without one the request is
// answered: not let in, or, after many wrong guesses, not even heard.
func (d *landoor) visitor(w http.ResponseWriter, r *http.Request) (*app.Visitor, bool) {
	shown := r.CookiesNamed(deviceCookie)
	for _, c := range shown {
		if v, ok := d.lan.Known(c.Value); ok {
			return v, true
		}
	}
	if len(shown) > 0 {
		if d.tooMany(w, r) {
			return nil, false
		}
		d.tries.wrong(r.RemoteAddr)
		http.SetCookie(w, &http.Cookie{Name: deviceCookie, Path: "/", MaxAge: -1, Secure: true, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	}
	d.notIn(w, r)
	return nil, false
}

func (d *landoor) tooMany(w http.ResponseWriter, r *http.Request) bool {
	if !d.tries.tooMany(r.RemoteAddr) {
		return false
	}
	w.Header().Set("Retry-After", "60")
	http.Error(w, "too many wrong codes; wait a minute", http.StatusTooManyRequests)
	return true
}

func (d *landoor) notIn(w http.ResponseWriter, r *http.Request) {
	q := &request{w: w, r: r, s: d.s, status: http.StatusUnauthorized}
	if err := q.bare("enter", "Not let in", entering{}); err != nil {
		d.s.opt.Log.Error("page not drawn", "page", "enter", "why", err.Error())
	}
}

// entering is the page of a device that wants to come in; without a code it says
// how to get one.
type entering struct{ Code, Name, Rights string }

// showEnter asks before the code is used up: a browser that only looks ahead, or
// that a scanner opens inside itself, must not take it.
func (d *landoor) showEnter(w http.ResponseWriter, r *http.Request) {
	if d.tooMany(w, r) {
		return
	}
	code := r.URL.Query().Get("code")
	device, ok := d.lan.For(code)
	if !ok {
		if code != "" {
			d.tries.wrong(r.RemoteAddr)
		}
		d.notIn(w, r)
		return
	}
	q := &request{w: w, r: r, s: d.s}
	if err := q.bare("enter", "Come in", entering{code, device.Name, device.Rights()}); err != nil {
		d.s.opt.Log.Error("page not drawn", "page", "enter", "why", err.Error())
	}
}

// enter lets a device in by its code. It is known by something that it never had
// before, whatever it brought along.
func (d *landoor) enter(w http.ResponseWriter, r *http.Request) {
	if d.tooMany(w, r) {
		return
	}
	session, _, ok, err := d.lan.Enter(r.PostFormValue("code"))
	if err != nil {
		d.s.refuse(w, r, err)
		return
	}
	if !ok {
		d.tries.wrong(r.RemoteAddr)
		d.notIn(w, r)
		return
	}
	http.SetCookie(w, &http.Cookie{Name: deviceCookie, Value: session, Path: "/", MaxAge: int(deviceStays / time.Second), Secure: true, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// deviceStays is how long a browser keeps what it is known by: as long as browsers
// keep anything (RFC 6265bis, section 5.5: 400 days).
const deviceStays = 400 * 24 * time.Hour

// refuse answers with an error on a page that shows nothing of the shop.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, why error) {
	q := &request{w: w, r: r, s: s, status: statusOf(why)}
	t := troubleOf(why)
	var err error
	if q.wantsPart() {
		err = q.part("trouble", "trouble", t)
	} else {
		err = q.bare("trouble", t.Title, t)
	}
	if err != nil {
		s.opt.Log.Error("page not drawn", "page", "trouble", "why", err.Error())
	}
}
