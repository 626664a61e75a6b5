package exchange

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"oldhand/events"

	"github.com/nats-io/nats-server/v2/server"
)

const (
	startTime = 10 * time.Second
	tlsTime   = 5 // seconds, for a handshake
	pingEvery = 20 * time.Second
)

// settings gives a function that makes the server's settings anew for each start,
// since a server changes what it was given.
func settings(o HostOptions, cert tls.Certificate, pin Pin, users server.Authentication) (func() *server.Options, error) {
	host, port, err := splitListen(o.Listen)
	if err != nil {
		return nil, err
	}
	secure := &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{cert}}
	return func() *server.Options {
		return &server.Options{
			ServerName: "oldhand-" + pin.String()[:16],
			Host:       host,
			Port:       port,
			DontListen: o.Listen == "",

			TLS: true, TLSConfig: secure, TLSTimeout: tlsTime,
			CustomClientAuthentication: users,
			AlwaysEnableNonce:          true,
			AuthTimeout:                tlsTime,

			MaxConn:          maxConnections,
			MaxClosedClients: 1, // it keeps what each said of itself; nobody asks
			MaxPayload:       maxWire,
			PingInterval:     pingEvery,

			JetStream:              true,
			StoreDir:               filepath.Join(o.Dir, "store"),
			JetStreamMaxStore:      o.MaxStore,
			JetStreamMaxMemory:     maxMemory,
			SyncAlways:             true, // else it says stored up to two minutes before it is on disk
			DisableJetStreamBanner: true,

			NoSigs: true, // else it takes the process's signals
			NoLog:  true, // Host sets a log of its own
		}
	}, nil
}

// splitListen reads an address to listen on. The server's own default port
// stands for 0 there, so any free port is -1.
func splitListen(listen string) (host string, port int, err error) {
	if listen == "" {
		return "127.0.0.1", -1, nil
	}
	host, text, err := net.SplitHostPort(listen)
	if err != nil {
		return "", 0, fmt.Errorf("listen on %q: %w", listen, err)
	}
	if port, err = strconv.Atoi(text); err != nil || port < 0 || port > 65535 {
		return "", 0, fmt.Errorf("listen on %q: no such port", listen)
	}
	if port == 0 {
		port = -1
	}
	return host, port, nil
}

// start starts a server and checks that it is as it was asked to be. Logins wait
// until it is known who may come in. h.mu is held.
func (h *Host) start() error {
	h.admission.mu.Lock()
	srv, users, err := h.begin()
	if h.admission.users = users; err != nil && srv != nil {
		// Nobody is to hear that he is let in no more, who only came too early.
		go srv.Shutdown()
		for range startTime / time.Millisecond {
			if srv.NumClients() == 0 {
				break
			}
			time.Sleep(time.Millisecond)
		}
	}
	h.admission.mu.Unlock()
	if err != nil {
		if srv != nil {
			srv.WaitForShutdown()
		}
		return err
	}
	h.srv.Store(srv)
	h.keepPort(srv)
	return nil
}

// begin starts a server and gives who may come in there. With an error it gives the
// server too, if there is one to be ended.
func (h *Host) begin() (*server.Server, map[events.BenchID]*server.User, error) {
	opt := h.base()
	if err := opt.ProcessConfigString(h.accounts()); err != nil {
		return nil, nil, err
	}
	srv, err := server.NewServer(opt)
	if err != nil {
		return nil, nil, err
	}
	log := &serverLog{}
	srv.SetLoggerV2(log, false, false, false)
	srv.Start()
	err = log.fatal()
	if err == nil && !srv.ReadyForConnections(startTime) {
		err = fmt.Errorf("the server is not ready after %s", startTime)
	}
	if err == nil {
		err = readBack(srv, h.opt.MaxStore)
	}
	if err != nil {
		return srv, nil, err
	}
	users, err := h.usersOf(srv)
	return srv, users, errors.Join(err, h.placeAll(srv))
}

// accounts are those of all shops in the language of the server's settings: it reads
// what they hold before it listens. There is always one, of nobody, since without any the
// server lets the account of logins that have none keep streams.
func (h *Host) accounts() string {
	var b strings.Builder
	b.WriteString("accounts {\n  NOBODY {}\n")
	for _, s := range h.sorted() {
		fmt.Fprintf(&b, "  %s { jetstream: enabled }\n", s.account())
	}
	b.WriteString("}\n")
	return b.String()
}

// keepPort has a server that is started anew listen where this one does.
func (h *Host) keepPort(srv *server.Server) {
	at, ok := srv.Addr().(*net.TCPAddr)
	if !ok || h.opt.Listen == "" || h.base().Port == at.Port {
		return
	}
	base := h.base
	h.base = func() *server.Options {
		o := base()
		o.Port = at.Port
		return o
	}
}

// stop ends the server and waits until its files are closed. h.mu is held.
func (h *Host) stop() {
	srv := h.srv.Swap(nil)
	if srv == nil {
		return
	}
	srv.Shutdown()
	srv.WaitForShutdown()
}

// readBack asks the running server for the settings that a loss would follow
// from, rather than trust that they were taken.
func readBack(srv *server.Server, maxStore int64) error {
	v, err := srv.Varz(nil)
	if err != nil {
		return fmt.Errorf("read the server's settings back: %w", err)
	}
	c := v.JetStream.Config
	if c == nil {
		return errors.New("the server keeps nothing: its store did not start")
	}
	if !c.SyncAlways {
		return errors.New("the server says stored before it is on disk")
	}
	if c.MaxStore != maxStore || c.MaxMemory != maxMemory {
		return fmt.Errorf("the server may use %d bytes of disk and %d of memory, asked were %d and %d", c.MaxStore, c.MaxMemory, maxStore, maxMemory)
	}
	return nil
}

// serverLog hears what the server has to say and keeps only what it can't go
// on after. The rest is of single clients, or Host asks for it (guard.go).
type serverLog struct {
	mu  sync.Mutex
	end error
}

func (l *serverLog) fatal() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.end
}

// Fatalf keeps the first reason. The server's own log would end the process.
func (l *serverLog) Fatalf(format string, v ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.end == nil {
		l.end = fmt.Errorf(format, v...)
	}
}

// Errorf drops.
func (l *serverLog) Errorf(string, ...any) {}

// Warnf drops.
func (l *serverLog) Warnf(string, ...any) {}

// Noticef drops.
func (l *serverLog) Noticef(string, ...any) {}

// Debugf drops.
func (l *serverLog) Debugf(string, ...any) {}

// Tracef drops.
func (l *serverLog) Tracef(string, ...any) {}
