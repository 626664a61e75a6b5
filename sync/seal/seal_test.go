package seal_test

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"runtime"
	"strings"
	"testing"

	"oldhand/events/eventstest"
	"oldhand/sync/seal"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"
)

var (
	key     = seal.Key{1, 2, 3}
	clear   = []byte("oldhand test 1")
	context = []byte("a shop")
	nonce   = [24]byte{9, 8, 7}
)

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.Join(strings.Fields(s), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// draft-irtf-cfrg-xchacha-03, appendix A.3.1: key, nonce, additional data,
// plaintext, ciphertext and tag of AEAD_XCHACHA20_POLY1305
// (https://datatracker.ietf.org/doc/html/draft-irtf-cfrg-xchacha-03#appendix-A.3.1).
func TestTheSealIsThePublishedXChaCha20Poly1305(t *testing.T) {
	plain := []byte("Ladies and Gentlemen of the class of '99: If I could offer you " +
		"only one tip for the future, sunscreen would be it.")
	var k seal.Key
	copy(k[:], unhex(t, "808182838485868788898a8b8c8d8e8f909192939495969798999a9b9c9d9e9f"))
	var n [24]byte
	copy(n[:], unhex(t, "404142434445464748494a4b4c4d4e4f5051525354555657"))
	aad := unhex(t, "50515253c0c1c2c3c4c5c6c7")
	want := unhex(t, `
		bd6d179d3e83d43b9576579493c0e939572a1700252bfaccbed2902c21396cbb
		731c7f1b0b4aa6440bf3a82f4eda7e39ae64c6708c54c216cb96b72e1213b452
		2f8c9ba40db5d945b11b69b982c1bb9e3f3fac2bc369488f76b2383565d3fff9
		21f9664c97637da9768812f615c68b13b52e
		c0875924c1c7987947deafd8780acf49`)
	// The additional data may be split between clear and context anywhere.
	for cut := range len(aad) + 1 {
		got, err := seal.SealContent(k, aad[:cut], aad[cut:], n, plain)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, append(append(bytes.Clone(aad[:cut]), n[:]...), want...)) {
			t.Errorf("cut at %d: sealed\n%x, want\n%x", cut, got, want)
		}
	}
}

func TestWhatWasSealedOpens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := drawPlain(t)
		b, err := seal.Seal(key, clear, context, plain, eventstest.Seeded(rapid.Uint64().Draw(t, "random")))
		if err != nil {
			t.Fatal(err)
		}
		if err := seal.CheckSize(len(b)); err != nil || !bytes.HasPrefix(b, clear) {
			t.Fatalf("sealed into %d bytes that begin %q: %v", len(b), b[:len(clear)], err)
		}
		got, err := seal.Open(key, b, len(clear), context)
		if err != nil || !bytes.Equal(got, plain) {
			t.Fatalf("opened %d bytes of %d: %v", len(got), len(plain), err)
		}
	})
}

// drawPlain draws bytes that pack well, or not at all, up to the limit.
func drawPlain(t *rapid.T) []byte {
	n := rapid.OneOf(rapid.IntRange(1, 3000), rapid.IntRange(1, seal.MaxPlain), rapid.Just(seal.MaxPlain)).Draw(t, "length")
	b := make([]byte, n)
	if _, err := io.ReadFull(eventstest.Seeded(rapid.Uint64().Draw(t, "bytes")), b); err != nil {
		t.Fatal(err)
	}
	if rapid.Bool().Draw(t, "packs") {
		for i := range b {
			b[i] = "ab"[b[i]&1]
		}
	}
	return b
}

// RFC 8878 packs what does not pack into blocks of its own length and three
// bytes, so the limits leave room for it.
func TestWhatDoesNotPackFitsAtTheLimit(t *testing.T) {
	e, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	const clearest = 256
	if n := seal.ClassOf(clearest + seal.Overhead + e.MaxEncodedSize(seal.MaxPlain)); n > seal.MaxSealed {
		t.Errorf("%d bytes that do not pack come out at %d, at most %d", seal.MaxPlain, n, seal.MaxSealed)
	}
}

func TestSealRefusesNothingAndTooMuch_F24(t *testing.T) {
	for _, n := range []int{0, seal.MaxPlain + 1} {
		if _, err := seal.Seal(key, clear, context, make([]byte, n), eventstest.Seeded(1)); !errors.Is(err, seal.ErrTooLarge) {
			t.Errorf("%d bytes: got %v, want ErrTooLarge", n, err)
		}
	}
	noise := make([]byte, seal.MaxPlain)
	if _, err := io.ReadFull(eventstest.Seeded(1), noise); err != nil {
		t.Fatal(err)
	}
	if _, err := seal.Seal(key, make([]byte, 16<<10), context, noise, eventstest.Seeded(1)); !errors.Is(err, seal.ErrTooLarge) {
		t.Errorf("with 16 KiB in clear: got %v, want ErrTooLarge", err)
	}
	if _, err := seal.Seal(key, clear, context, []byte("x"), strings.NewReader("too short")); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("without randomness: got %v", err)
	}
}

func TestASealOpensWithItsKeyClearBytesAndContextOnly_P10(t *testing.T) {
	b, err := seal.Seal(key, clear, context, []byte("filter caps leaky"), eventstest.Seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	otherKey := key
	otherKey[31] ^= 1
	for name, err := range map[string]error{
		"another key":             second(seal.Open(otherKey, b, len(clear), context)),
		"another context":         second(seal.Open(key, b, len(clear), []byte("b shop"))),
		"no context":              second(seal.Open(key, b, len(clear), nil)),
		"clear bytes cut shorter": second(seal.Open(key, b, len(clear)-1, context)),
	} {
		if !errors.Is(err, seal.ErrSeal) {
			t.Errorf("%s: got %v, want ErrSeal", name, err)
		}
	}
	for bit := range len(b) * 8 {
		bad := bytes.Clone(b)
		bad[bit/8] ^= 1 << (bit % 8)
		if got, err := seal.Open(key, bad, len(clear), context); !errors.Is(err, seal.ErrSeal) || got != nil {
			t.Fatalf("with bit %d flipped: %q, %v", bit, got, err)
		}
	}
	for n := range b {
		if got, err := seal.Open(key, b[:n], len(clear), context); !errors.Is(err, seal.ErrMalformed) || got != nil {
			t.Fatalf("cut off after %d bytes: %q, %v", n, got, err)
		}
	}
}

// sealed puts content of any form under a right seal.
func sealed(t testing.TB, content []byte) []byte {
	t.Helper()
	room := len(clear) + seal.Overhead - seal.ContentHead
	if n := seal.ClassOf(room + len(content)); n-room > len(content) {
		content = seal.Padded(content, n-room)
	}
	b, err := seal.SealContent(key, clear, context, nonce, content)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// content lays packed bytes behind the lengths that are claimed of them.
func content(plain, packed uint32, b []byte) []byte {
	c := binary.BigEndian.AppendUint32(nil, plain)
	return append(binary.BigEndian.AppendUint32(c, packed), b...)
}

func TestOpenRefusesContentThatIsNotPackedAsItSays_P10(t *testing.T) {
	word := seal.Pack(nil, []byte("word"))
	n := uint32(len(word))
	for _, c := range []struct {
		name    string
		content []byte
		want    error
	}{
		{"nothing inside", content(0, 0, nil), seal.ErrMalformed},
		{"more than the limit unpacked", content(seal.MaxPlain+1, n, word), seal.ErrTooLarge},
		{"more packed bytes than there are", content(4, 1<<20, word), seal.ErrMalformed},
		{"a packed length that overflows", content(4, 1<<32-1, word), seal.ErrMalformed},
		{"padding that is not zero", content(4, n, append(bytes.Clone(word), 0, 0, 1)), seal.ErrMalformed},
		{"packed bytes cut short", content(4, n-1, word[:n-1]), seal.ErrMalformed},
		{"not packed at all", content(4, 4, []byte("word")), seal.ErrMalformed},
		{"no packed bytes", content(4, 0, nil), seal.ErrMalformed},
		{"shorter than it says", content(5, n, word), seal.ErrMalformed},
		{"longer than it says", content(3, n, word), seal.ErrMalformed},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got, err := seal.Open(key, sealed(t, c.content), len(clear), context); !errors.Is(err, c.want) || got != nil {
				t.Errorf("got %q, %v, want %v", got, err, c.want)
			}
		})
	}
	t.Run("as it says", func(t *testing.T) {
		if got, err := seal.Open(key, sealed(t, content(4, n, word)), len(clear), context); err != nil || string(got) != "word" {
			t.Errorf("got %q, %v", got, err)
		}
	})
	t.Run("a size of no class", func(t *testing.T) {
		b, err := seal.SealContent(key, clear, context, nonce, content(4, n, word))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := seal.Open(key, b, len(clear), context); !errors.Is(err, seal.ErrMalformed) || got != nil {
			t.Errorf("got %q, %v, want ErrMalformed", got, err)
		}
	})
	t.Run("more than the limit sealed", func(t *testing.T) {
		if got, err := seal.Open(key, make([]byte, seal.ClassOf(seal.MaxSealed+1)), len(clear), context); !errors.Is(err, seal.ErrTooLarge) || got != nil {
			t.Errorf("got %q, %v, want ErrTooLarge", got, err)
		}
	})
	t.Run("clear bytes that leave no room", func(t *testing.T) {
		if got, err := seal.Open(key, make([]byte, 1024), 1000, context); !errors.Is(err, seal.ErrMalformed) || got != nil {
			t.Errorf("got %q, %v, want ErrMalformed", got, err)
		}
	})
}

// A few kilobytes can claim to be, and can be, a hundred megabytes.
func TestABombTakesNoMoreThanTheLimit_P14_F18(t *testing.T) {
	bombs := map[string][]byte{"its length said": wholeBomb(t), "its length not said": streamedBomb(t)}
	for name, bomb := range bombs {
		if len(bomb) > 64<<10 {
			t.Fatalf("%s: a bomb of %d bytes does not fit", name, len(bomb))
		}
		for _, says := range []uint32{4, seal.MaxPlain} {
			b := sealed(t, content(says, uint32(len(bomb)), bomb))
			if _, err := seal.Open(key, b, len(clear), context); !errors.Is(err, seal.ErrMalformed) { // and warms the pool
				t.Fatalf("%s: got %v, want ErrMalformed", name, err)
			}
			n := allocated(func() { _, _ = seal.Open(key, b, len(clear), context) })
			if room := uint64(len(b)+int(says)) + 256<<10; n > room {
				t.Errorf("%s, said to be %d: opening %d bytes took %d, at most %d", name, says, len(b), n, room)
			}
		}
	}
}

const bombSize = 100 << 20

func wholeBomb(t *testing.T) []byte {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest))
	if err != nil {
		t.Fatal(err)
	}
	return e.EncodeAll(make([]byte, bombSize), nil)
}

func streamedBomb(t *testing.T) []byte {
	var b bytes.Buffer
	e, err := zstd.NewWriter(&b, zstd.WithWindowSize(256<<10))
	if err != nil {
		t.Fatal(err)
	}
	for range bombSize >> 20 {
		if _, err := e.Write(make([]byte, 1<<20)); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// allocated is how much memory fn takes, given back or not: the least of some
// runs, since a pool may be emptied at any time.
func allocated(fn func()) uint64 {
	least := uint64(1 << 62)
	for range 10 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		fn()
		runtime.ReadMemStats(&after)
		least = min(least, after.TotalAlloc-before.TotalAlloc)
	}
	return least
}

func TestSizeClassesAreFourToADoubling(t *testing.T) {
	var classes []int
	for n := 0; n <= seal.MaxSealed; n++ {
		c := seal.ClassOf(n)
		if c < n || c > seal.MaxSealed || seal.ClassOf(c) != c {
			t.Fatalf("%d bytes are padded to %d, and that to %d", n, c, seal.ClassOf(c))
		}
		if n > 1024 && (c-n)*4 >= n {
			t.Fatalf("%d bytes are padded to %d, a quarter more", n, c)
		}
		if len(classes) == 0 || classes[len(classes)-1] != c {
			classes = append(classes, c)
		}
	}
	if len(classes) != 37 || classes[1] != 1280 || classes[5] != 2560 {
		t.Errorf("%d classes: %v", len(classes), classes)
	}
	if n := len(sealedText(t, "a")); n != len(sealedText(t, strings.Repeat("volume pot ", 40))) || n != 1024 {
		t.Errorf("a letter and a note come out at sizes that differ, or at %d", n)
	}
}

func sealedText(t *testing.T, s string) []byte {
	b, err := seal.Seal(key, clear, context, []byte(s), eventstest.Seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestTheSameBytesSealedTwiceLookDifferent(t *testing.T) {
	r := eventstest.Seeded(1)
	a, err1 := seal.Seal(key, clear, context, []byte("word"), r)
	b, err2 := seal.Seal(key, clear, context, []byte("word"), r)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	same := 0
	for i := len(clear); i < len(a); i++ {
		if a[i] == b[i] {
			same++
		}
	}
	if same > len(a)/32 { // one in 256 by chance
		t.Errorf("%d of %d bytes are the same", same, len(a))
	}
}

func second[T any](_ T, err error) error { return err }

// Whoever has the key can seal any content. None of it may stop the program or
// take memory beyond the limit, and what opens is what was packed.
func FuzzOpenContent(f *testing.F) {
	word := seal.Pack(nil, []byte("word"))
	f.Add(content(4, uint32(len(word)), word))
	f.Add(content(1<<32-1, 1<<32-1, word))
	f.Add(content(4, 4, []byte("word")))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, c []byte) {
		if len(c) > seal.MaxPlain {
			return
		}
		if len(c) < seal.ContentHead {
			c = seal.Padded(c, seal.ContentHead)
		}
		plain, err := seal.Open(key, sealed(t, c), len(clear), context)
		switch {
		case err == nil:
			if len(plain) == 0 || len(plain) > seal.MaxPlain || uint32(len(plain)) != binary.BigEndian.Uint32(c) {
				t.Fatalf("opened %d bytes", len(plain))
			}
		case !errors.Is(err, seal.ErrMalformed) && !errors.Is(err, seal.ErrTooLarge):
			t.Fatalf("an error of no kind: %v", err)
		}
	})
}
