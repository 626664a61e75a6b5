package web

import (
	"crypto/rand"
	"crypto/sha256"
	"net/http"
	"sync"
	"time"
)

// cookieName is of the cookie that says who was let in.
const cookieName = "oldhand"

const (
	tokenLife    = time.Hour
	mostTokens   = 20
	mostSessions = 200
)

// doors knows who was let in. Secrets are kept as hashes, so that comparing
// them takes no time that tells anything, and only in memory: a page that was
// started anew is come into anew.
type doors struct {
	now func() time.Time

	mu       sync.Mutex
	tokens   []token
	sessions [][sha256.Size]byte
}

type token struct {
	hash [sha256.Size]byte
	made time.Time
}

func newDoors(now func() time.Time) *doors { return &doors{now: now} }

func hashOf(secret string) [sha256.Size]byte { return sha256.Sum256([]byte(secret)) }

// token makes a secret that lets one browser in, once.
func (d *doors) token() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	secret := rand.Text()
	d.tokens = append(d.tokens, token{hashOf(secret), d.now()})
	if len(d.tokens) > mostTokens {
		d.tokens = d.tokens[1:]
	}
	return secret
}

// enter takes a token and gives a session; none where the token is not good.
func (d *doors) enter(secret string) (session string, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	hash := hashOf(secret)
	for i, t := range d.tokens {
		if t.hash != hash {
			continue
		}
		d.tokens = append(d.tokens[:i], d.tokens[i+1:]...)
		if age := d.now().Sub(t.made); age > tokenLife {
			return "", false
		}
		session = rand.Text()
		d.sessions = append(d.sessions, hashOf(session))
		if len(d.sessions) > mostSessions {
			d.sessions = d.sessions[1:]
		}
		return session, true
	}
	return "", false
}

// admitted reports whether a request comes from a browser that was let in.
func (d *doors) admitted(r *http.Request) bool {
	for _, c := range r.CookiesNamed(cookieName) {
		hash := hashOf(c.Value)
		d.mu.Lock()
		for _, s := range d.sessions {
			if s == hash {
				d.mu.Unlock()
				return true
			}
		}
		d.mu.Unlock()
	}
	return false
}

// start lets a browser in by its token. It answers with a page that goes on by
// itself, where a redirect would not do: a cookie for this site only does not go
// along with a redirect that began at another one.
func (s *Server) start(w http.ResponseWriter, r *http.Request) {
	if !s.doors.admitted(r) {
		session, ok := s.doors.enter(r.URL.Query().Get("token"))
		if !ok {
			s.locked(w, r)
			return
		}
		http.SetCookie(w, &http.Cookie{Name: cookieName, Value: session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	}
	q := &request{w: w, r: r, s: s, refresh: "/"}
	if err := q.bare("start", "Come in", nil); err != nil {
		s.opt.Log.Error("page not drawn", "page", "start", "why", err.Error())
	}
}
