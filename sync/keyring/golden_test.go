package keyring_test

import (
	"encoding/hex"
	"flag"
	"fmt"
	"maps"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/keyring"
)

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

// keptRoot is where kept keys lie. Its README names the shop and its key.
const keptRoot = "../../testdata/keyring"

var examples = map[string]events.KeyEntry{"1-key": theirs, "2-forgotten": gone}

func kept(t *testing.T) eventstest.Kept {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	return eventstest.Kept{
		Root:  keptRoot,
		Names: slices.Sorted(maps.Keys(examples)),
		Make:  func(t *testing.T, name string) []byte { return sealed(t, shop, examples[name]) },
		Read:  func(b []byte) (string, error) { return reading(b, shop) },
	}
}

// An exchange or a stick of any year must be read by any later program.
func TestGoldenKeysOpenForEver(t *testing.T) { kept(t).Check(t) }

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

// reading is what the program reads in a sealed key.
func reading(b []byte, shop events.ShopID) (string, error) {
	p, err := keyring.ReadPlace(b)
	if err != nil {
		return "", err
	}
	e, err := keyring.Open(b, shop, p.Person, keys)
	return fmt.Sprintf("shop tag  %s\nperson    %s\nepoch     %d\nkey       %x\norder     %x\n", p.Shop, p.Person, p.Epoch, e.Key, e.Order), err
}
