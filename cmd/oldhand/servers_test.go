package main

import (
	"net"
	"path/filepath"
	"strconv"
	"time"

	"oldhand/sync/cluster"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/rogpeppe/go-internal/testscript"
)

// serverCmds are what stories of a cluster need: the servers that somebody else's
// machines would run.
var serverCmds = map[string]func(*testscript.TestScript, bool, []string){
	"pairs":   pairs,
	"reread":  reread,
	"servers": servers,
}

// running are a story's servers.
type running struct{ list []*server.Server }

type runningKey struct{}

// pairs NAME... sets each to a port that is free with the one 2000 above it.
func pairs(ts *testscript.TestScript, _ bool, names []string) {
	taken := map[int]bool{}
	for _, name := range names {
		for {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			ts.Check(err)
			port := l.Addr().(*net.TCPAddr).Port
			ts.Check(l.Close())
			if taken[port] || port > 60000 {
				continue
			}
			if m, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(port+2000))); err == nil {
				ts.Check(m.Close())
				taken[port] = true
				ts.Setenv(name, strconv.Itoa(port))
				break
			}
		}
	}
}

// servers FOLDER starts every server of a cluster's folder, from its settings file,
// and waits until they have found each other.
func servers(ts *testscript.TestScript, _ bool, args []string) {
	dir := ts.MkAbs(args[0])
	plan, err := cluster.Open(dir)
	ts.Check(err)
	run := ts.Value(runningKey{}).(*running)
	for _, s := range plan.Servers {
		o, err := server.ProcessConfigFile(filepath.Join(dir, s.Name, cluster.SettingsFile))
		ts.Check(err)
		o.NoSigs, o.NoLog = true, true
		srv, err := server.NewServer(o)
		ts.Check(err)
		srv.Start()
		run.list = append(run.list, srv)
		ts.Defer(func() { srv.Shutdown(); srv.WaitForShutdown() })
	}
	if !poll(func() bool {
		for _, srv := range run.list {
			if !srv.ReadyForConnections(time.Second) || srv.Healthz(&server.HealthzOptions{}).Status != "ok" {
				return false
			}
		}
		return true
	}) {
		ts.Fatalf("the servers are not ready")
	}
}

// reread has the servers read their settings again, as a signal does.
func reread(ts *testscript.TestScript, _ bool, _ []string) {
	for _, srv := range ts.Value(runningKey{}).(*running).list {
		ts.Check(srv.Reload())
	}
}
