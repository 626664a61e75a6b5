package invite

import (
	"errors"
	"fmt"

	"oldhand/events"

	"github.com/fxamacker/cbor/v2"
)

// A request and an answer are CBOR maps with integer keys (RFC 8949, core
// deterministic). Key 1 is the version of both; another one is refused, since
// both sides are there to be upgraded.

const messageVersion = 1

// Limits, checked before a message is read.
const (
	// MaxRequest is the size of a request: fixed fields and a name.
	MaxRequest = 1 << 10

	// MaxAnswer is the size of an answer: a key set for one bench takes about
	// 300 bytes, and there are at most events.MaxList.
	MaxAnswer = 256 << 10
)

var (
	encoder = func() cbor.EncMode {
		m, err := cbor.CoreDetEncOptions().EncMode()
		if err != nil {
			panic(err) // the options are constants of this file
		}
		return m
	}()
	decoder = func() cbor.DecMode {
		m, err := cbor.DecOptions{DupMapKey: cbor.DupMapKeyEnforcedAPF, MaxNestedLevels: 8, MaxArrayElements: 1024, MaxMapPairs: 64,
			IndefLength: cbor.IndefLengthForbidden, TagsMd: cbor.TagsForbidden}.DecMode()
		if err != nil {
			panic(err) // the options are constants of this file
		}
		return m
	}()
)

// Errors of the two messages.
var (
	// ErrMessage is returned when bytes are not the message they should be.
	ErrMessage = errors.New("not a message of this version")

	// ErrNotMine is returned when a request is for another shop, owner or
	// guest than the host's, or not signed by the bench it names.
	ErrNotMine = errors.New("not a request to this shop by this guest")

	// ErrRefused is returned when the host says no, with its words.
	ErrRefused = errors.New("the host refused")

	// ErrNotAdmitted is returned when an answer does not prove that an owner
	// admitted this bench.
	ErrNotAdmitted = errors.New("the answer holds no admission of this bench")
)

func encodeMessage(what string, m any, invalid error, limit int) ([]byte, error) {
	if invalid != nil {
		return nil, invalid
	}
	b, err := encoder.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	if len(b) > limit {
		return nil, fmt.Errorf("%s: %d bytes, at most %d: %w", what, len(b), limit, events.ErrTooLarge)
	}
	return b, nil
}

func decodeMessage(what string, b []byte, limit int, m any) error {
	if len(b) > limit {
		return fmt.Errorf("%s: %d bytes, at most %d: %w", what, len(b), limit, events.ErrTooLarge)
	}
	if err := decoder.Unmarshal(b, m); err != nil {
		return fmt.Errorf("%s: %w: %v", what, ErrMessage, err)
	}
	return nil
}
