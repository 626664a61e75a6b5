package web

import (
	"context"
	"errors"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// onServers is the page of meeting on servers that somebody runs for several shops.
type onServers struct {
	Places []string // where this bench meets the others, as far as it knows any
	Ending []string // what is to be done before certificates end
	Keys   string   // the list for who runs the servers
	Count  string
	Names  string
	Wrong  string // why there is no list
	Meet   *form
}

func cluster(q *request) error {
	v, err := q.onServers()
	if err != nil {
		return err
	}
	return q.show("cluster", "Servers for several shops", v)
}

func (q *request) onServers() (*onServers, error) {
	known, err := app.ClusterPlaces(q.s.opt.Dir)
	var ending []string
	if err == nil {
		ending, err = app.EndingRoots(q.s.opt.Dir, q.s.opt.now())
	}
	for i, said := range ending {
		ending[i] = capital(said) + ". Ask who runs them for the renewed ca.pem, and give it below, at each bench."
	}
	if errors.As(err, new(*app.PlacesLost)) { // what is given below is kept in its place
		ending, err = []string{capital(err.Error()) + "."}, nil
	}
	if err != nil {
		return nil, err
	}
	v := &onServers{Places: known, Ending: ending, Meet: &form{ID: "meet", Action: "/cluster/meet", Submit: "Meet the others there", Once: newOnce(), Fields: []*field{
		{Name: "addresses", Label: "Servers", Required: true, Wide: true, Hint: "each with its port, such as one.shops.example:4222, with spaces between"},
		{Name: "signer", Label: "By which they are known", Kind: "area", Required: true, Wide: true, Hint: "all of the file ca.pem, which who runs the servers gives out"}}}}
	k, err := q.shop.ClusterKeys("")
	if err != nil {
		v.Wrong = capital(err.Error()) + "."
		return v, nil
	}
	v.Keys, v.Count, v.Names = k.Text, events.Count(len(k.Keys), "bench", "benches"), strings.Join(k.Names, ", ")
	return v, nil
}

// clusterKeys is the list as a file.
func clusterKeys(q *request) error {
	k, err := q.shop.ClusterKeys("")
	if err != nil {
		return err
	}
	return q.sendBytes([]byte(k.Text), "text/plain; charset=utf-8", "shop.keys")
}

func clusterMeet(q *request) error {
	v, err := q.onServers()
	if err != nil {
		return err
	}
	return q.post(v.Meet, func() (string, []notice, error) {
		ctx, stop := context.WithTimeout(q.r.Context(), meetWithin)
		defer stop()
		m, err := app.MeetOnCluster(ctx, q.s.opt.Dir, strings.Fields(v.Meet.value("addresses")), []byte(v.Meet.value("signer")+"\n"))
		if err != nil {
			return "", nil, err
		}
		return "/benches", []notice{{Words: "This bench meets the others at " + strings.Join(m.Addresses, " or ") + " from here on. The certificates are good until " + m.Until + " at the longest."}}, nil
	}, func() error { return q.show("cluster", "Servers for several shops", v) })
}
