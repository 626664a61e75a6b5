package main

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// bare is a JetStream server with one stream and nothing around it: no TLS, no
// keys, no log. Each message is on disk before it is acknowledged, as at an
// exchange.
type bare struct {
	srv  *server.Server
	conn *nats.Conn
	js   jetstream.JetStream
}

func openBare(dir string) (*bare, error) {
	srv, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: dir, SyncAlways: true, NoSigs: true, NoLog: true})
	if err != nil {
		return nil, err
	}
	srv.Start()
	if !srv.ReadyForConnections(10 * time.Second) {
		srv.Shutdown()
		return nil, fmt.Errorf("a bare server in %s is not ready", dir)
	}
	n := &bare{srv: srv}
	if n.conn, err = nats.Connect(srv.ClientURL()); err != nil {
		srv.Shutdown()
		return nil, err
	}
	if n.js, err = jetstream.New(n.conn); err == nil {
		_, err = n.js.CreateStream(context.Background(), jetstream.StreamConfig{Name: "bare", Subjects: []string{"bare.>"}, Storage: jetstream.FileStorage})
	}
	if err != nil {
		n.close()
		return nil, err
	}
	return n, nil
}

func (n *bare) close() {
	n.conn.Close()
	n.srv.Shutdown()
	n.srv.WaitForShutdown()
}

// publish stores messages one after the other, each acknowledged before the next.
func (n *bare) publish(messages [][]byte) error {
	for _, m := range messages {
		if _, err := n.js.Publish(context.Background(), "bare.a", m); err != nil {
			return err
		}
	}
	return nil
}

// read has an ordered consumer read so many messages and drop them.
func (n *bare) read(messages int) error {
	c, err := n.js.OrderedConsumer(context.Background(), "bare", jetstream.OrderedConsumerConfig{})
	if err != nil {
		return err
	}
	it, err := c.Messages()
	if err != nil {
		return err
	}
	defer it.Stop()
	for range messages {
		if _, err := it.Next(); err != nil {
			return err
		}
	}
	return nil
}

// deliveries has another connection read what is published, as it comes, and gives
// a function that publishes a message and waits until it was read there.
func (n *bare) deliveries(size int) (deliver func() error, stop func(), err error) {
	conn, err := nats.Connect(n.srv.ClientURL())
	if err != nil {
		return nil, nil, err
	}
	js, err := jetstream.New(conn)
	if err != nil {
		conn.Close()
		return nil, nil, err
	}
	c, err := js.OrderedConsumer(context.Background(), "bare", jetstream.OrderedConsumerConfig{})
	if err != nil {
		conn.Close()
		return nil, nil, err
	}
	got := make(chan struct{}, 1)
	reading, err := c.Consume(func(jetstream.Msg) { got <- struct{}{} })
	if err != nil {
		conn.Close()
		return nil, nil, err
	}
	message := make([]byte, size)
	deliver = func() error {
		if _, err := n.js.Publish(context.Background(), "bare.a", message); err != nil {
			return err
		}
		<-got
		return nil
	}
	return deliver, func() { reading.Stop(); conn.Close() }, nil
}
