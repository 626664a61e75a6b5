package app

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/events/wholefile"
	"oldhand/sync/cluster"
	"oldhand/sync/roster/invite"
)

// ClusterKeys are the benches of this shop that may meet on somebody's cluster, for
// who runs it.
type ClusterKeys struct {
	cluster.Benches
	Names []string `json:"names"` // of the benches, in the order of the keys; for people here, and not in Text
	Text  string   `json:"text"`
	File  string   `json:"file,omitempty"`
}

// ClusterKeys lists the keys of the benches that belong to the shop and are not
// retired, and writes them into a file where one is named.
func (s *Shop) ClusterKeys(file string) (k ClusterKeys, err error) {
	r, err := s.Roster()
	if err != nil {
		return k, err
	}
	own, err := s.key.Public()
	if err != nil {
		return k, err
	}
	names := benchNames(r)
	var ids []events.BenchID
	for _, b := range r.Benches() {
		if !b.Retired {
			ids = append(ids, b.ID)
			k.Names = append(k.Names, names(b.ID))
		}
	}
	if len(ids) == 0 {
		return k, &NotHere{"bench " + names(own), "does not know yet who belongs to the shop; meet the others first: oldhand sync"}
	}
	k.Benches, k.File = cluster.BenchesOf(s.tag(), ids), file
	k.Text = k.Benches.Text()
	if file != "" {
		err = wholefile.Write(file, []byte(k.Text))
	}
	return k, err
}

// OnCluster says where a bench meets the others from here on.
type OnCluster struct {
	Addresses []string `json:"addresses"`
	Signer    string   `json:"signer"` // of the servers' certificates, by its fingerprint
	Until     string   `json:"until"`  // the day on which the first of what signs them ends
}

// MeetOnCluster has a bench meet the others on a cluster from here on: it is
// remembered as the first to try, once it answered and let the bench in. Roots are
// who signs the servers' certificates, as PEM.
func MeetOnCluster(ctx context.Context, dir string, addresses []string, roots []byte) (c OnCluster, err error) {
	for _, a := range addresses {
		if err := invite.CheckAddress(a); err != nil {
			return c, &Wrong{"address " + a, err.Error() + ", such as one.shops.example:4222"}
		}
	}
	if len(addresses) == 0 {
		return c, &Wrong{"the cluster", "has no address; name its servers, such as one.shops.example:4222"}
	}
	list, err := certificates(roots)
	if err != nil {
		return c, err
	}
	card, err := readCard(dir)
	if err != nil {
		return c, err
	}
	lo, err := logOptions(dir, card, Options{})
	if err != nil {
		return c, err
	}
	k := KnownExchange{Addresses: addresses, Roots: string(roots)}
	x, err := dial(ctx, lo, k)
	if ctx.Err() != nil {
		return c, ErrStopped
	}
	if err != nil {
		return c, Unmet{{strings.Join(addresses, " or "), err, true}}
	}
	defer x.Close()
	c = OnCluster{addresses, fingerprint(list[0].Raw), list[0].NotAfter.Format(time.DateOnly)}
	for _, one := range list {
		c.Until = min(c.Until, one.NotAfter.Format(time.DateOnly))
	}
	return c, rememberExchange(dir, k)
}

// ClusterPlaces are where a bench meets the others on clusters, as far as its folder
// knows any.
func ClusterPlaces(dir string) (places []string, err error) {
	list, err := exchanges(dir)
	for _, k := range list {
		if k.isCluster() {
			places = append(places, strings.Join(k.Addresses, " or "))
		}
	}
	return places, err
}

func readRoots(pems []byte) (*x509.CertPool, error) {
	list, err := certificates(pems)
	if err != nil {
		return nil, err
	}
	pool := x509.NewCertPool()
	for _, c := range list {
		pool.AddCert(c)
	}
	return pool, nil
}

// certificates reads certificates as PEM; one at least, and nothing else.
func certificates(pems []byte) (list []*x509.Certificate, err error) {
	wrong := func(why string) error {
		return &Wrong{"the signer", why + "; want the file ca.pem of who runs the servers"}
	}
	for rest := pems; len(bytes.TrimSpace(rest)) > 0; {
		var b *pem.Block
		if b, rest = pem.Decode(rest); b == nil || b.Type != "CERTIFICATE" {
			return nil, wrong("is no certificate")
		}
		c, err := x509.ParseCertificate(b.Bytes)
		if err != nil {
			return nil, wrong("can't be read: " + err.Error())
		}
		list = append(list, c)
	}
	if len(list) == 0 {
		return nil, wrong("is empty")
	}
	return list, nil
}

// Cluster is a cluster as it is told to who runs it.
type Cluster struct {
	Folder    string         `json:"folder"`
	At        string         `json:"at"` // where the servers' folders belong on their machines
	Addresses []string       `json:"addresses"`
	Servers   []string       `json:"servers"`
	Shops     []cluster.Shop `json:"shops"`
	Disk      int64          `json:"disk"`     // of each server, bytes
	Promised  int64          `json:"promised"` // to all shops, on each server, bytes
	Until     string         `json:"until,omitempty"`

	Ends    []ClusterEnd    `json:"certificates,omitempty"`
	Changed *cluster.Change `json:"changed,omitempty"`
}

// ClusterEnd is a certificate of a cluster and the day on which it ends.
type ClusterEnd struct {
	Server string `json:"server,omitempty"` // empty for who signs the others
	File   string `json:"file"`
	Until  string `json:"until"`
	Soon   bool   `json:"soon"` // it is time to renew it
}

// certsEnd is how long before a certificate ends that is said: time enough to bring a
// file to each bench and each server. Our choice, no source.
const certsEnd = 180 * 24 * time.Hour

func endsOf(list []cluster.Ends, now time.Time) (ends []ClusterEnd) {
	for _, e := range list {
		ends = append(ends, ClusterEnd{e.Server, e.File, e.Until.Format(time.DateOnly), e.Until.Sub(now) < certsEnd})
	}
	return ends
}

// RenewCluster renews the certificates of a cluster's servers and of who signs them.
// With look they are only looked at.
func RenewCluster(dir string, look bool, now time.Time) (c Cluster, err error) {
	p, err := openCluster(dir)
	if err != nil {
		return c, err
	}
	c = toldOf(dir, p)
	var list []cluster.Ends
	if look {
		list, err = p.Certificates(dir)
	} else {
		list, err = p.Renew(dir, now)
	}
	if err != nil {
		return c, &Wrong{"the cluster in " + dir, err.Error()}
	}
	c.Ends = endsOf(list, now)
	c.Until = c.Ends[0].Until
	return c, nil
}

// EndingRoots says of each cluster that a folder knows until when its servers are known
// there, where that is soon.
func EndingRoots(dir string, now time.Time) (says []string, err error) {
	list, err := exchanges(dir)
	if err != nil {
		return nil, err
	}
	for _, k := range list {
		if !k.isCluster() {
			continue
		}
		roots, err := certificates([]byte(k.Roots))
		if err != nil {
			return nil, err
		}
		end := roots[0].NotAfter
		for _, r := range roots {
			if r.NotAfter.Before(end) {
				end = r.NotAfter
			}
		}
		if end.Sub(now) < certsEnd {
			says = append(says, fmt.Sprintf("this bench knows the servers at %s until %s only", strings.Join(k.Addresses, " or "), end.Format(time.DateOnly)))
		}
	}
	return says, nil
}

// EndingRootsHelp is what helps then.
const EndingRootsHelp = "ask who runs the servers for the ca.pem that oldhand cluster renew makes there, and give it to each bench: oldhand cluster meet ADDRESS --ca ca.pem"

func toldOf(dir string, p cluster.Plan) Cluster {
	c := Cluster{Folder: dir, At: p.At, Addresses: p.Addresses(), Shops: p.Shops, Disk: p.Disk, Promised: p.Promised()}
	for _, s := range p.Servers {
		c.Servers = append(c.Servers, s.Name)
	}
	return c
}

// NewCluster lays the files of a cluster's servers into a folder. Typed are the
// servers, each NAME=HOST or NAME=HOST:PORT; at is where the files will lie on their
// machines, empty for this folder; disk is of each server in bytes, zero for the usual.
func NewCluster(dir, at string, typed []string, disk int64, now time.Time) (c Cluster, err error) {
	var list []cluster.Server
	for _, t := range typed {
		s, err := cluster.ReadServer(t)
		if err != nil {
			return c, &Wrong{"the cluster", err.Error()}
		}
		list = append(list, s)
	}
	if disk == 0 {
		disk = cluster.DefaultServerDisk
	}
	p, err := cluster.New(dir, at, list, disk, now)
	if err != nil {
		return c, &Wrong{"the cluster", err.Error()}
	}
	c = toldOf(dir, p)
	c.Until = now.Add(cluster.CertLife).Format(time.DateOnly)
	return c, nil
}

// LetShop lets the benches of a shop in that a file lists, in place of those of the
// shop that might come in before. Disk is what the shop may keep, in bytes; zero
// leaves it as it is.
func LetShop(dir, file string, disk int64) (c Cluster, err error) {
	p, err := openCluster(dir)
	if err != nil {
		return c, err
	}
	f, err := os.Open(file)
	if err != nil {
		return c, err
	}
	b, err := cluster.ReadBenches(f)
	if err = errors.Join(err, f.Close()); err != nil {
		return c, &Wrong{"the list " + file, err.Error()}
	}
	change, err := p.Let(b, disk)
	if err != nil {
		return c, &Wrong{"the list " + file, err.Error()}
	}
	c = toldOf(dir, p)
	c.Changed = &change
	return c, p.Save(dir)
}

// EndShop takes a shop off a cluster, by its tag.
func EndShop(dir, tag string) (c Cluster, err error) {
	p, err := openCluster(dir)
	if err != nil {
		return c, err
	}
	if err := p.End(tag); err != nil {
		return c, &NotHere{"shop " + tag, "is not on this cluster"}
	}
	return toldOf(dir, p), p.Save(dir)
}

func openCluster(dir string) (p cluster.Plan, err error) {
	if p, err = cluster.Open(dir); errors.Is(err, cluster.ErrNoPlan) {
		return p, &Wrong{"folder " + dir, "holds no cluster; one is laid with: oldhand cluster new"}
	}
	if err != nil {
		err = fmt.Errorf("open the cluster in %s: %w", dir, err)
	}
	return p, err
}
