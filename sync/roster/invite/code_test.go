package invite_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/big"
	"reflect"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster/invite"

	"pgregory.net/rapid"
)

const alphabet = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"

func drawCode(t *rapid.T) invite.Code {
	b := rapid.SliceOfN(rapid.Byte(), 31, 31).Draw(t, "fixed")
	c := invite.Code{Pin: invite.Pin(b[:16]), Secret: invite.Secret(b[16:26]), Owner: invite.OwnerTag(b[26:])}
	for range rapid.IntRange(0, invite.MaxAddresses).Draw(t, "addresses") {
		hosts := rapid.OneOf(rapid.SampledFrom([]string{"192.0.2.7", "[2001:db8::7]", "[::1]", "0.0.0.0", "cellar.lan"}),
			rapid.StringMatching(`[a-z0-9]{1,5}(-[a-z]{1,5}\.example){0,3}`))
		c.Addresses = append(c.Addresses, fmt.Sprintf("%s:%d", hosts.Draw(t, "host"), rapid.IntRange(1, 65535).Draw(t, "port")))
	}
	return c
}

func TestACodeIsReadAsItWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCode(t)
		text := must(c.Text())
		got, err := invite.Read(text)
		if err != nil || !reflect.DeepEqual(got, c) {
			t.Fatalf("%s is read as %+v, %v; was %+v", text, got, err, c)
		}
		if strings.ContainsAny(text, "01OIL") {
			t.Fatalf("%s has letters that look alike", text)
		}
	})
}

func TestCaseSpacesAndDashesMeanNothing(t *testing.T) {
	c := codeOf(7, "192.0.2.7:4222")
	text := must(c.Text())
	for _, typed := range []string{strings.ToLower(text), strings.ReplaceAll(text, "-", ""), strings.ReplaceAll(text, "-", " \u2013\n\t"),
		"  " + strings.Join(strings.Split(text, ""), " ") + "\u00a0"} {
		if got, err := invite.Read(typed); err != nil || !reflect.DeepEqual(got, c) {
			t.Errorf("%q: %+v, %v", typed, got, err)
		}
	}
}

// The spelling by hand: the bytes behind a 1, as a number in base 31, four
// digits and a check a group, each group's sum zero.
func TestACodeIsSpeltAsLaidOutByHand(t *testing.T) {
	c := codeOf(7, "192.0.2.7:258", "cellar:1")
	raw := slices.Concat([]byte{0x12}, c.Pin[:], c.Secret[:], c.Owner[:], []byte{4, 192, 0, 2, 7, 1, 2}, []byte("\x01\x06cellar\x00\x01"))
	n := new(big.Int).SetBytes(append([]byte{1}, raw...))
	groups := strings.Split(must(c.Text()), "-")
	for i := len(groups) - 1; i >= 0; i-- {
		sum := i + 1
		if i == len(groups)-1 {
			sum += 15
		}
		for j := 4; j >= 0; j-- {
			d := strings.IndexByte(alphabet, groups[i][j])
			sum += (j + 1) * d
			if j == 4 {
				continue
			}
			rest := new(big.Int)
			n.QuoRem(n, big.NewInt(31), rest)
			if rest.Int64() != int64(d) {
				t.Errorf("group %d, character %d is %d, by hand %d", i+1, j+1, d, rest)
			}
		}
		if sum%31 != 0 {
			t.Errorf("group %d sums to %d", i+1, sum%31)
		}
	}
	if n.Sign() != 0 {
		t.Errorf("%d is left", n)
	}
}

// Bytes for ever: a code printed by an older program is read by this one.
func TestACodePrintedLongAgoIsRead(t *testing.T) {
	if got := must(codeOf(7, "192.0.2.7:258", "cellar:1").Text()); got != keptCode {
		t.Errorf("spelt %s, kept %s", got, keptCode)
	}
	if got, err := invite.Read(keptCode); err != nil || !reflect.DeepEqual(got, codeOf(7, "192.0.2.7:258", "cellar:1")) {
		t.Errorf("read as %+v, %v", got, err)
	}
}

func wantMistyped(t *testing.T, typed string, group int) {
	t.Helper()
	_, err := invite.Read(typed)
	var m *invite.Mistyped
	if !errors.As(err, &m) || len(m.Groups) == 0 || m.Groups[0] != group {
		t.Errorf("%s: %v, want group %d named", typed, err, group)
	}
	if err != nil && !strings.Contains(err.Error(), fmt.Sprintf("group %d", group)) && !strings.Contains(err.Error(), fmt.Sprintf("groups %d", group)) {
		t.Errorf("%s: %q does not name group %d", typed, err, group)
	}
}

// Every wrong character at every place, of a code without and one with
// addresses.
func TestAnyOneWrongCharacterIsFoundAndItsGroupNamed(t *testing.T) {
	for _, c := range []invite.Code{codeOf(7), codeOf(8, "192.0.2.7:4222", "[2001:db8::7]:4222")} {
		text := strings.ReplaceAll(must(c.Text()), "-", "")
		for i := range text {
			for _, wrong := range alphabet {
				if rune(text[i]) != wrong {
					wantMistyped(t, text[:i]+string(wrong)+text[i+1:], i/5+1)
				}
			}
		}
	}
}

func TestAnyTwoNeighboursSwappedAreFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := []byte(strings.ReplaceAll(must(drawCode(t).Text()), "-", ""))
		i := rapid.IntRange(0, len(text)-2).Draw(t, "place")
		if text[i] == text[i+1] {
			return
		}
		text[i], text[i+1] = text[i+1], text[i]
		_, err := invite.Read(string(text))
		var m *invite.Mistyped
		if !errors.As(err, &m) || !slices.Contains(m.Groups, i/5+1) && !slices.Contains(m.Groups, (i+1)/5+1) {
			t.Fatalf("%s with %d and %d swapped: %v", text, i, i+1, err)
		}
	})
}

func TestACharacterLeftOutOrTypedTwiceIsFoundNearItsPlace(t *testing.T) {
	text := strings.ReplaceAll(must(codeOf(7, "192.0.2.7:4222").Text()), "-", "")
	for i := range text {
		for _, typed := range []string{text[:i] + text[i+1:], text[:i+1] + text[i:]} {
			_, err := invite.Read(typed)
			var m *invite.Mistyped
			if !errors.As(err, &m) || len(m.Groups) != 1 || m.Groups[0] < i/5+1 {
				t.Errorf("character %d: %v", i+1, err)
			}
		}
	}
}

func TestGroupsLeftOutSwappedOrCutAreFound(t *testing.T) {
	groups := strings.Split(must(codeOf(7, "192.0.2.7:4222", "cellar.lan:1").Text()), "-")
	for i := range groups {
		left := slices.Delete(slices.Clone(groups), i, i+1)
		if _, err := invite.Read(strings.Join(left, "-")); err == nil {
			t.Errorf("read without group %d", i+1)
		}
		wantMistyped(t, strings.Join(groups[:i], "-")+"-"+strings.Repeat("2", 4), i+1)
		if i > 0 {
			wantMistyped(t, strings.Join(groups[:i], "-"), i)
			swapped := slices.Clone(groups)
			swapped[i-1], swapped[i] = swapped[i], swapped[i-1]
			wantMistyped(t, strings.Join(swapped, "-"), i)
		}
	}
	wantMistyped(t, strings.Join(append(groups, groups...), ""), len(groups))
}

func TestWhatIsNoCodeIsSaidToBeNone(t *testing.T) {
	text := must(codeOf(7).Text())
	for _, bad := range []string{"0", "O", "1", "i", "l", "\u00e4", "_"} {
		wantMistyped(t, text[:12]+bad+text[13:], 3)
	}
	for _, typed := range []string{"", " - ", strings.Repeat("2", invite.MaxTyped+1)} {
		var m *invite.Mistyped
		if _, err := invite.Read(typed); !errors.As(err, &m) || len(m.Groups) != 0 || !strings.HasPrefix(err.Error(), "code: ") {
			t.Errorf("%.20q: %v", typed, err)
		}
	}
	for name, digits := range map[string]string{"another version": spelt(t, "\x01\x30", 31), "three addresses": spelt(t, "\x01\x13", 31),
		"too short": spelt(t, "\x01\x10", 30), "more behind": spelt(t, "\x01\x10", 32), "no address where one is": spelt(t, "\x01\x11", 31),
		"no leading 1": spelt(t, "\x02\x10", 31), "an address that is none": spelt(t, "\x01\x11", 34),
		"a mapped address in six": spelt(t, "\x01\x11"+zeros+"\x06"+zeros[:10]+"\xff\xff\xc0\x00\x02\x07\x00\x01", 0),
		"a name in capitals":      spelt(t, "\x01\x11"+zeros+"\x01\x01A\x00\x01", 0),
		"an address as a name":    spelt(t, "\x01\x11"+zeros+"\x01\x03::1\x00\x01", 0),
		"a name without end":      spelt(t, "\x01\x11"+zeros+"\x01\x09a\x00\x01", 0),
		"port 0":                  spelt(t, "\x01\x11"+zeros+"\x01\x01a\x00\x00", 0),
		"an empty group in front": "2222" + spelt(t, "\x01\x10", 31)} {
		if _, err := invite.Read(checked(digits)); !errors.Is(err, invite.ErrNotCode) {
			t.Errorf("%s: %v, want ErrNotCode", name, err)
		}
	}
}

// zeros are pin, secret and tag.
var zeros = strings.Repeat("\x00", 31)

// spelt gives the characters of bytes without their checks.
func spelt(t *testing.T, start string, more int) string {
	t.Helper()
	n := new(big.Int).SetBytes(append([]byte(start), make([]byte, more)...))
	text := ""
	for d := new(big.Int); n.Sign() > 0 || len(text)%4 != 0; {
		n.QuoRem(n, big.NewInt(31), d)
		text = string(alphabet[d.Int64()]) + text
	}
	return text
}

// checked puts the check behind each group: the one that fits, by trying all.
func checked(text string) (all string) {
	for i := 0; i < len(text); i += 4 {
		for c := range 31 {
			sum := i/4 + 1 + 5*c
			if i+4 == len(text) {
				sum += 15
			}
			for j := range 4 {
				sum += (j + 1) * strings.IndexByte(alphabet, text[i+j])
			}
			if sum%31 == 0 {
				all += text[i:i+4] + string(alphabet[c])
			}
		}
	}
	return all
}

func TestAddressesThatCantStandInACodeAreRefused(t *testing.T) {
	for _, a := range []string{"192.0.2.7", "192.0.2.7:0", "192.0.2.7:65536", "192.0.2.7:x", ":4222", "a_b:1", "[fe80::1%eth0]:1",
		strings.Repeat("a", 65) + ":1", "\u00e4:1", "a b:1", ""} {
		c := codeOf(7, a)
		if _, err := c.Text(); err == nil || !strings.Contains(err.Error(), "address") || invite.CheckAddress(a) == nil {
			t.Errorf("%q: %v", a, err)
		}
	}
	c := codeOf(7, "a:1", "b:1", "c:1")
	if _, err := c.Text(); err == nil || !strings.Contains(err.Error(), "3 addresses, at most 2") {
		t.Errorf("three addresses: %v", err)
	}
	if err := invite.CheckAddress("[::ffff:192.0.2.7]:4222"); err != nil {
		t.Error(err)
	}
}

// RFC 5869 by hand: extract with a salt of zeros, expand to one block.
func TestTheLoginIsWhatRFC5869Gives(t *testing.T) {
	c := codeOf(7)
	mac := func(key []byte, parts ...[]byte) []byte {
		h := hmac.New(sha256.New, key)
		for _, p := range parts {
			h.Write(p)
		}
		return h.Sum(nil)
	}
	prk := mac(make([]byte, 32), c.Secret[:])
	seed := mac(prk, []byte("oldhand invite guest 1\x00"), c.Pin[:], c.Owner[:], []byte{1})
	if want := idOf(must(events.BenchKeyOf([32]byte(seed)))); invite.Guest(want) != guestOf(c) {
		t.Errorf("guest %x, by hand %x", guestOf(c), want)
	}
}

func TestLoginsOfDifferentCodesDiffer(t *testing.T) {
	base := codeOf(7, "cellar:1")
	beside := codeOf(7)
	if guestOf(base) != guestOf(beside) {
		t.Error("an address told beside the code changes the login")
	}
	pin, secret, tag := base, base, base
	pin.Pin[15]++
	secret.Secret[9]++
	tag.Owner[4]++
	for name, c := range map[string]invite.Code{"pin": pin, "secret": secret, "owner": tag} {
		if guestOf(c) == guestOf(base) {
			t.Errorf("another %s, the same login", name)
		}
	}
}

func TestF26_ACodeIsForOneShopOfOneOwner_P10(t *testing.T) {
	c := codeOf(7)
	if err := c.Check(founding); err != nil {
		t.Error(err)
	}
	second := must(owner.Found("Quayside Wireless Repair", half(0x22)))
	for name, f := range map[string]events.ShopFounded{"another owner": must(stranger.Found("Quayside Wireless Repair", half(0x21))), "the owner's other shop": second} {
		if err := c.Check(f); !errors.Is(err, invite.ErrOtherOwner) {
			t.Errorf("%s: %v", name, err)
		}
	}
	forged := founding
	forged.Signature = second.Signature
	if err := c.Check(forged); err == nil {
		t.Error("a founding without its owner's signature passes")
	}
}

func FuzzRead(f *testing.F) {
	f.Add(keptCode)
	f.Add(must(codeOf(7).Text()))
	f.Add("2345 6789\u2013abcd")
	f.Fuzz(func(t *testing.T, typed string) {
		c, err := invite.Read(typed)
		if err != nil {
			var m *invite.Mistyped
			if !errors.As(err, &m) && !errors.Is(err, invite.ErrNotCode) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		text, err := c.Text()
		if err != nil {
			t.Fatalf("read %+v, which can't be written: %v", c, err)
		}
		if again, err := invite.Read(text); err != nil || !reflect.DeepEqual(again, c) {
			t.Fatalf("%q is read as %+v and then as %+v, %v", typed, c, again, err)
		}
		if bare := bareOf(typed); bare != strings.ReplaceAll(text, "-", "") {
			t.Fatalf("%q has a second form %q", typed, text)
		}
	})
}

func bareOf(typed string) string {
	return strings.Map(func(r rune) rune {
		if !strings.ContainsRune(alphabet, r) {
			return -1
		}
		return r
	}, strings.ToUpper(typed))
}
