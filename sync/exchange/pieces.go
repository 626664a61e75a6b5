package exchange

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Piece is what a photo or recording is called on an exchange. It says nothing.
type Piece [16]byte

func (p Piece) String() string { return base32Low.EncodeToString(p[:]) }

// ChunkAt says which chunk of a piece is meant. One that went bad is given again
// as the next try, on a subject of its own: after damage a server may count a
// message that it can't give, and then takes away whatever comes to its subject.
type ChunkAt struct {
	Number uint32 // from 0
	Try    uint32 // from 0
}

func (a ChunkAt) String() string { return fmt.Sprintf("%d.%d", a.Number, a.Try) }

// PieceState is what an exchange says of its photos and recordings.
type PieceState struct {
	Epoch    string
	Messages uint64 // chunks, and what benches asked for again
	Bytes    uint64
	LastSeq  uint64
}

// PieceState asks the exchange how its photos and recordings stand.
func (x *Exchange) PieceState(ctx context.Context) (s PieceState, err error) {
	info, err := x.inspect(ctx, x.opt.Tag.pieceStream(), pieceConfig)
	if err != nil {
		return s, fmt.Errorf("look what photos the exchange has: %w", err)
	}
	odd := piecesLoosened(info.Config, x.opt.Tag, x.replicas())
	x.mu.Lock()
	told := len(odd) == x.piecesTold
	x.piecesTold = len(odd)
	x.mu.Unlock()
	for _, text := range odd {
		if !told {
			x.opt.Warn("the exchange's stream of photos is not as it should be: " + text)
		}
	}
	return PieceState{epochOf(info), info.State.Msgs, info.State.Bytes, info.State.LastSeq}, nil
}

// Chunks lists the chunks that the exchange has of a piece: the last try by the
// number.
func (x *Exchange) Chunks(ctx context.Context, p Piece) (map[uint32]uint32, error) {
	subjects, err := x.subjects(ctx, x.opt.Tag.chunks(p)+">")
	if err != nil {
		return nil, fmt.Errorf("look what the exchange has of a photo: %w", err)
	}
	there := map[uint32]uint32{}
	for s := range subjects {
		if at, ok := x.opt.Tag.chunkOf(p, s); ok {
			there[at.Number] = max(there[at.Number], at.Try)
		}
	}
	return there, nil
}

// PutChunk stores a chunk, where there is none. It fails as Publish does, with
// ErrBehind where there is one; after ErrUnknown it may be tried again.
func (x *Exchange) PutChunk(ctx context.Context, p Piece, at ChunkAt, payload []byte) (err error) {
	err = fmt.Errorf("%w: %d bytes, want 1 to %d", ErrTooLarge, len(payload), MaxChunk)
	if len(payload) > 0 && len(payload) <= MaxChunk {
		_, err = x.put(ctx, x.opt.Tag.pieceStream(), &nats.Msg{Subject: x.opt.Tag.chunk(p, at), Data: payload}, 0, chunkTime*x.opt.Timeout)
	}
	if err != nil {
		return fmt.Errorf("give chunk %s of a photo: %w", at, err)
	}
	return nil
}

// Chunk reads a sealed chunk. There may be none. Nothing of it is checked but its
// size: of one that is larger than MaxChunk it gives none of the bytes.
func (x *Exchange) Chunk(ctx context.Context, p Piece, at ChunkAt) (payload []byte, ok bool, err error) {
	s, ok, err := x.getOf(ctx, x.opt.Tag.pieceStream(), getRequest{LastBySubject: x.opt.Tag.chunk(p, at)}, chunkTime*x.opt.Timeout)
	if err != nil || !ok || len(s.Data) > MaxChunk {
		return nil, ok, err
	}
	return s.Data, true, nil
}

// PieceAt is the hash of the message with a sequence in the stream of pieces; ok is
// false where it is gone.
func (x *Exchange) PieceAt(ctx context.Context, seq uint64) (hash [sha256.Size]byte, ok bool, err error) {
	s, ok, err := x.getOf(ctx, x.opt.Tag.pieceStream(), getRequest{Seq: seq}, chunkTime*x.opt.Timeout)
	if err != nil || !ok {
		return hash, false, err
	}
	return sha256.Sum256(s.Data), true, nil
}

const atSize = 4 + 4

// Again asks the benches for chunks of a piece, in place of what was asked of it
// before: at most MaxAgain of them.
func (x *Exchange) Again(ctx context.Context, p Piece, wanted []ChunkAt) error {
	var b []byte
	for _, at := range wanted[:min(len(wanted), MaxAgain)] {
		b = binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(b, at.Number), at.Try)
	}
	if _, err := x.store(ctx, x.opt.Tag.pieceStream(), &nats.Msg{Subject: x.opt.Tag.again(p), Data: b}, x.opt.Timeout); err != nil {
		return fmt.Errorf("ask for a photo again: %w", err)
	}
	return nil
}

// AskedFor lists the pieces of which chunks were asked for again.
func (x *Exchange) AskedFor(ctx context.Context) (list []Piece, err error) {
	subjects, err := x.subjects(ctx, x.opt.Tag.agains()+"*")
	if err != nil {
		return nil, fmt.Errorf("look which photos are asked for: %w", err)
	}
	for s := range subjects {
		if p, ok := x.opt.Tag.pieceOf(s); ok {
			list = append(list, p)
		}
	}
	return list, nil
}

// Asked reads which chunks of a piece were asked for again, and with which
// message; none with zero.
func (x *Exchange) Asked(ctx context.Context, p Piece) (wanted []ChunkAt, seq uint64, err error) {
	s, ok, err := x.getOf(ctx, x.opt.Tag.pieceStream(), getRequest{LastBySubject: x.opt.Tag.again(p)}, x.opt.Timeout)
	if err != nil || !ok {
		return nil, 0, err
	}
	for b := s.Data; len(b) >= atSize && len(wanted) < MaxAgain; b = b[atSize:] {
		wanted = append(wanted, ChunkAt{binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:])})
	}
	return wanted, s.Seq, nil
}

// subjects asks which subjects of the stream of pieces there are, of those that a
// filter lets through.
func (x *Exchange) subjects(ctx context.Context, filter string) (map[string]uint64, error) {
	ctx, cancel, err := x.request(ctx)
	if err != nil {
		return nil, err
	}
	defer cancel()
	ask, err := json.Marshal(map[string]string{"subjects_filter": filter})
	if err != nil {
		return nil, err
	}
	reply, err := x.conn.RequestWithContext(ctx, "$JS.API.STREAM.INFO."+x.opt.Tag.pieceStream(), ask)
	if err != nil {
		return nil, x.reason(ctx, err)
	}
	var a struct {
		Error *jetstream.APIError `json:"error"`
		State struct {
			Subjects map[string]uint64 `json:"subjects"`
		} `json:"state"`
	}
	if err := json.Unmarshal(reply.Data, &a); err != nil {
		return nil, fmt.Errorf("read the exchange's answer: %w", err)
	}
	switch {
	case a.Error != nil && a.Error.ErrorCode == codeNoStream:
		return nil, ErrNoStream
	case a.Error != nil:
		return nil, a.Error
	}
	return a.State.Subjects, nil
}
