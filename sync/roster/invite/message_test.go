package invite_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"
	"oldhand/sync/roster/invite"
)

func request() invite.Request { return must(codeOf(7).Ask(founding, joiner, "cellar")) }

// answer admits the joiner, by the drawer's key, and gives it a key.
func answer() invite.Answer {
	named := must(owner.NameOwner(shop, idOf(drawer), "in the drawer"))
	admission := must(drawer.Admit(shop, idOf(joiner), "cellar", 3))
	keys := must(owner.SetKey(shop, 2, events.ShopKey(fill(9)), idOf(joiner)))
	return must(invite.Admit(founding, []events.OwnerNamed{named}, admission, []events.ShopKeySet{keys}))
}

func TestABenchJoinsByACode_P10_P12(t *testing.T) {
	s, codes := opened(7)
	code := must(invite.Read(must(codes[0].Text())))

	asked := must(must(code.Ask(founding, joiner, "cellar")).Encode())

	got := must(invite.DecodeRequest(asked))
	guest := guestOf(code)
	if err := got.Verify(founding, guest); err != nil || got.Name != "cellar" || got.Bench != idOf(joiner) {
		t.Fatalf("request %+v, %v", got, err)
	}
	_, r := s.Use(got.Guest, noon)
	wantReply(t, r, invite.Accepted)
	told := must(answer().Encode())

	heard := must(invite.DecodeAnswer(told))
	in, err := heard.Verify(code, idOf(joiner))
	if err != nil {
		t.Fatal(err)
	}
	if b, ok := in.Bench(idOf(joiner)); !ok || b.Name != "cellar" || b.Number != 3 {
		t.Errorf("admitted as %+v", b)
	}
	if v := in.Counts(events.Head{Feed: events.FeedID{Bench: idOf(joiner)}, Seq: 1}); v.Standing != roster.Counted {
		t.Error(v.Words)
	}
	ring, err := in.Keys(joiner)
	if k, ok := ring.Sealing(); err != nil || !ok || k.Epoch != 2 || k.Secret != events.ShopKey(fill(9)) {
		t.Errorf("key of epoch %d, %v", k.Epoch, err)
	}
}

func TestARequestThatIsNotTheGuestsOwnIsRefused_F25_P10(t *testing.T) {
	guest := guestOf(codeOf(7))
	second := must(owner.Found("Quayside Wireless Repair", half(0x22)))
	for name, c := range map[string]struct {
		change func(*invite.Request)
		why    string
	}{
		"another shop":      {func(r *invite.Request) { r.Shop = second.Shop() }, "another shop"},
		"another owner":     {func(r *invite.Request) { r.Owner[0]++ }, "another owner"},
		"another guest":     {func(r *invite.Request) { r.Guest[0]++ }, "another guest"},
		"another bench":     {func(r *invite.Request) { r.Bench = idOf(otherBench) }, "signature"},
		"another name":      {func(r *invite.Request) { r.Name = "attic" }, "signature"},
		"another signature": {func(r *invite.Request) { r.Signature = bytes.Clone(r.Signature); r.Signature[0]++ }, "signature"},
		"replayed":          {func(r *invite.Request) { *r = must(codeOf(8).Ask(founding, joiner, "cellar")) }, "another guest"},
		"of the other shop": {func(r *invite.Request) {
			c := codeOf(7)
			c.Owner = invite.TagOf(second)
			*r = must(c.Ask(second, joiner, "cellar"))
		}, "another shop"},
	} {
		r := request()
		c.change(&r)
		if err := r.Verify(founding, guest); !errors.Is(err, invite.ErrNotMine) || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %v, want %q", name, err, c.why)
		}
	}
}

func TestARequestBreaksNoRule(t *testing.T) {
	for name, change := range map[string]func(*invite.Request){
		"version":      func(r *invite.Request) { r.Version = 2 },
		"no signature": func(r *invite.Request) { r.Signature = nil },
		"no bench":     func(r *invite.Request) { r.Bench = events.BenchID{} },
		"no name":      func(r *invite.Request) { r.Name = "" },
		"long name":    func(r *invite.Request) { r.Name = strings.Repeat("x", events.MaxWord+1) },
		"not UTF-8":    func(r *invite.Request) { r.Name = "\xff" },
	} {
		r := request()
		change(&r)
		if err := r.Validate(); !errors.Is(err, invite.ErrMessage) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := r.Encode(); !errors.Is(err, invite.ErrMessage) {
			t.Errorf("%s, encoded: %v", name, err)
		}
	}
	if _, err := codeOf(7).Ask(founding, joiner, ""); err == nil {
		t.Error("asked without a name")
	}
	if _, err := codeOf(7).Ask(founding, events.BenchKey{}, "cellar"); err == nil {
		t.Error("asked without a key")
	}
	if _, err := codeOf(7).Ask(must(stranger.Found("x", half(1))), joiner, "cellar"); !errors.Is(err, invite.ErrOtherOwner) {
		t.Errorf("asked another shop: %v", err)
	}
}

// The host is trusted in nothing: each of these is what a lying one could send.
func TestAnAnswerThatProvesNoAdmissionIsRefused_F25_F26_P10(t *testing.T) {
	code, me := codeOf(7), idOf(joiner)
	theirs := must(stranger.Found("Quayside Wireless Repair", half(0x21)))
	for name, c := range map[string]struct {
		change func(*invite.Answer)
		want   error
	}{
		"a shop of its own": {func(a *invite.Answer) {
			ad := must(stranger.Admit(theirs.Shop(), me, "cellar", 3))
			a.Founding, a.Admission, a.Owners, a.Keys = &theirs, &ad, nil, nil
		}, invite.ErrOtherOwner},
		"signed by nobody":  {func(a *invite.Answer) { ad := must(stranger.Admit(shop, me, "cellar", 3)); a.Admission = &ad }, invite.ErrNotAdmitted},
		"its owner unnamed": {func(a *invite.Answer) { a.Owners = nil }, invite.ErrNotAdmitted},
		"for another bench": {func(a *invite.Answer) {
			ad := must(owner.Admit(shop, idOf(otherBench), "cellar", 3))
			a.Admission = &ad
		}, invite.ErrNotAdmitted},
		"for another shop": {func(a *invite.Answer) {
			ad := must(owner.Admit(theirs.Shop(), me, "cellar", 3))
			a.Admission = &ad
		}, invite.ErrNotAdmitted},
		"an owner named by itself": {func(a *invite.Answer) {
			a.Owners = []events.OwnerNamed{must(stranger.NameOwner(shop, idOf(stranger), ""))}
			ad := must(stranger.Admit(shop, me, "cellar", 3))
			a.Admission = &ad
		}, invite.ErrNotAdmitted},
		"refused": {func(a *invite.Answer) { *a = must(invite.Refuse("that name is taken")) }, invite.ErrRefused},
	} {
		a := answer()
		c.change(&a)
		a = must(invite.DecodeAnswer(must(a.Encode())))
		if _, err := a.Verify(code, me); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	if _, err := (invite.Answer{}).Verify(code, me); !errors.Is(err, invite.ErrMessage) {
		t.Errorf("nothing: %v", err)
	}
	forged := answer()
	forged.Keys[0] = must(stranger.SetKey(shop, 9, events.ShopKey(fill(8)), me))
	r := must(forged.Verify(code, me))
	if ring, _ := r.Keys(joiner); len(ring.Epochs()) != 0 {
		t.Errorf("took a stranger's key for epochs %v", ring.Epochs())
	}
}

func TestAnAnswerBreaksNoRule(t *testing.T) {
	for name, change := range map[string]func(*invite.Answer){
		"version":             func(a *invite.Answer) { a.Version = 0 },
		"nothing":             func(a *invite.Answer) { *a = invite.Answer{Version: 1} },
		"no founding":         func(a *invite.Answer) { a.Founding = nil },
		"no admission":        func(a *invite.Answer) { a.Admission = nil },
		"both":                func(a *invite.Answer) { a.Refused = "no" },
		"refused with owners": func(a *invite.Answer) { a.Founding, a.Admission, a.Keys, a.Refused = nil, nil, nil, "no" },
		"refused with keys":   func(a *invite.Answer) { a.Founding, a.Admission, a.Owners, a.Refused = nil, nil, nil, "no" },
		"refused at length":   func(a *invite.Answer) { *a = invite.Answer{Version: 1, Refused: strings.Repeat("n", events.MaxWord+1)} },
		"refused in no text":  func(a *invite.Answer) { *a = invite.Answer{Version: 1, Refused: "\xff"} },
		"many owners":         func(a *invite.Answer) { a.Owners = slices.Repeat(a.Owners, events.MaxList+1) },
		"many keys":           func(a *invite.Answer) { a.Keys = slices.Repeat(a.Keys, events.MaxList+1) },
		"a founding unsigned": func(a *invite.Answer) { a.Founding.Signature = nil },
		"an owner of no key":  func(a *invite.Answer) { a.Owners[0].Owner = events.BenchID{} },
		"a key for nobody":    func(a *invite.Answer) { a.Keys[0].Readers = nil },
		"an admission of 0":   func(a *invite.Answer) { a.Admission.Number = 0 },
	} {
		a := answer()
		change(&a)
		if err := a.Validate(); !errors.Is(err, invite.ErrMessage) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := a.Encode(); !errors.Is(err, invite.ErrMessage) {
			t.Errorf("%s, encoded: %v", name, err)
		}
	}
	if _, err := invite.Refuse(""); err == nil {
		t.Error("refused without words")
	}
}

func TestMessagesPastTheirLimitAreNotRead_F24(t *testing.T) {
	if _, err := invite.DecodeRequest(make([]byte, invite.MaxRequest+1)); !errors.Is(err, events.ErrTooLarge) {
		t.Errorf("request: %v", err)
	}
	if _, err := invite.DecodeAnswer(make([]byte, invite.MaxAnswer+1)); !errors.Is(err, events.ErrTooLarge) {
		t.Errorf("answer: %v", err)
	}
	for _, b := range [][]byte{nil, {0}, {0xbf, 0xff}, {0xa1, 0x01}, {0xa2, 0x01, 0x01, 0x01, 0x01}} {
		if _, err := invite.DecodeRequest(b); !errors.Is(err, invite.ErrMessage) {
			t.Errorf("%x as a request: %v", b, err)
		}
		if _, err := invite.DecodeAnswer(b); !errors.Is(err, invite.ErrMessage) {
			t.Errorf("%x as an answer: %v", b, err)
		}
	}
	// As many keys as an answer may have, each for one bench, fit.
	a := answer()
	a.Keys = slices.Repeat(a.Keys, events.MaxList)
	if b, err := a.Encode(); err != nil || len(b) > invite.MaxAnswer {
		t.Errorf("%d bytes, %v", len(b), err)
	}
}

// An id cut short is another id with zeros behind it, for a lenient reader.
func TestAShortKeyInARequestIsNotFilledUp(t *testing.T) {
	b := must(request().Encode())
	r := request()
	at := bytes.Index(b, r.Guest[:])
	short := slices.Concat(b[:at-1], []byte{31}, b[at:at+31], b[at+32:])
	if _, err := invite.DecodeRequest(short); !errors.Is(err, invite.ErrMessage) {
		t.Errorf("guest of 31 bytes: %v", err)
	}
}

// Bytes for ever: a bench that was installed last year asks this year's host.
func TestARequestEncodesAsItAlwaysDid(t *testing.T) {
	if got := hex.EncodeToString(must(request().Encode())); got != keptRequest {
		t.Errorf("encodes to %s", got)
	}
	if r := must(invite.DecodeRequest(must(hex.DecodeString(keptRequest)))); !reflect.DeepEqual(r, request()) {
		t.Errorf("reads %+v", r)
	}
}

func FuzzDecodeRequest(f *testing.F) {
	f.Add(must(request().Encode()))
	f.Add([]byte{0xa1, 0x01, 0x01})
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := invite.DecodeRequest(b)
		if err != nil {
			if !errors.Is(err, invite.ErrMessage) && !errors.Is(err, events.ErrTooLarge) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		_ = r.Verify(founding, r.Guest)
		if again := must(invite.DecodeRequest(must(r.Encode()))); !reflect.DeepEqual(again, r) {
			t.Fatalf("read as %+v and then as %+v", r, again)
		}
	})
}

func FuzzDecodeAnswer(f *testing.F) {
	f.Add(must(answer().Encode()))
	f.Add(must(must(invite.Refuse("no")).Encode()))
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := invite.DecodeAnswer(b)
		if err != nil {
			if !errors.Is(err, invite.ErrMessage) && !errors.Is(err, events.ErrTooLarge) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		if r, err := a.Verify(codeOf(7), idOf(joiner)); err == nil && a.Founding.Owner != idOf(owner) {
			t.Fatalf("admitted by another shop: %+v", r.Benches())
		}
		once := must(a.Encode())
		if twice := must(must(invite.DecodeAnswer(once)).Encode()); !bytes.Equal(once, twice) {
			t.Fatalf("written as %x and then %x", once, twice)
		}
	})
}

func TestAnAnswerTooLargeToSendIsRefused_F24(t *testing.T) {
	readers := make([]events.BenchID, 30)
	for i := range readers {
		readers[i] = idOf(must(events.BenchKeyOf(fill(byte(100 + i)))))
	}
	a := answer()
	a.Keys = slices.Repeat([]events.ShopKeySet{must(owner.SetKey(shop, 1, events.ShopKey(fill(9)), readers...))}, events.MaxList)
	if _, err := a.Encode(); !errors.Is(err, events.ErrTooLarge) {
		t.Errorf("got %v", err)
	}
}
