package bundle_test

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
	"oldhand/sync/bundle"
	"oldhand/sync/segment"

	"github.com/google/go-cmp/cmp"
)

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

// keptRoot is where kept bundles lie. Its README names the shop and the key.
const keptRoot = "../../testdata/bundles"

// examples are bundles that are kept for ever, by name, and how many segments
// and keys they have.
var examples = map[string]struct{ segments, keys int }{"1-empty": {0, 0}, "2-segments": {3, 0}, "3-keys": {1, 2}}

// A stick from any year must be read by any later program.
func TestGoldenBundlesAreReadForEver(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(keptRoot, "*.hex"))
	if err != nil || len(paths) < len(examples) {
		t.Fatalf("%d kept bundles, %v; %d examples: go test ./sync/bundle -run GoldenAdd$ -add-golden NAME", len(paths), err, len(examples))
	}
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			want, err := os.ReadFile(strings.TrimSuffix(path, ".hex") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			text, err := reading(keptBundle(t, path), shop)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), text); d != "" {
				t.Errorf("the bundle says something else (-kept +read):\n%s", d)
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

func TestGoldenAddRefusesToWriteBytesAgain(t *testing.T) {
	root := t.TempDir()
	if err := addKept(t, root, "1-empty"); err != nil {
		t.Fatal(err)
	}
	kept := filepath.Join(root, "1-empty.hex")
	if err := os.WriteFile(kept, []byte("00\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := addKept(t, root, "1-empty"); err == nil {
		t.Error("wrote the bytes of an example that has them")
	}
	if b, _ := os.ReadFile(kept); string(b) != "00\n" {
		t.Error("kept bytes were written again")
	}
	if err := addKept(t, root, "no example"); err == nil {
		t.Error("made bytes for no example")
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

func addKept(t *testing.T, root, name string) error {
	e, ok := examples[name]
	if !ok {
		return fmt.Errorf("no example is named %q", name)
	}
	p := pack(t, goldenSeed, e.segments).withKeys(t, e.keys)
	b := p.bytes(t)
	text, err := reading(b, p.shop.ID)
	if err != nil {
		return err
	}
	path := filepath.Join(root, name)
	for file, s := range map[string]string{path + ".hex": hexLines(b), path + ".txt": text} {
		if err := writeOnce(file, s); err != nil {
			return err
		}
	}
	return nil
}

func writeOnce(file, s string) error {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.WriteString(s); err != nil {
		f.Close()
		return err
	}
	return f.Close()
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

func keptBundle(t testing.TB, path string) []byte {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func hexLines(b []byte) string {
	var s strings.Builder
	for line := range slices.Chunk(b, 32) {
		fmt.Fprintf(&s, "%x\n", line)
	}
	return s.String()
}
