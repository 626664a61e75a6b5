package exchange

import (
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Server is the server inside a host.
func (h *Host) Server() *server.Server { return h.srv.Load() }

// Conn is the connection of an exchange's client.
func (x *Exchange) Conn() *nats.Conn { return x.conn }

// Names of what is on the wire.
func (t Tag) Stream() string   { return t.stream() }
func (t Tag) Feeds() string    { return t.feeds() }
func (t Tag) Joins() string    { return t.joins() }
func (t Tag) Account() string  { return (&hosted{shop: t}).account() }
func (t Tag) Stored() []string { return t.stored() }

// StreamConfig is how a stream is made.
func StreamConfig(t Tag, replicas int) jetstream.StreamConfig { return streamConfig(t, replicas) }

// Loosened is what is said of a stream's configuration.
func Loosened(c jetstream.StreamConfig, t Tag, replicas int) []string {
	return loosened(c, t, replicas)
}

// Settings of a server.
const (
	MaxMessage = maxMessage
	MaxWire    = maxWire
	MaxMemory  = maxMemory
)
