package app

import (
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"oldhand/events/eventlog"
	"oldhand/events/wholefile"
	"oldhand/sync/exchange"
	"oldhand/sync/roster/invite"
	"oldhand/sync/segment"
)

// KnownExchange is an exchange this bench may meet: where it is and how it is
// known.
type KnownExchange struct {
	Addresses []string `json:"addresses"`
	Pin       string   `json:"pin"`             // start of the SHA-256 of its TLS key, in base 32; empty for a cluster
	Roots     string   `json:"roots,omitempty"` // of a cluster: who signs its servers' certificates, as PEM
}

// isCluster reports whether it is on servers that somebody runs for several shops.
func (k KnownExchange) isCluster() bool { return k.Roots != "" }

// pinText writes the start of a pin.
var pinText = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

func (k KnownExchange) start() ([]byte, error) {
	b, err := pinText.DecodeString(strings.ToLower(k.Pin))
	if err != nil || len(b) < 16 {
		return nil, &Wrong{"pin " + k.Pin, "is not the pin of an exchange"}
	}
	return b, nil
}

// options say how the exchange is dialled.
func (k KnownExchange) options(lo eventlog.Options) (o exchange.DialOptions, err error) {
	o = exchange.DialOptions{Addrs: k.Addresses, Key: lo.Key, Tag: exchange.Tag(segment.TagOf(lo.Shop))}
	if !k.isCluster() {
		o.Start, err = k.start()
		return o, err
	}
	roots, err := readRoots([]byte(k.Roots))
	o.Foreign = &exchange.Foreign{Roots: roots}
	return o, err
}

func startOf(p exchange.Pin) invite.Pin { return invite.Pin(p[:16]) }

const (
	exchangesFile = "exchanges.json"
	hostFile      = "host.json"
	exchangeDir   = "exchange"
	answerFile    = "joined"
)

// PlacesLost is returned when it can't be told where the benches meet.
type PlacesLost struct{ *Torn }

func (e *PlacesLost) Error() string {
	return fmt.Sprintf("this bench does not know any more where the benches meet: %v", e.Torn)
}

// placesHelp writes what is known anew.
const placesHelp = "type the code that the bench which hosts shows: oldhand sync CODE; or where they are servers: oldhand cluster meet ADDRESS --ca ca.pem"

// exchanges are those a folder knows. Any of them can be told anew.
func exchanges(dir string) (list []KnownExchange, err error) {
	var torn *Torn
	err = readJSON(filepath.Join(dir, exchangesFile), &list)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case errors.As(err, &torn):
		return nil, &PlacesLost{torn}
	}
	return list, err
}

// rememberExchange notes an exchange as the first to try.
func rememberExchange(dir string, k KnownExchange) error {
	list, err := exchanges(dir)
	if err != nil && !errors.As(err, new(*PlacesLost)) { // what can't be read is written anew
		return err
	}
	if len(list) > 0 && list[0].Pin == k.Pin && list[0].Roots == k.Roots && slices.Equal(list[0].Addresses, k.Addresses) {
		return nil
	}
	list = slices.DeleteFunc(list, func(o KnownExchange) bool { return o.Pin == k.Pin })
	return writeJSON(filepath.Join(dir, exchangesFile), append([]KnownExchange{k}, list...))
}

// Torn is returned for a small file of the folder's own that is there and can't be
// read. No entry is in any of them.
type Torn struct {
	Path string
	why  error
}

func (e *Torn) Error() string {
	return fmt.Sprintf("%s can't be read, by damage or because a newer program wrote it (%v)", e.Path, e.why)
}

// Unwrap gives what reading it said.
func (e *Torn) Unwrap() error { return e.why }

// readJSON reads a small file of the folder's own.
func readJSON(path string, into any) error {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return err
	}
	var in *fs.PathError
	if errors.As(err, &in) {
		err = in.Err // the path is said already
	}
	if err == nil {
		err = json.Unmarshal(b, into)
	}
	if err != nil {
		return &Torn{path, err}
	}
	return nil
}

func writeJSON(path string, v any) error {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return wholefile.Write(path, append(text, '\n'))
}

// NoExchange is returned when a bench is to meet an exchange and knows none.
type NoExchange struct {
	Hosts bool // this bench hosts one itself
}

func (e *NoExchange) Error() string {
	if e.Hosts {
		return "this bench hosts, so the others meet here; there is nothing more to do"
	}
	return "this bench knows no place where the benches meet; host one here: oldhand host; or, if another bench hosts, type the code that it shows: oldhand sync CODE; or carry a file: oldhand bundle write FILE"
}
