package keyring_test

import (
	"bytes"
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/keyring"
)

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

// keptRoot is where kept keys lie. Its README names the shop and its key.
const keptRoot = "../../testdata/keyring"

var examples = map[string]events.KeyEntry{"1-key": theirs, "2-forgotten": gone}

// An exchange or a stick of any year must be read by any later program.
func TestGoldenKeysOpenForEver(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(keptRoot, "*.hex"))
	if err != nil || len(paths) < len(examples) {
		t.Fatalf("%d kept keys, %v; %d examples: go test ./sync/keyring -run GoldenAdd$ -add-golden NAME", len(paths), err, len(examples))
	}
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			want, err := os.ReadFile(strings.TrimSuffix(path, ".hex") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			b, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
			if err != nil {
				t.Fatal(err)
			}
			if got, err := reading(b, shop); err != nil || got != string(want) {
				t.Errorf("read\n%s(%v), kept is\n%s", got, err, want)
			}
		})
	}
}

func TestGoldenReadmeNamesTheShopAndTheKey(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(keptRoot, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for _, s := range []string{hex.EncodeToString(shop[:]), hex.EncodeToString(key[:]), fmt.Sprintf("epoch %d", epoch)} {
		if !bytes.Contains(b, []byte(s)) {
			t.Errorf("%s/README.md does not say %s", keptRoot, s)
		}
	}
}

// With -add-golden this writes the bytes of one example.
func TestGoldenAdd(t *testing.T) {
	if *addGolden == "" {
		return
	}
	if err := addKept(t, keptRoot, *addGolden); err != nil {
		t.Fatal(err)
	}
}

func TestGoldenAddRefusesToWriteBytesAgain(t *testing.T) {
	root := t.TempDir()
	if err := addKept(t, root, "1-key"); err != nil {
		t.Fatal(err)
	}
	if err := addKept(t, root, "1-key"); err == nil {
		t.Error("wrote the bytes of an example that has them")
	}
	if err := addKept(t, root, "no example"); err == nil {
		t.Error("made bytes for no example")
	}
}

func addKept(t *testing.T, root, name string) error {
	e, ok := examples[name]
	if !ok {
		return fmt.Errorf("no example is named %q", name)
	}
	shop := eventstest.FoundShop(t, goldenSeed).ID
	b := sealed(t, shop, e)
	text, err := reading(b, shop)
	if err != nil {
		return err
	}
	var lines strings.Builder
	for line := range slices.Chunk(b, 32) {
		fmt.Fprintf(&lines, "%x\n", line)
	}
	for ext, s := range map[string]string{".hex": lines.String(), ".txt": text} {
		f, err := os.OpenFile(filepath.Join(root, name+ext), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return err
		}
		if _, err := f.WriteString(s); err != nil {
			f.Close()
			return err
		}
		if err := f.Close(); err != nil {
			return err
		}
	}
	return nil
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
