package nearby

import (
	"encoding/base32"
	"errors"
	"fmt"
	"strings"

	"oldhand/sync/segment"
)

// Service is what exchanges are asked for by (RFC 6763, section 7).
const Service = "_oldhand._tcp"

// Tag is the start of a shop's tag, as text: enough to pass by other shops'
// exchanges.
type Tag [8]byte

// TagOf is the start of a shop's tag.
func TagOf(shop segment.Tag) (t Tag) {
	copy(t[:], shop.String())
	return t
}

func (t Tag) String() string { return string(t[:]) }

// Pin is the start of the pin by which an exchange is known.
type Pin [16]byte

func (p Pin) String() string { return base32Low.EncodeToString(p[:]) }

// Sign is what a host shows of itself.
type Sign struct {
	Tag Tag
	Pin Pin
}

const (
	alphabet = "abcdefghijklmnopqrstuvwxyz234567"
	version  = "1"
)

var base32Low = base32.NewEncoding(alphabet).WithPadding(base32.NoPadding)

// texts writes the sign as the texts of a DNS record.
func (s Sign) texts() []string {
	return []string{"txtvers=" + version, "tag=" + s.Tag.String(), "pin=" + s.Pin.String()}
}

// errNotSign is returned when texts are not those of a sign.
var errNotSign = errors.New("not the sign of an exchange")

// readSign reads texts as anybody may have sent them. Keys it does not know
// are passed over, so that a later program can show more.
func readSign(texts []string) (s Sign, err error) {
	values, err := pairs(texts)
	if err != nil {
		return s, err
	}
	if v := values["txtvers"]; v != version {
		return s, fmt.Errorf("%w: version %.20q, want %s", errNotSign, v, version)
	}
	tag := values["tag"]
	if len(tag) != len(s.Tag) || strings.Trim(tag, alphabet) != "" {
		return s, fmt.Errorf("%w: tag %.20q", errNotSign, tag)
	}
	pin, err := base32Low.DecodeString(values["pin"])
	if err != nil || len(pin) != len(s.Pin) || Pin(pin).String() != values["pin"] {
		return s, fmt.Errorf("%w: pin %.40q", errNotSign, values["pin"])
	}
	copy(s.Tag[:], tag)
	return Sign{s.Tag, Pin(pin)}, nil
}

// pairs takes texts apart as RFC 6763, section 6.4, wants it: of a key that
// comes twice the first counts, case means nothing in keys, and a text without
// a key is no text.
func pairs(texts []string) (map[string]string, error) {
	if len(texts) > maxTexts {
		return nil, fmt.Errorf("%w: %d texts, at most %d", errNotSign, len(texts), maxTexts)
	}
	values := map[string]string{}
	for _, text := range texts {
		if len(text) > maxText {
			return nil, fmt.Errorf("%w: a text of %d bytes, at most %d", errNotSign, len(text), maxText)
		}
		key, value, _ := strings.Cut(text, "=")
		key = strings.ToLower(key)
		if _, twice := values[key]; key != "" && !twice {
			values[key] = value
		}
	}
	return values, nil
}
