package meet

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"oldhand/events"
	"oldhand/events/evidence"
	"oldhand/sync/chunk"
	"oldhand/sync/exchange"
	"oldhand/sync/seal"
)

// Named is a photo or recording that an entry names.
type Named struct {
	Content events.Hash
	Size    int64 // bytes, as the entry says
}

// Errand is what a bench has and wants of photos and recordings when it goes to an
// exchange. It holds no log, so that the bench's other work goes on meanwhile.
type Errand struct {
	Shop    events.ShopID
	Store   *evidence.Store
	Keys    chunk.Keys
	Sealing func() (epoch uint32, key seal.Key, ok bool) // the key that seals
	Named   []Named                                      // newest first
	UpTo    int64                                        // larger pieces, in bytes, stay where they are
	Random  io.Reader
	Now     func() time.Time
}

// PiecesMet is what an errand came to.
type PiecesMet struct {
	Took    int   // pieces that are here now
	Gave    int   // pieces that the exchange has now
	Bytes   int64 // of both
	Lacking int   // named by entries, and neither here nor at the exchange
	Large   int   // not here, and left for their size
	Waiting int   // there, and sealed with a key of the shop that is not here
	Refused int   // came and were no good; what was damaged is asked for again
	Full    bool  // the exchange has no room for what it lacks
	NoRoom  bool  // this bench's disk has none
}

// Pieces brings the photos and recordings that an exchange lacks and fetches those
// that the bench lacks, the newest first, each a chunk at a time: what was cut goes
// on where it was. Events come first and keys next; nothing waits for a piece.
// It fails with evidence.ErrBusy where another program is at it in the same folder.
// Told is called after each piece; it may be nil.
func Pieces(ctx context.Context, e Errand, x *exchange.Exchange, told func(PiecesMet)) (PiecesMet, error) {
	r := &errand{Errand: e, x: x, told: told}
	if r.told == nil {
		r.told = func(PiecesMet) {}
	}
	if err := r.run(ctx); err != nil {
		return r.met, fmt.Errorf("exchange photos and recordings: %w", err)
	}
	return r.met, nil
}

// errand is one run of Pieces, on one goroutine.
type errand struct {
	Errand
	x     *exchange.Exchange
	fetch *evidence.Fetching
	known known // what the exchange has, by what was seen of it
	bytes uint64
	met   PiecesMet
	told  func(PiecesMet)
}

// run goes through the pieces until the exchange answered for each. After a cut it
// begins again; what was done until then is on its disk or ours.
func (r *errand) run(ctx context.Context) (err error) {
	if r.fetch, err = r.Store.Fetch(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.fetch.Close()) }()
	for begun := time.Now(); ; {
		moved := r.met.Bytes
		err := r.round(ctx)
		if r.met.Bytes > moved {
			begun = time.Now()
		}
		if err == nil || !passing(err) || time.Since(begun) > keyPatience {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(lookAgain):
		}
	}
}

func (r *errand) round(ctx context.Context) error {
	r.met = PiecesMet{Took: r.met.Took, Gave: r.met.Gave, Bytes: r.met.Bytes}
	if err := r.look(ctx); err != nil {
		return err
	}
	err := r.answer(ctx)
	for i := 0; err == nil && i < len(r.Named); i++ {
		if err = r.piece(ctx, r.Named[i]); err == nil {
			r.told(r.met)
		}
	}
	if err != nil {
		return err // and nothing is remembered: there is no end to compare the next look with
	}
	return r.remember(ctx)
}

// piece gives or takes one.
func (r *errand) piece(ctx context.Context, n Named) error {
	size, here, err := r.Store.Size(n.Content)
	switch {
	case err != nil:
		return err
	case here && (size > r.UpTo || r.met.Full || r.known.Whole[n.Content]):
		return nil
	case here:
		return r.give(ctx, n.Content, size)
	case n.Size > r.UpTo:
		r.met.Large++
		return nil
	case n.Size <= 0 || r.met.NoRoom || r.known.Useless[n.Content]:
		r.met.Lacking++
		return nil
	}
	if dropped, err := r.Store.Dropped(n.Content); err != nil || dropped {
		return err
	}
	return r.take(ctx, n)
}

func (r *errand) name(h events.Hash) exchange.Piece { return exchange.Piece(chunk.NameOf(r.Shop, h)) }

// give brings what the exchange lacks of a piece, in the order of its chunks: who
// sees the last can tell that one before it went bad. A piece that is damaged here
// is put aside, and fetched the next time.
func (r *errand) give(ctx context.Context, h events.Hash, size int64) error {
	there, err := r.x.Chunks(ctx, r.name(h))
	if err != nil {
		return err
	}
	var lacks []exchange.ChunkAt
	for n := range chunk.Count(size) {
		if _, ok := there[n]; !ok {
			lacks = append(lacks, exchange.ChunkAt{Number: n})
		}
	}
	if len(lacks) > 0 {
		if gave, err := r.giveChunks(ctx, h, lacks); err != nil || !gave {
			return err
		}
		r.met.Gave++
	}
	r.known.Whole[h] = true
	return nil
}

// giveChunks brings chunks of a piece; gave is false
// where not all could be.
func (r *errand) giveChunks(ctx context.Context, h events.Hash, wanted []exchange.ChunkAt) (gave bool, err error) {
	epoch, key, ok := r.Sealing()
	if !ok {
		return false, nil
	}
	f, err := r.Store.Open(h)
	if errors.Is(err, evidence.ErrDamaged) {
		return false, r.Store.Aside(h)
	}
	if errors.Is(err, evidence.ErrNotHere) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer f.Close()
	for _, at := range wanted {
		if at.Number >= chunk.Count(f.Size()) {
			continue
		}
		plain := make([]byte, chunk.Length(f.Size(), at.Number))
		if _, err := f.ReadAt(plain, int64(at.Number)*chunk.Size); err != nil {
			return false, err
		}
		sealed, err := chunk.Seal(r.Shop, epoch, key, h, at.Number, plain, r.Random)
		if err != nil {
			return false, err
		}
		if r.bytes += uint64(len(sealed)); r.bytes > exchange.MaxPieces {
			r.met.Full = true
			return false, nil
		}
		switch err := r.x.PutChunk(ctx, r.name(h), at, sealed); {
		case errors.Is(err, exchange.ErrFull):
			r.met.Full = true
			return false, nil
		case errors.Is(err, exchange.ErrBehind): // somebody else gave it
		case errors.Is(err, exchange.ErrBusy):
			return false, nil
		case err != nil:
			return false, err
		default:
			r.met.Bytes += int64(len(plain))
		}
	}
	return true, nil
}

// take fetches a piece, if the exchange has all of it.
func (r *errand) take(ctx context.Context, n Named) error {
	there, err := r.x.Chunks(ctx, r.name(n.Content))
	if err != nil {
		return err
	}
	var holes []exchange.ChunkAt
	count := chunk.Count(n.Size)
	for i := range count {
		if _, ok := there[i]; !ok {
			holes = append(holes, exchange.ChunkAt{Number: i})
		}
	}
	if len(holes) > 0 {
		r.met.Lacking++
		if _, ok := there[count-1]; ok {
			return r.askAgain(ctx, n.Content, holes...)
		}
		return nil // it is being given, or nobody who has it was here
	}
	c, err := r.fetch.Piece(n.Content, n.Size, chunk.Size)
	if errors.Is(err, evidence.ErrFull) {
		r.met.NoRoom = true
		r.met.Lacking++
		return nil
	}
	if err != nil {
		return err
	}
	whole, err := r.takeChunks(ctx, n, c, there)
	if err == nil && whole {
		err = r.keep(n, c)
	}
	return errors.Join(err, c.Close())
}

func (r *errand) keep(n Named, c *evidence.Coming) error {
	err := c.Keep()
	if errors.Is(err, evidence.ErrDamaged) {
		// Each chunk was sealed by a bench of the shop, and together they are not
		// what the entry names: asking again brings the same.
		r.met.Refused++
		r.known.Useless[n.Content] = true
		return nil
	}
	if err == nil {
		r.met.Took++
		r.known.Whole[n.Content] = true
	}
	return err
}

// takeChunks fetches what is not here of a piece; whole is false where a chunk was
// no good.
func (r *errand) takeChunks(ctx context.Context, n Named, c *evidence.Coming, there map[uint32]uint32) (whole bool, err error) {
	for c.Have() < n.Size {
		number := uint32(c.Have() / chunk.Size)
		plain, err := r.takeChunk(ctx, n, exchange.ChunkAt{Number: number, Try: there[number]})
		if err != nil || plain == nil {
			return false, err
		}
		if err := c.Add(plain); errors.Is(err, evidence.ErrFull) {
			r.met.NoRoom = true
			return false, nil
		} else if err != nil {
			return false, err
		}
		r.met.Bytes += int64(len(plain))
	}
	return true, nil
}

// takeChunk fetches a chunk, the last try first; nil where none is good. Then the
// next try is asked for, unless a key would open what is there.
func (r *errand) takeChunk(ctx context.Context, n Named, last exchange.ChunkAt) ([]byte, error) {
	lost := true
	for at, tries := last, 0; tries < mostTries; tries++ {
		sealed, ok, err := r.x.Chunk(ctx, r.name(n.Content), at)
		if err != nil {
			return nil, err
		}
		if ok {
			lost = false
			plain, err := chunk.Open(sealed, r.Shop, n.Content, at.Number, r.Keys)
			switch {
			case err == nil && len(plain) == chunk.Length(n.Size, at.Number):
				return plain, nil
			case err == nil: // the entry and the piece's writer disagree
				r.met.Refused++
				r.known.Useless[n.Content] = true
				return nil, nil
			case errors.Is(err, chunk.ErrNoKey), errors.Is(err, chunk.ErrNewer):
				r.met.Waiting++
				return nil, nil
			}
		}
		if at.Try == 0 {
			break
		}
		at.Try--
	}
	if lost {
		r.met.Lacking++
	} else {
		r.met.Refused++
	}
	last.Try++
	return nil, r.askAgain(ctx, n.Content, last)
}
