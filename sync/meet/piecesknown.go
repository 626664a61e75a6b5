package meet

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/sync/chunk"
	"oldhand/sync/exchange"
)

// known is what was seen of the pieces at an exchange, so that a bench with ten
// thousand of them does not ask for each every time. It is a note beside the
// pieces: without it all is asked again. An exchange that was made anew, put back
// or lost something is seen by its end, and everything is asked once a day.
type known struct {
	Epoch    string
	Messages uint64
	Last     uint64 // its last message, and
	LastHash [sha256.Size]byte
	Since    time.Time

	Whole    map[events.Hash]bool      // all of it is there
	Useless  map[events.Hash]bool      // it is there and is not what was named
	Answered map[exchange.Piece]uint64 // what was asked for by others, and answered
}

const (
	knownNote = "exchange.json"

	// knownFor is how long what was seen is believed: damage inside the exchange
	// shows in none of its numbers.
	knownFor = 24 * time.Hour

	// mostTries is how often a chunk is given to one exchange: a giver and a taker
	// who do not agree would go on for ever.
	mostTries = 10
)

func nothingKnown(epoch string, now time.Time) known {
	return known{Epoch: epoch, Since: now, Whole: map[events.Hash]bool{}, Useless: map[events.Hash]bool{}, Answered: map[exchange.Piece]uint64{}}
}

// look asks how the exchange stands, and forgets what was known of it where it is
// not any more what it was.
func (r *errand) look(ctx context.Context) error {
	s, err := r.x.PieceState(ctx)
	if err != nil {
		return err
	}
	r.bytes = s.Bytes
	b, err := r.Store.Noted(knownNote)
	if err != nil {
		return err
	}
	k, ok := readKnown(b)
	age := r.Now().Sub(k.Since)
	if ok = ok && k.Epoch == s.Epoch && s.Messages >= k.Messages && s.LastSeq >= k.Last && age >= 0 && age < knownFor; ok && k.Last > 0 {
		hash, there, err := r.x.PieceAt(ctx, k.Last)
		if err != nil {
			return err
		}
		ok = there && hash == k.LastHash
	}
	if r.known = k; !ok {
		r.known = nothingKnown(s.Epoch, r.Now())
	}
	return nil
}

// remember notes what is known, with where the exchange ends.
func (r *errand) remember(ctx context.Context) error {
	s, err := r.x.PieceState(ctx)
	if err != nil {
		return err
	}
	if s.LastSeq > 0 {
		hash, there, err := r.x.PieceAt(ctx, s.LastSeq)
		if err != nil || !there {
			return err // it is read from the first the next time
		}
		r.known.LastHash = hash
	}
	r.known.Messages, r.known.Last = s.Messages, s.LastSeq
	return r.note()
}

func (r *errand) note() error {
	b, err := r.known.encode()
	if err != nil {
		return err
	}
	if had, err := r.Store.Noted(knownNote); err == nil && string(had) == string(b) {
		return nil
	}
	return r.Store.Note(knownNote, b)
}

// askAgain asks the benches for chunks of a piece.
func (r *errand) askAgain(ctx context.Context, h events.Hash, bad ...exchange.ChunkAt) error {
	bad = slices.DeleteFunc(bad, func(at exchange.ChunkAt) bool { return at.Try >= mostTries })
	if len(bad) == 0 {
		return nil
	}
	p := r.name(h)
	asked, _, err := r.x.Asked(ctx, p)
	if err != nil || contains(asked, bad) {
		return err
	}
	err = r.x.Again(ctx, p, bad)
	if errors.Is(err, exchange.ErrFull) {
		return nil // nobody could answer
	}
	return err
}

func contains(asked, bad []exchange.ChunkAt) bool {
	have := map[exchange.ChunkAt]bool{}
	for _, b := range asked {
		have[b] = true
	}
	for _, b := range bad {
		if !have[b] {
			return false
		}
	}
	return true
}

// answer gives the chunks that others asked for again, of the pieces that are here.
func (r *errand) answer(ctx context.Context) error {
	asked, err := r.x.AskedFor(ctx)
	if err != nil || len(asked) == 0 {
		return err
	}
	of := map[exchange.Piece]events.Hash{}
	for _, n := range r.Named {
		of[r.name(n.Content)] = n.Content
	}
	for _, p := range asked {
		h, ours := of[p]
		if !ours {
			continue
		}
		if _, here, err := r.Store.Size(h); err != nil || !here {
			if err != nil {
				return err
			}
			continue
		}
		if err := r.answerOne(ctx, p, h); err != nil {
			return err
		}
	}
	return nil
}

func (r *errand) answerOne(ctx context.Context, p exchange.Piece, h events.Hash) error {
	bad, seq, err := r.x.Asked(ctx, p)
	if err != nil || len(bad) == 0 || r.known.Answered[p] == seq {
		return err
	}
	gave, err := r.giveChunks(ctx, h, bad)
	if err != nil || !gave {
		return err
	}
	r.known.Answered[p] = seq
	delete(r.known.Whole, h) // what else it lacks is asked once more
	r.told(r.met)
	return nil
}

// wireKnown is known as it is noted.
type wireKnown struct {
	Format   int               `json:"format"`
	Epoch    string            `json:"epoch"`
	Messages uint64            `json:"messages"`
	Last     uint64            `json:"last"`
	LastHash string            `json:"last_hash"`
	Since    time.Time         `json:"since"`
	Whole    []string          `json:"whole"`
	Useless  []string          `json:"useless,omitempty"`
	Answered map[string]uint64 `json:"answered,omitempty"`
}

func (k known) encode() ([]byte, error) {
	w := wireKnown{1, k.Epoch, k.Messages, k.Last, hex.EncodeToString(k.LastHash[:]), k.Since, []string{}, nil, map[string]uint64{}}
	w.Whole, w.Useless = sortedHashes(k.Whole), sortedHashes(k.Useless)
	for p, seq := range k.Answered {
		w.Answered[hex.EncodeToString(p[:])] = seq
	}
	return json.Marshal(w)
}

// readKnown reads a note; ok is false where it is none that this program wrote.
func readKnown(b []byte) (k known, ok bool) {
	var w wireKnown
	if len(b) == 0 || json.Unmarshal(b, &w) != nil || w.Format != 1 {
		return k, false
	}
	k = nothingKnown(w.Epoch, w.Since)
	k.Messages, k.Last = w.Messages, w.Last
	ok = readHex(k.LastHash[:], w.LastHash)
	for into, list := range map[*map[events.Hash]bool][]string{&k.Whole: w.Whole, &k.Useless: w.Useless} {
		for _, text := range list {
			var h events.Hash
			ok = readHex(h[:], text) && ok
			(*into)[h] = true
		}
	}
	for text, seq := range w.Answered {
		var p chunk.Name
		ok = readHex(p[:], text) && ok
		k.Answered[exchange.Piece(p)] = seq
	}
	return k, ok
}

func sortedHashes(set map[events.Hash]bool) []string {
	list := make([]string, 0, len(set))
	for h := range set {
		list = append(list, h.String())
	}
	slices.Sort(list)
	return list
}

func readHex(dst []byte, text string) bool {
	b, err := hex.DecodeString(text)
	return err == nil && copy(dst, b) == len(dst) && len(b) == len(dst)
}
