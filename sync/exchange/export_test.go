package exchange

import (
	"context"
	"crypto/tls"
	"strings"

	"oldhand/events"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Server is the server inside a host.
func (h *Host) Server() *server.Server { return h.srv.Load() }

// Conn is the connection of an exchange's client.
func (x *Exchange) Conn() *nats.Conn { return x.conn }

// Names of what is on the wire.
func (t Tag) Stream() string          { return t.stream() }
func (t Tag) KeyStream() string       { return t.keyStream() }
func (t Tag) PieceStream() string     { return t.pieceStream() }
func (t Tag) PieceSubjects() []string { return t.pieceSubjects() }
func (t Tag) Persons() string         { return t.persons() }
func (t Tag) Feeds() string           { return t.feeds() }
func (t Tag) Joins() string           { return t.joins() }
func (t Tag) Account() string         { return (&hosted{shop: t}).account() }
func (t Tag) Stored() []string        { return t.stored() }

// StreamConfig is how a stream is made.
func StreamConfig(t Tag, replicas int) jetstream.StreamConfig { return streamConfig(t, replicas) }

// KeyConfig is how a stream of keys is made.
func KeyConfig(t Tag, replicas int) jetstream.StreamConfig { return keyConfig(t, replicas) }

// KeysLoosened is what is said of the configuration of a stream of keys.
func KeysLoosened(c jetstream.StreamConfig, t Tag, replicas int) []string {
	return keysLoosened(c, t, replicas)
}

// RemakeKeys deletes a shop's stream of keys and makes it again.
func (h *Host) RemakeKeys(ctx context.Context, t Tag) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	js := h.shops[t].js
	if err := js.DeleteStream(ctx, t.keyStream()); err != nil {
		return err
	}
	return hostStreams(ctx, js, t)
}

// PieceConfig is how a stream of photos is made.
func PieceConfig(t Tag, replicas int) jetstream.StreamConfig { return pieceConfig(t, replicas) }

// PiecesLoosened is what is said of the configuration of a stream of photos.
func PiecesLoosened(c jetstream.StreamConfig, t Tag, replicas int) []string {
	return piecesLoosened(c, t, replicas)
}

// RemakePieces deletes a shop's stream of photos and makes it again.
func (h *Host) RemakePieces(ctx context.Context, t Tag) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	js := h.shops[t].js
	if err := js.DeleteStream(ctx, t.pieceStream()); err != nil {
		return err
	}
	return hostStreams(ctx, js, t)
}

// LoseKey takes a message out of a shop's keys, as damage could.
func (h *Host) LoseKey(ctx context.Context, t Tag, seq uint64) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	s, err := h.shops[t].js.Stream(ctx, t.keyStream())
	if err != nil {
		return err
	}
	return s.DeleteMsg(ctx, seq)
}

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

// Remake deletes a shop's stream and makes it again, as whoever runs the
// exchange could.
func (h *Host) Remake(ctx context.Context, t Tag) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	js := h.shops[t].js
	if err := js.DeleteStream(ctx, t.stream()); err != nil {
		return err
	}
	return hostStreams(ctx, js, t)
}

// Restart starts the server anew.
func (h *Host) Restart() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.restart()
}

// NewCertificate makes a certificate as a host has it.
func NewCertificate() (tls.Certificate, error) {
	b, err := newCertificate()
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.X509KeyPair(b, b)
}

// PinOf is the pin of a certificate.
func PinOf(c tls.Certificate) Pin { return pinOf(c.Leaf) }

// ServerTLS is how a server speaks that shows a certificate.
func ServerTLS(c tls.Certificate) *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{c}}
}

// Published is what a publish gives for an error of the library's.
func Published(err error) error { return published(plainly(err)) }

// JetStream is the host's own way to a shop's streams.
func (h *Host) JetStream(shop Tag) jetstream.JetStream { return h.shops[shop].js }

// ProbeAsHost has Inspect try with the host's own rights, which are all.
func (h *Host) ProbeAsHost(shop Tag) { h.shops[shop].probe = h.shops[shop].key }

// ReadLogin reads the key that a login names.
var ReadLogin = readLogin

// Subjects reads a subject in each way there is, and writes what was read.
func Subjects(t Tag, of Piece, subject string) (again []string) {
	if f, ok := t.feedOf(subject); ok {
		again = append(again, t.feed(f))
	}
	if p, ok := t.personOf(subject); ok {
		again = append(again, t.person(p))
	}
	if at, ok := t.chunkOf(of, subject); ok {
		again = append(again, t.chunk(of, at))
	}
	if p, ok := t.pieceOf(subject); ok {
		again = append(again, t.again(p))
	}
	if g, err := t.guestOf(subject); err == nil && strings.HasPrefix(subject, t.joins()) {
		again = append(again, t.join(events.BenchID(g)))
	}
	return again
}
