package app

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/wholefile"
	"oldhand/sync/roster"
)

// SpareKey is a further owner's key, to be printed and kept in a drawer. It is
// written nowhere.
type SpareKey struct {
	Name string `json:"name"`
	Key  string `json:"key"`
}

// Spare makes a second owner's key, which may do all that the first may, and
// opens the shop's keys for it.
func (s *Shop) Spare(name string) (k SpareKey, err error) {
	owner, err := s.ownerKey()
	if errors.Is(err, fs.ErrNotExist) {
		return k, &NotHere{"the owner's key", "is not in this folder; make a spare one where it is"}
	}
	if err != nil {
		return k, err
	}
	if err := s.ensureKey(); err != nil {
		return k, err
	}
	r, err := s.Roster()
	if err != nil {
		return k, err
	}
	spare, err := events.NewOwnerKey()
	if err != nil {
		return k, err
	}
	id, err := spare.Public()
	if err != nil {
		return k, err
	}
	named, err := owner.NameOwner(s.Log.Shop(), id, name)
	if err != nil {
		return k, err
	}
	ring, err := r.Keys(owner)
	if _, ok := ring.Sealing(); !ok {
		return k, fmt.Errorf("the shop's keys: %w", err)
	}
	sets, err := r.Share(owner, ring, id)
	if err != nil {
		return k, err
	}
	bodies := []events.Body{named}
	for _, set := range sets {
		bodies = append(bodies, set)
	}
	if err := s.state(bodies...); err != nil {
		return k, err
	}
	seed, err := spare.Seed()
	return SpareKey{name, string(seed)}, err
}

// UseOwnerKey reads an owner's key as it was printed and puts it into this
// folder, so that this bench can do what an owner does.
func (s *Shop) UseOwnerKey(in io.Reader) error {
	line, err := bufio.NewReader(io.LimitReader(in, 200)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	seed := strings.ToUpper(strings.Join(strings.Fields(line), ""))
	key, err := events.BenchKeyFrom([]byte(seed))
	if err != nil {
		return &Wrong{"the owner's key", "is not one as it was printed; a character may be wrong"}
	}
	id, err := key.Public()
	if err != nil {
		return err
	}
	r, err := s.Roster()
	if err != nil {
		return err
	}
	if !isOwner(r, id) {
		return &Wrong{"the owner's key", "is no owner's of this shop, as far as is known here; meet the other benches first"}
	}
	return wholefile.Write(filepath.Join(s.Dir, "keys", "owner.key"), append([]byte(seed), '\n'))
}

func isOwner(r roster.Roster, id events.BenchID) bool { return slices.Contains(r.Owners(), id) }
