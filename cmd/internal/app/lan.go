package app

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Lan is who may use the page from another device on the local network: a phone
// that takes photos, a tablet at the counter. It is off until the owner turns it
// on. Each device has a name and rights of its own and comes in with a code that
// is shown once; what it holds then is kept here as a hash only.
//
// One Lan of a folder is open at a time, in the process that serves the page.
type Lan struct {
	dir string
	now func() time.Time

	mu    sync.Mutex // over what follows
	kept  keptLan
	ended map[string]chan struct{} // by device, closed when it may no more
	dirty time.Time                // since when a device was seen that is not kept so
	moved chan struct{}            // closed when what is listened on is to change
}

// keptLan is what the folder keeps.
type keptLan struct {
	On      bool         `json:"on"`
	Address string       `json:"address,omitempty"` // and port
	Names   []string     `json:"names,omitempty"`   // that the page answers to besides
	Devices []keptDevice `json:"devices"`
}

type keptDevice struct {
	Device
	Code    string    `json:"code,omitempty"`    // hash, until it is used
	Until   time.Time `json:"until,omitzero"`    // for the code
	Session string    `json:"session,omitempty"` // hash
}

// Device is a device that may use the page.
type Device struct {
	ID        string    `json:"id"`
	Name      string    `json:"name"`
	Write     bool      `json:"write"`
	Customers bool      `json:"customers"` // it sees what customers are called
	Made      time.Time `json:"made"`
	Entered   time.Time `json:"entered,omitzero"` // when it came in
	Seen      time.Time `json:"seen,omitzero"`
}

// LanState is what is shown of it.
type LanState struct {
	On      bool          `json:"on"`
	Address string        `json:"address,omitempty"`
	Names   []string      `json:"names"`
	Devices []DeviceState `json:"devices"`
}

// DeviceState is a device and how it stands.
type DeviceState struct {
	Device
	Rights string `json:"rights"` // in words
	Says   string `json:"says"`
}

// DeviceCode lets one device in, once, within an hour. It is shown once and kept
// nowhere.
type DeviceCode struct {
	Name    string `json:"name"`
	Address string `json:"address"` // with the code in it
	Until   string `json:"until"`
	Rights  string `json:"rights"`
}

// Visitor is a device that was let in.
type Visitor struct {
	Device
	Ended <-chan struct{} // closed when it may no more
}

const (
	lanFile = "lan.json"

	// LanPort is where the page is on the local network, unless it is said.
	LanPort = "4751"

	// deviceCodeLife is how long a device's code can be used.
	deviceCodeLife = time.Hour

	mostDevices = 50
	mostNames   = 10

	// keepSeen is how old what is kept of the last visit may be.
	keepSeen = time.Minute
)

// OpenLan reads who may use the page of a folder from other devices.
func OpenLan(dir string, now func() time.Time) (*Lan, error) {
	if now == nil {
		now = time.Now
	}
	l := &Lan{dir: dir, now: now, ended: map[string]chan struct{}{}, moved: make(chan struct{})}
	if err := readJSON(filepath.Join(dir, lanFile), &l.kept); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	for _, d := range l.kept.Devices {
		l.ended[d.ID] = make(chan struct{})
	}
	return l, nil
}

func (l *Lan) keep() error {
	l.dirty = time.Time{}
	return writeJSON(filepath.Join(l.dir, lanFile), l.kept)
}

// change changes what is kept, wholly or, if that can't be written, not at all.
// The lock is held.
func (l *Lan) change(fn func(*keptLan) error) error {
	was := l.kept
	was.Devices = slices.Clone(l.kept.Devices)
	err := fn(&l.kept)
	if err == nil {
		err = l.keep()
	}
	if err != nil {
		l.kept = was
	}
	return err
}

// On turns the page on for the local network. Address is one of this machine's own
// there, with or without a port; names are further ones that it is to answer to.
func (l *Lan) On(address string, names []string) error {
	at, err := lanAddress(address)
	if err != nil {
		return err
	}
	if len(names) > mostNames {
		return &Wrong{"names", fmt.Sprintf("want at most %d", mostNames)}
	}
	var list []string
	for _, n := range names {
		n = strings.ToLower(strings.TrimSuffix(strings.TrimSpace(n), "."))
		if n == "" {
			continue
		}
		if !isLanName(n) {
			return &Wrong{"names", "“" + n + "” is no name of a machine, such as front.home.arpa"}
		}
		list = append(list, n)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	defer l.move()
	return l.change(func(k *keptLan) error {
		k.On, k.Address, k.Names = true, at, list
		return nil
	})
}

// Off turns it off. Who may come in stays as it is, for the next time.
func (l *Lan) Off() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	defer l.move()
	return l.change(func(k *keptLan) error {
		k.On = false
		return nil
	})
}

// move tells whoever listens. The lock is held.
func (l *Lan) move() {
	close(l.moved)
	l.moved = make(chan struct{})
}

// Listens says where to listen, empty for nowhere, what names to answer to, and
// gives what is closed when that changes.
func (l *Lan) Listens() (address string, names []string, changed <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.kept.On {
		return "", nil, l.moved
	}
	return l.kept.Address, slices.Clone(l.kept.Names), l.moved
}

// Moved notes where it listens, where any port was good.
func (l *Lan) Moved(address string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.change(func(k *keptLan) error {
		k.Address = address
		return nil
	})
}

// lanAddress reads an address that other devices can be let in at. One that the
// whole world could reach is refused: a wrong cable must not open the shop.
func lanAddress(typed string) (string, error) {
	host, port, err := net.SplitHostPort(typed)
	if err != nil {
		host, port = strings.Trim(typed, "[]"), LanPort
	}
	ip, err := netip.ParseAddr(host)
	switch {
	case err != nil:
		return "", &Wrong{"address " + typed, "want one of this machine's own on the local network, such as 192.168.1.20"}
	case ip.IsUnspecified():
		return "", &Wrong{"address " + typed, "means every network that this machine is in; name the one address that is meant"}
	case !ip.IsPrivate() && !ip.IsLoopback():
		return "", &Wrong{"address " + typed, "is not of a private network; the page is not shown to the world"}
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil {
		return "", &Wrong{"address " + typed, fmt.Sprintf("port %q, want a number up to 65535", port)}
	} else {
		port = strconv.FormatUint(n, 10)
	}
	return net.JoinHostPort(ip.Unmap().String(), port), nil
}

func isLanName(n string) bool {
	return len(n) <= 100 && strings.Trim(n, "abcdefghijklmnopqrstuvwxyz0123456789.-") == "" && strings.Trim(n, ".-0123456789") != "" && n[0] != '.' && n[0] != '-'
}

// LanAddresses are this machine's own addresses in private networks.
func LanAddresses() (list []string) {
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsPrivate() {
			list = append(list, n.IP.String())
		}
	}
	slices.SortStableFunc(list, func(a, b string) int { return strings.Count(a, ":") - strings.Count(b, ":") }) // those that can be typed first
	return list
}

func secretHash(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:])
}
