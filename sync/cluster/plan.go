package cluster

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"oldhand/events/wholefile"
	"oldhand/sync/exchange"
)

// Server is one server of a cluster.
type Server struct {
	Name string `json:"name"`
	Host string `json:"host"` // an address or a name, as benches and the other servers know it
	Port int    `json:"port"` // where benches come; the other servers come routesAbove it
}

const (
	// DefaultPort is where benches come unless it is said otherwise.
	DefaultPort = 4222

	routesAbove = 2000

	// Copies is on how many servers each shop's streams are kept.
	Copies = 3

	// DefaultDisk is what a shop may keep unless it is told otherwise, bytes.
	DefaultDisk = 2 << 30

	// DefaultServerDisk is what a server keeps of all shops unless it is told
	// otherwise, bytes.
	DefaultServerDisk = 100 << 30

	leastDisk = 1 << 20

	// A bench has one connection while it meets, another that brings photos, and
	// those that a cut left behind. A meeting reads three streams, and readings that a cut
	// left behind end after some minutes.
	connectionsOfABench = 8
	consumersOfABench   = 32
)

// Shop is a shop that a cluster lets in.
type Shop struct {
	Benches
	Disk int64 `json:"disk"` // bytes that it may keep, however many servers have copies
}

// Plan is a cluster as who runs it keeps it: all that the servers' files are
// written from, but for keys and certificates.
type Plan struct {
	Servers []Server `json:"servers"`
	Disk    int64    `json:"disk"` // bytes of each server for all shops
	At      string   `json:"at"`   // the folder in which each server's own folder will lie, on its machine
	Keeper  string   `json:"keeper"`
	Shops   []Shop   `json:"shops"`
}

const planFile = "cluster.json"

// ErrNoPlan is returned where a folder holds no cluster.
var ErrNoPlan = errors.New("no cluster is planned in this folder")

// Open reads the plan in a folder.
func Open(dir string) (p Plan, err error) {
	path := filepath.Join(dir, planFile)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return p, fmt.Errorf("%s: %w", dir, ErrNoPlan)
	}
	if err != nil {
		return p, err
	}
	if err := json.Unmarshal(b, &p); err != nil {
		return p, fmt.Errorf("read %s: %w", path, err)
	}
	return p, p.check()
}

// serverName is what a server may be called: it names a folder and stands in settings.
var serverName = regexp.MustCompile(`^[a-z][a-z0-9-]{0,31}$`)

// hostName is what stands in an address beside numbers.
var hostName = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9.-]{0,252})$`)

// ReadServer reads a server as it is typed: NAME=HOST or NAME=HOST:PORT.
func ReadServer(typed string) (s Server, err error) {
	name, at, ok := strings.Cut(typed, "=")
	if !ok {
		return s, fmt.Errorf("server %q: want NAME=HOST, such as one=192.168.1.31", typed)
	}
	s = Server{Name: name, Host: at, Port: DefaultPort}
	if host, port, err := net.SplitHostPort(at); err == nil {
		n, err := strconv.Atoi(port)
		if err != nil {
			return s, fmt.Errorf("server %q: port %q is no number", typed, port)
		}
		s.Host, s.Port = host, n
	}
	return s, s.check()
}

func (s Server) check() error {
	switch {
	case !serverName.MatchString(s.Name):
		return fmt.Errorf("server %q: a name is of small letters, digits and dashes, at most 32", s.Name)
	case net.ParseIP(s.Host) == nil && !hostName.MatchString(s.Host):
		return fmt.Errorf("server %s: %q is neither an address nor a name of a machine", s.Name, s.Host)
	case s.Port < 1 || s.Port+routesAbove > 65535:
		return fmt.Errorf("server %s: port %d, want 1 to %d, since the servers meet %d above it", s.Name, s.Port, 65535-routesAbove, routesAbove)
	}
	return nil
}

func (s Server) clients() string { return net.JoinHostPort(s.Host, strconv.Itoa(s.Port)) }
func (s Server) routes() string  { return net.JoinHostPort(s.Host, strconv.Itoa(s.Port+routesAbove)) }

// listens is where a server listens: at its address, or where it is known by a
// name at all of its machine's.
func (s Server) listens(port int) string {
	if net.ParseIP(s.Host) == nil {
		return net.JoinHostPort("0.0.0.0", strconv.Itoa(port))
	}
	return net.JoinHostPort(s.Host, strconv.Itoa(port))
}

func (p Plan) check() error {
	if len(p.Servers) < Copies {
		return fmt.Errorf("%d servers: what a shop has is kept on %d, so that one can be lost", len(p.Servers), Copies)
	}
	seen := map[string]bool{}
	for _, s := range p.Servers {
		if err := s.check(); err != nil {
			return err
		}
		for _, own := range []string{s.Name, s.clients(), s.routes()} {
			if seen[own] {
				return fmt.Errorf("server %s: %s is another's already", s.Name, own)
			}
			seen[own] = true
		}
	}
	for _, s := range p.Shops {
		if err := s.check(); err != nil {
			return err
		}
	}
	if p.Disk < leastDisk {
		return fmt.Errorf("%d bytes for all shops: want %d at least", p.Disk, leastDisk)
	}
	return nil
}

func (s Shop) check() error {
	if s.Disk < leastDisk {
		return fmt.Errorf("shop %s: %d bytes, want %d at least", s.Shop, s.Disk, leastDisk)
	}
	return s.Benches.check()
}

// Promised is how many bytes all shops may keep together, on one server.
func (p Plan) Promised() (n int64) {
	for _, s := range p.Shops {
		n += s.Disk
	}
	return n * Copies / int64(len(p.Servers))
}

// Change says what letting a shop in changed.
type Change struct {
	Known         bool // the shop was let in before
	In, Out, Stay []string
}

// Let lets a shop's benches in, in place of those who might before. Zero bytes of
// disk leave it at what it has, or DefaultDisk.
func (p *Plan) Let(b Benches, disk int64) (c Change, err error) {
	at := slices.IndexFunc(p.Shops, func(s Shop) bool { return s.Shop == b.Shop })
	old := Shop{Disk: DefaultDisk}
	if c.Known = at >= 0; c.Known {
		old = p.Shops[at]
	}
	if disk == 0 {
		disk = old.Disk
	}
	s := Shop{b, disk}
	if err := s.check(); err != nil {
		return c, err
	}
	for _, k := range b.Keys {
		if slices.Contains(old.Keys, k) {
			c.Stay = append(c.Stay, k)
		} else {
			c.In = append(c.In, k)
		}
	}
	for _, k := range old.Keys {
		if !slices.Contains(b.Keys, k) {
			c.Out = append(c.Out, k)
		}
	}
	if other := p.keyOf(b); other != "" {
		return c, fmt.Errorf("shop %s: one of its keys is let in for shop %s; a bench has a key for each shop", b.Shop, other)
	}
	if !c.Known {
		p.Shops = append(p.Shops, s)
		slices.SortFunc(p.Shops, func(a, b Shop) int { return strings.Compare(a.Shop, b.Shop) })
		return c, nil
	}
	p.Shops[at] = s
	return c, nil
}

// keyOf is another shop that has one of the keys; the servers would refuse the file.
func (p *Plan) keyOf(b Benches) string {
	for _, s := range p.Shops {
		if s.Shop != b.Shop && slices.ContainsFunc(s.Keys, func(k string) bool { return slices.Contains(b.Keys, k) }) {
			return s.Shop
		}
	}
	return ""
}

// End takes a shop off. What it has on the servers stays there until who runs them
// takes it away.
func (p *Plan) End(shop string) error {
	was := len(p.Shops)
	p.Shops = slices.DeleteFunc(p.Shops, func(s Shop) bool { return s.Shop == shop })
	if len(p.Shops) == was {
		return fmt.Errorf("shop %s is not on this cluster", shop)
	}
	return nil
}

// account is a shop's part of the settings.
func (s Shop) account() (string, error) {
	tag, keys, err := s.read()
	if err != nil {
		return "", err
	}
	n := len(keys)
	return exchange.Account(tag, keys, exchange.AccountLimits{Disk: s.Disk * Copies, Consumers: consumersOfABench * n, Connections: connectionsOfABench * n})
}

func (p Plan) write(dir string) error {
	b, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return err
	}
	return wholefile.Write(filepath.Join(dir, planFile), append(b, '\n'))
}

// newKeeper draws the key of who runs the cluster, as the servers know it and as
// it is kept.
func newKeeper() (public string, seed []byte, err error) {
	pair, err := keeperPair()
	if err != nil {
		return "", nil, err
	}
	if public, err = pair.PublicKey(); err != nil {
		return "", nil, err
	}
	seed, err = pair.Seed()
	return public, seed, err
}
