package exchange

import (
	"context"
	"slices"
)

// State is what a page shows of an exchange.
type State struct {
	Connected bool
	Answers   bool   // to this very question; an older Problem may be over by then
	Server    string // its name, while connected
	Epoch     string
	Messages  uint64
	Bytes     uint64
	LastSeq   uint64
	Holes     uint64 // messages up to LastSeq that are not there: lost to damage, since none is ever deleted
	Replicas  int
	Warnings  []string // in what the stream is not as it should be
	Restarts  int      // how often a follower had to begin again
	Problem   error    // the last with the connection, or nil
}

// State asks the exchange how it is. Without an answer it is what was last
// known, and Connected or Problem say so.
func (x *Exchange) State(ctx context.Context) State {
	info, err := x.look(ctx)
	x.note(err)
	x.mu.Lock()
	defer x.mu.Unlock()
	s := State{
		Connected: x.link.isUp() && x.conn.IsConnected(),
		Answers:   err == nil,
		Epoch:     x.epoch,
		Warnings:  slices.Clone(x.warnings),
		Restarts:  x.restarts,
		Problem:   x.problem,
	}
	if info != nil {
		s.Server = x.conn.ConnectedServerName()
		s.Messages, s.Bytes, s.LastSeq = info.State.Msgs, info.State.Bytes, info.State.LastSeq
		s.Holes = s.LastSeq - min(s.LastSeq, s.Messages)
		s.Replicas = info.Config.Replicas
	}
	return s
}

// Loosened is in what the exchange was not as it should be when it was asked last.
func (x *Exchange) Loosened() []string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return slices.Clone(x.warnings)
}
