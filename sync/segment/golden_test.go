package segment_test

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
	"oldhand/sync/segment"

	"github.com/google/go-cmp/cmp"
)

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

// keptRoot is where kept segments lie. Its README names the shop and the key.
const keptRoot = "../../testdata/segments"

// goldenSeed founds the shop of the kept segments.
const goldenSeed = 1

// example is a segment that is kept for ever.
type example struct {
	name string
	make func(t failer, l *line) []byte
}

var examples = []example{
	{"1-first", func(t failer, l *line) []byte { return l.seal(t, 1, 1) }},
	{"2-run", func(t failer, l *line) []byte { return l.notes(t, "volume pot cleaned", 9).seal(t, 4, 10) }},
	{"3-newer-kinds", func(t failer, l *line) []byte {
		l.notes(t, "hum", 1)
		l.add(t, events.Envelope{Kind: 301, Version: 7, About: [16]byte{8}, By: "jo"}, events.RawBody("\xa2\x01\x61x\x18\x63\x82\xf5\x41\xff"))
		l.sized(t, 3000)
		return l.seal(t, 2, 4)
	}},
}

// What an exchange or a stick holds from any year must open in any later
// program: each kept segment opens and says what it said.
func TestGoldenSegmentsOpenForEver(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(keptRoot, "*.hex"))
	if err != nil || len(paths) < len(examples) {
		t.Fatalf("%d kept segments, %v; %d examples: go test ./sync/segment -run GoldenAdd$ -add-golden NAME", len(paths), err, len(examples))
	}
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			want, err := os.ReadFile(strings.TrimSuffix(path, ".hex") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			text, err := reading(keptSegment(t, path), shop)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), text); d != "" {
				t.Errorf("the segment says something else (-kept +read):\n%s", d)
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
	if err := addKept(t, root, "1-first"); err != nil {
		t.Fatal(err)
	}
	kept := filepath.Join(root, "1-first.hex")
	if err := os.WriteFile(kept, []byte("00\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := addKept(t, root, "1-first"); err == nil {
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
	i := slices.IndexFunc(examples, func(e example) bool { return e.name == name })
	if i < 0 {
		return fmt.Errorf("no example is named %q", name)
	}
	shop := eventstest.FoundShop(t, goldenSeed)
	b := examples[i].make(t, begin(t, shop, 1))
	text, err := reading(b, shop.ID)
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

func keptSegment(t testing.TB, path string) []byte {
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
