package bundle_test

import (
	"bytes"
	"encoding/hex"
	"flag"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/bundle"
	"oldhand/sync/segment"
)

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

// keptRoot is where kept bundles lie. Its README names the shop and the key.
const keptRoot = "../../testdata/bundles"

// examples are bundles that are kept for ever, by name, and how many segments
// and keys they have.
var examples = map[string]struct{ segments, keys int }{"1-empty": {0, 0}, "2-segments": {3, 0}, "3-keys": {1, 2}}

func kept(t *testing.T) eventstest.Kept {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	return eventstest.Kept{
		Root:  keptRoot,
		Names: slices.Sorted(maps.Keys(examples)),
		Make: func(t *testing.T, name string) []byte {
			e := examples[name]
			return pack(t, goldenSeed, e.segments).withKeys(t, e.keys).bytes(t)
		},
		Read: func(b []byte) (string, error) { return reading(b, shop) },
	}
}

// A stick from any year must be read by any later program.
func TestGoldenBundlesAreReadForEver(t *testing.T) { kept(t).Check(t) }

func TestGoldenReadmeNamesTheShopAndTheKey(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	kept(t).CheckReadme(t, hex.EncodeToString(shop[:]), hex.EncodeToString(key[:]), fmt.Sprintf("epoch %d", epoch))
}

func TestGoldenAddRefusesToWriteBytesAgain(t *testing.T) { kept(t).CheckAdd(t) }

// With -add-golden this writes the bytes of one example.
func TestGoldenAdd(t *testing.T) {
	if *addGolden == "" {
		return
	}
	if err := kept(t).Add(t, *addGolden); err != nil {
		t.Fatal(err)
	}
}

// reading is what the program reads in a bundle.
func reading(b []byte, shop events.ShopID) (string, error) {
	var s strings.Builder
	rep, err := bundle.ReadWithKeys(bytes.NewReader(b), shop, keys, func(sealed []byte) error {
		o, err := segment.Open(sealed, shop, keys)
		if err != nil {
			return err
		}
		fmt.Fprintf(&s, "\nsegment  %s %d to %d\n", o.Feed, o.First, o.Last)
		for _, r := range o.Records {
			fmt.Fprintf(&s, "record   %x\n", r)
		}
		return nil
	}, func(sealed []byte) error {
		e, err := openKey(sealed, shop)
		fmt.Fprintf(&s, "\nperson   %s\nkey      %x\n", e.Person, e.Key)
		return err
	})
	if err == nil {
		err = rep.Err()
	}
	if err != nil || rep.HadErr != nil {
		return "", fmt.Errorf("%w, heads: %w", err, rep.HadErr)
	}
	for _, h := range rep.Had {
		fmt.Fprintf(&s, "\nhead       %s %d\nhash       %s\nsignature  %x\n", h.Feed, h.Seq, h.Hash, h.Signature)
	}
	return s.String(), nil
}
