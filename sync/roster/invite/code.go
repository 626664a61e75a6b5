package invite

import (
	"bytes"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
)

// Pin is the start of the SHA-256 of a TLS public key.
type Pin [16]byte

// Secret is what a code proves.
type Secret [10]byte

// OwnerTag is the start of OwnerHash.
type OwnerTag [5]byte

// Code is a join code.
type Code struct {
	Pin       Pin
	Secret    Secret
	Owner     OwnerTag
	Addresses []string // host:port, at most MaxAddresses; may be told beside the code
}

const (
	// MaxAddresses is how many a code has: one for the wire, one for the air.
	MaxAddresses = 2

	// MaxHostName is the length of a host's name in a code. Longer names exist
	// and nobody types them.
	MaxHostName = 64

	version = 1
	fixed   = 1 + len(Pin{}) + len(Secret{}) + len(OwnerTag{})
)

// ErrNotCode is returned when what was typed is well spelt and no join code of
// a version this program knows.
var ErrNotCode = errors.New("not a join code of this version")

// PinOf is the pin of a public key as a certificate has it (SPKI, DER).
func PinOf(spki []byte) (p Pin) {
	h := sha256.Sum256(spki)
	copy(p[:], h[:])
	return p
}

// OwnerHash binds a code and a request to a shop and its founder's key.
func OwnerHash(founding events.ShopFounded) events.Hash {
	shop := founding.Shop()
	return sha256.Sum256(slices.Concat([]byte("oldhand invite owner 1\x00"), shop[:], founding.Owner[:]))
}

// TagOf is what a code holds of the owner.
func TagOf(founding events.ShopFounded) (t OwnerTag) {
	h := OwnerHash(founding)
	copy(t[:], h[:])
	return t
}

// ErrOtherOwner is returned when a founding is not of the shop and owner that
// the code is for.
var ErrOtherOwner = errors.New("another shop or owner than the join code is for")

// Check holds a shop's founding against the code.
func (c Code) Check(founding events.ShopFounded) error {
	if err := founding.Validate(); err != nil {
		return err
	}
	if TagOf(founding) != c.Owner {
		return ErrOtherOwner
	}
	return nil
}

// Login is the key with which the joiner logs in as the code's guest.
func (c Code) Login() (events.BenchKey, error) {
	info := slices.Concat([]byte("oldhand invite guest 1\x00"), c.Pin[:], c.Owner[:])
	seed, err := hkdf.Key(sha256.New, c.Secret[:], nil, string(info), 32)
	if err != nil {
		return events.BenchKey{}, fmt.Errorf("join code: %w", err)
	}
	return events.BenchKeyOf([32]byte(seed))
}

// encode gives the code's bytes.
func (c Code) encode() ([]byte, error) {
	if len(c.Addresses) > MaxAddresses {
		return nil, fmt.Errorf("join code: %d addresses, at most %d", len(c.Addresses), MaxAddresses)
	}
	b := []byte{version<<4 | byte(len(c.Addresses))}
	return appendAddresses(slices.Concat(b, c.Pin[:], c.Secret[:], c.Owner[:]), c.Addresses)
}

func appendAddresses(b []byte, addresses []string) (_ []byte, err error) {
	for _, a := range addresses {
		if b, err = appendAddress(b, a); err != nil {
			return nil, fmt.Errorf("code: address %q: %w", a, err)
		}
	}
	return b, nil
}

func decode(b []byte) (c Code, err error) {
	if len(b) < fixed || b[0]>>4 != version || b[0]&15 > MaxAddresses {
		return Code{}, ErrNotCode
	}
	addresses, rest := b[0]&15, b[1:]
	for _, dst := range [][]byte{c.Pin[:], c.Secret[:], c.Owner[:]} {
		rest = rest[copy(dst, rest):]
	}
	if c.Addresses, err = cutAddresses(rest, int(addresses)); err != nil {
		return Code{}, err
	}
	return c, nil
}

// cutAddresses reads so many addresses, and nothing behind them.
func cutAddresses(b []byte, n int) (list []string, err error) {
	for range n {
		var a string
		if a, b, err = cutAddress(b); err != nil {
			return nil, err
		}
		list = append(list, a)
	}
	if len(b) > 0 {
		return nil, ErrNotCode
	}
	return list, nil
}

const (
	isName = 1
	isIPv4 = 4
	isIPv6 = 6
)

// CheckAddress refuses what can't stand in a code: it wants host:port, the
// host an IP address without a zone or a name of letters, digits, dots and
// dashes.
func CheckAddress(a string) error {
	_, err := appendAddress(nil, a)
	return err
}

func appendAddress(b []byte, a string) ([]byte, error) {
	host, portText, err := net.SplitHostPort(a)
	if err != nil {
		return nil, errors.New("want host:port")
	}
	port, err := strconv.ParseUint(portText, 10, 16)
	if err != nil || port == 0 {
		return nil, fmt.Errorf("port %q, want 1 to 65535", portText)
	}
	ip, err := netip.ParseAddr(host)
	switch {
	case err != nil && isHostName(host):
		b = append(append(b, isName, byte(len(host))), strings.ToLower(host)...)
	case err != nil:
		return nil, fmt.Errorf("host %q is neither an IP address nor a name of at most %d bytes", host, MaxHostName)
	case ip.Zone() != "":
		return nil, fmt.Errorf("zone %q means nothing on another machine", ip.Zone())
	case ip.Unmap().Is4():
		b = append(append(b, isIPv4), ip.Unmap().AsSlice()...)
	default:
		b = append(append(b, isIPv6), ip.AsSlice()...)
	}
	return binary.BigEndian.AppendUint16(b, uint16(port)), nil
}

func isHostName(s string) bool {
	return s != "" && len(s) <= MaxHostName && strings.Trim(strings.ToLower(s), "abcdefghijklmnopqrstuvwxyz0123456789.-") == ""
}

// cutAddress takes an address off the front of b and refuses a second form of
// one.
func cutAddress(b []byte) (a string, rest []byte, err error) {
	from, size := 1, 0
	switch {
	case len(b) >= 2 && b[0] == isName:
		from, size = 2, int(b[1])
	case len(b) > 0 && b[0] == isIPv4:
		size = 4
	case len(b) > 0 && b[0] == isIPv6:
		size = 16
	}
	if size == 0 || len(b) < from+size+2 {
		return "", nil, ErrNotCode
	}
	host, end := string(b[from:from+size]), from+size+2
	if b[0] != isName {
		ip, _ := netip.AddrFromSlice(b[from : from+size]) // of 4 or 16 bytes
		host = ip.String()
	}
	a = net.JoinHostPort(host, strconv.Itoa(int(binary.BigEndian.Uint16(b[from+size:end]))))
	again, err := appendAddress(nil, a)
	if err != nil || !bytes.Equal(again, b[:end]) {
		return "", nil, ErrNotCode
	}
	return a, b[end:], nil
}
