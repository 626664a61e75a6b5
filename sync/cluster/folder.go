package cluster

import (
	_ "embed"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"oldhand/events/wholefile"
)

// serverSettings are what every server is started with.
//
//go:embed server/server.conf
var serverSettings []byte

// Files of a cluster's folder and of each server's folder in it.
const (
	SettingsFile = "server.conf" // what a server is started with
	PlaceFile    = "place.conf"
	ShopsFile    = "shops.conf"
	SignerFile   = "ca.pem" // what benches know the servers by

	signerKeyFile = "ca.key"
	keeperFile    = "keeper.key"
	certFile      = "server.pem"
	keyFile       = "server.key"
	storeDir      = "store"
)

// New lays a cluster into a folder, which is made: its plan, the signer of its
// certificates, and a folder for each server with all that this one needs. The
// servers' folders belong in the folder at on their machines; empty is where they
// are written.
func New(dir, at string, servers []Server, disk int64, now time.Time) (p Plan, err error) {
	if p.At = at; at == "" {
		if p.At, err = filepath.Abs(dir); err != nil {
			return p, err
		}
	}
	p.Servers, p.Disk, p.Shops = servers, disk, []Shop{}
	if strings.ContainsAny(p.At, "\"\\\n$") && os.PathSeparator == '/' {
		return p, fmt.Errorf("folder %q: its name can't stand in settings", p.At)
	}
	if err := p.check(); err != nil {
		return p, err
	}
	if err := mustBeFree(dir); err != nil {
		return p, err
	}
	keeper, seed, err := newKeeper()
	if err != nil {
		return p, err
	}
	p.Keeper = keeper
	if err := wholefile.Write(filepath.Join(dir, keeperFile), append(seed, '\n')); err != nil {
		return p, err
	}
	s, err := newSigner(now)
	if err != nil {
		return p, err
	}
	if err := s.write(dir); err != nil {
		return p, err
	}
	for _, server := range servers {
		if err := p.layServer(dir, server, s, now); err != nil {
			return p, fmt.Errorf("write the files of server %s: %w", server.Name, err)
		}
	}
	return p, p.Save(dir) // last: a folder without a plan is none
}

// mustBeFree makes a folder, or takes an empty one.
func mustBeFree(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err == nil && len(entries) > 0 {
		err = fmt.Errorf("lay a cluster into %s: %w: the folder is not empty", dir, fs.ErrExist)
	}
	return err
}

// layServer writes a server's own folder.
func (p Plan) layServer(dir string, s Server, by signer, now time.Time) error {
	own := filepath.Join(dir, s.Name)
	if err := os.MkdirAll(own, 0o700); err != nil {
		return err
	}
	cert, key, err := by.sign(s.Host, now)
	if err != nil {
		return err
	}
	for name, b := range map[string][]byte{SettingsFile: serverSettings, PlaceFile: []byte(p.place(s)), SignerFile: by.cert, certFile: cert, keyFile: key} {
		if err := wholefile.Write(filepath.Join(own, name), b); err != nil {
			return err
		}
	}
	return nil
}

// place is in what a server differs from the others.
func (p Plan) place(s Server) string {
	var b strings.Builder
	say := func(name, value string) { fmt.Fprintf(&b, "%s: %s\n", name, value) }
	file := func(name string) string { return strconv.Quote(filepath.Join(p.At, s.Name, name)) }
	fmt.Fprintf(&b, "# Server %s, and where it finds its files and the other servers.\n", s.Name)
	say("NAME", s.Name)
	say("LISTEN", strconv.Quote(s.listens(s.Port)))
	say("ADVERTISE", strconv.Quote(s.clients()))
	say("ROUTE_LISTEN", strconv.Quote(s.listens(s.Port+routesAbove)))
	say("ROUTE_ADVERTISE", strconv.Quote(s.routes()))
	var routes []string
	for _, other := range p.Servers {
		routes = append(routes, strconv.Quote("nats://"+other.routes()))
	}
	say("ROUTES", "["+strings.Join(routes, ", ")+"]")
	say("CERT", file(certFile))
	say("KEY", file(keyFile))
	say("CA", file(SignerFile))
	say("STORE", file(storeDir))
	say("DISK", strconv.FormatInt(p.Disk, 10))
	return b.String()
}

// shops is who may come in. The keeper has the servers' own account, and is there
// also because a server without any user lets everybody in.
func (p Plan) shops() (string, error) {
	var b strings.Builder
	b.WriteString("# One account a shop. After it changed, tell each server to read it again: kill -HUP\n")
	fmt.Fprintf(&b, "system_account: SYS\naccounts {\nSYS { users: [ { nkey: %s } ] }\n", p.Keeper)
	for _, s := range p.Shops {
		a, err := s.account()
		if err != nil {
			return "", err
		}
		b.WriteString(a)
	}
	b.WriteString("}\n")
	return b.String(), nil
}

// Save writes who may come in into each server's folder, and the plan.
func (p Plan) Save(dir string) error {
	text, err := p.shops()
	if err != nil {
		return err
	}
	for _, s := range p.Servers {
		if err := wholefile.Write(filepath.Join(dir, s.Name, ShopsFile), []byte(text)); err != nil {
			return fmt.Errorf("write who may come in at server %s: %w", s.Name, err)
		}
	}
	return p.write(dir)
}

// Addresses are where benches come.
func (p Plan) Addresses() (all []string) {
	for _, s := range p.Servers {
		all = append(all, s.clients())
	}
	return all
}
