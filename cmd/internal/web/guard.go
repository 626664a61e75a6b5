package web

import (
	"net/http"
	"strings"

	"oldhand/cmd/internal/app"
)

// policy lets nothing in but what this program itself serves: no script and no
// style inside a page, nothing from another host, no frame around it.
const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"

// mostBody is how large a form may be. A page that takes files says its own limit.
const mostBody = 1 << 20

// guarded puts all that every request passes around the pages, the outermost
// first: headers, the host's name, where the request comes from, who asks, and
// how much it may send.
func (s *Server) guarded(pages http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(s.foreign))
	return headers(s.knownHost(cross.Handler(s.admitted(pages))))
}

func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store") // customers' names may stand on any page
		next.ServeHTTP(w, r)
	})
}

// knownHost refuses any name but those of this page: another site's name may be
// made to lead here, and its scripts would be of the same origin then.
func (s *Server) knownHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !s.hosts[strings.ToLower(r.Host)] {
			http.Error(w, "this page does not answer to that name", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) foreign(w http.ResponseWriter, _ *http.Request) {
	http.Error(w, "another site sent this request; nothing was done", http.StatusForbidden)
}

// open to whoever asks: what holds nothing of the shop.
func public(path string) bool {
	return path == "/start" || strings.HasPrefix(path, "/static/")
}

// admitted lets only those in who came with a start token before.
func (s *Server) admitted(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !public(r.URL.Path) && !s.doors.admitted(r) {
			s.locked(w, r)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, bodyLimit(r.URL.Path))
		next.ServeHTTP(w, r)
	})
}

// locked says how to come in.
func (s *Server) locked(w http.ResponseWriter, r *http.Request) {
	q := &request{w: w, r: r, s: s}
	q.status = http.StatusUnauthorized
	if err := q.bare("locked", "Not let in", nil); err != nil {
		s.opt.Log.Error("page not drawn", "page", "locked", "why", err.Error())
	}
}

// bodyLimit is how much may be sent to a page.
func bodyLimit(path string) int64 {
	for _, p := range pages() {
		if p.mostBody > 0 && path == p.at {
			return p.mostBody
		}
	}
	return mostBody
}

// statusOf is the status of a page that shows an error.
func statusOf(err error) int { return app.ClassOf(err).Status }
