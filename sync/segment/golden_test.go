package segment_test

import (
	"encoding/hex"
	"flag"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"
)

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

// keptRoot is where kept segments lie. Its README names the shop and the key.
const keptRoot = "../../testdata/segments"

// goldenSeed founds the shop of the kept segments.
const goldenSeed = 1

// examples are segments that are kept for ever, by name.
var examples = map[string]func(t *testing.T, l *line) []byte{
	"1-first": func(t *testing.T, l *line) []byte { return l.seal(t, 1, 1) },
	"2-run":   func(t *testing.T, l *line) []byte { return l.notes(t, "volume pot cleaned", 9).seal(t, 4, 10) },
	"3-newer-kinds": func(t *testing.T, l *line) []byte {
		l.notes(t, "hum", 1)
		l.add(t, events.Envelope{Kind: 301, Version: 7, About: [16]byte{8}, By: "jo"}, events.RawBody("\xa2\x01\x61x\x18\x63\x82\xf5\x41\xff"))
		l.sized(t, 3000)
		return l.seal(t, 2, 4)
	},
}

func kept(t *testing.T) eventstest.Kept {
	shop := eventstest.FoundShop(t, goldenSeed)
	return eventstest.Kept{
		Root:  keptRoot,
		Names: slices.Sorted(maps.Keys(examples)),
		Make:  func(t *testing.T, name string) []byte { return examples[name](t, begin(t, shop, 1)) },
		Read:  func(b []byte) (string, error) { return reading(b, shop.ID) },
	}
}

// What an exchange or a stick holds from any year must open in any later
// program: each kept segment opens and says what it said.
func TestGoldenSegmentsOpenForEver(t *testing.T) { kept(t).Check(t) }

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

// reading is what the program reads in a segment, a name and a value a line.
func reading(b []byte, shop events.ShopID) (string, error) {
	o, err := segment.Open(b, shop, keys)
	if err != nil {
		return "", err
	}
	evs, err := o.Link(events.Head{Feed: o.Feed, Seq: o.First - 1, Hash: o.Prev})
	if err != nil {
		return "", err
	}
	var s strings.Builder
	fmt.Fprintf(&s, "shop tag   %s\nfeed       %s\nevents     %d to %d\nepoch      %d\n", o.Shop, o.Feed, o.First, o.Last, o.Epoch)
	fmt.Fprintf(&s, "prev       %s\nhash       %s\nsignature  %x\n", o.Prev, o.Head.Hash, o.Head.Signature)
	for _, e := range evs {
		fmt.Fprintf(&s, "\n%d %s version %d\nhash    %s\nrecord  %x\n", e.Seq, e.Kind, e.Version, e.Hash, e.Record)
	}
	return s.String(), nil
}
