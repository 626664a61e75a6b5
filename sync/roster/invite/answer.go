package invite

import (
	"fmt"
	"unicode/utf8"

	"oldhand/events"
	"oldhand/sync/roster"
)

// Answer admits a bench, with what proves it, or refuses it with words.
type Answer struct {
	Version   uint                  `cbor:"1,keyasint"`
	Refused   string                `cbor:"2,keyasint,omitempty"` // why; then nothing else is said
	Founding  *events.ShopFounded   `cbor:"3,keyasint,omitempty"`
	Owners    []events.OwnerNamed   `cbor:"4,keyasint,omitempty"`
	Admission *events.BenchAdmitted `cbor:"5,keyasint,omitempty"`
	Keys      []events.ShopKeySet   `cbor:"6,keyasint,omitempty"`
}

// Admit makes the answer that admits.
func Admit(founding events.ShopFounded, owners []events.OwnerNamed, admission events.BenchAdmitted, keys []events.ShopKeySet) (Answer, error) {
	a := Answer{Version: messageVersion, Founding: &founding, Owners: owners, Admission: &admission, Keys: keys}
	return a, a.Validate()
}

// Refuse makes the answer that does not.
func Refuse(why string) (Answer, error) {
	a := Answer{Version: messageVersion, Refused: why}
	return a, a.Validate()
}

// Validate wants an admission with its founding, or a refusal and nothing else,
// each part by the rules of its kind.
func (a Answer) Validate() error {
	admits := a.Founding != nil && a.Admission != nil
	nothing := a.Founding == nil && a.Admission == nil && len(a.Owners) == 0 && len(a.Keys) == 0
	switch {
	case a.Version != messageVersion:
		return fmt.Errorf("join answer: version %d, want %d: %w", a.Version, messageVersion, ErrMessage)
	case len(a.Refused) > events.MaxWord || !utf8.ValidString(a.Refused):
		return fmt.Errorf("join answer: a refusal of %d bytes, at most %d of UTF-8: %w", len(a.Refused), events.MaxWord, ErrMessage)
	case (a.Refused == "") != admits || a.Refused != "" && !nothing:
		return fmt.Errorf("join answer: neither an admission nor a refusal: %w", ErrMessage)
	case len(a.Owners) > events.MaxList || len(a.Keys) > events.MaxList:
		return fmt.Errorf("join answer: %d owners and %d keys, at most %d: %w", len(a.Owners), len(a.Keys), events.MaxList, ErrMessage)
	}
	for _, b := range a.Bodies() {
		if err := b.Validate(); err != nil {
			return fmt.Errorf("join answer: %w: %w", ErrMessage, err)
		}
	}
	return nil
}

// Bodies are what the answer states; nothing for a refusal.
func (a Answer) Bodies() (list []events.Body) {
	if a.Founding == nil || a.Admission == nil {
		return nil
	}
	list = append(list, *a.Founding, *a.Admission)
	for _, o := range a.Owners {
		list = append(list, o)
	}
	for _, k := range a.Keys {
		list = append(list, k)
	}
	return list
}

// Encode gives the answer's bytes.
func (a Answer) Encode() ([]byte, error) {
	return encodeMessage("join answer", a, a.Validate(), MaxAnswer)
}

// DecodeAnswer reads an answer and holds it to its rules. It says nothing of
// whether it is true: see Verify.
func DecodeAnswer(b []byte) (a Answer, err error) {
	if err := decodeMessage("join answer", b, MaxAnswer, &a); err != nil {
		return Answer{}, err
	}
	return a, a.Validate()
}

// Verify checks that an owner of the shop that the code is for admitted the
// bench, and gives the roster as far as the answer states it. It trusts the
// host in nothing.
func (a Answer) Verify(code Code, bench events.BenchID) (roster.Roster, error) {
	if a.Refused != "" {
		return roster.Roster{}, fmt.Errorf("%w: %s", ErrRefused, a.Refused)
	}
	if err := a.Validate(); err != nil {
		return roster.Roster{}, err
	}
	if err := code.Check(*a.Founding); err != nil {
		return roster.Roster{}, err
	}
	r := roster.Of(a.Founding.Shop(), a.Bodies()...)
	if b, ok := r.Bench(bench); !ok || b.Retired {
		return roster.Roster{}, ErrNotAdmitted
	}
	return r, nil
}
