package projections

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
)

// Digest stands for a set of views, in whatever order they were added: the sum
// of the hashes of all, for each family of keys on its own.
type Digest map[byte]*[4]uint64

// Add adds one view.
func (d Digest) Add(k, v []byte) error {
	if len(k) == 0 {
		return errView
	}
	sum := d[k[0]]
	if sum == nil {
		sum = new([4]uint64)
		d[k[0]] = sum
	}
	buf := binary.AppendUvarint(make([]byte, 0, len(k)+len(v)+4), uint64(len(k)))
	h := sha256.Sum256(append(append(buf, k...), v...))
	for i := range sum {
		sum[i] += binary.LittleEndian.Uint64(h[i*8:])
	}
	return nil
}

// Differs names the families in which two sets differ.
func (d Digest) Differs(o Digest) []string {
	var names []string
	for _, f := range families {
		a, b := d[f.key], o[f.key]
		if (a == nil) != (b == nil) || a != nil && *a != *b {
			names = append(names, f.name)
		}
	}
	return names
}

// String is one hash of all sums.
func (d Digest) String() string {
	var b []byte
	for _, f := range families {
		b = append(b, f.key)
		if s := d[f.key]; s != nil {
			for _, n := range s {
				b = binary.LittleEndian.AppendUint64(b, n)
			}
		}
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

var families = []struct {
	key  byte
	name string
}{{'g', "serial fragments"}, {'h', "histories"}, {'l', "lookup words"}, {'o', "orders to forget"}, {'p', "persons"}, {'t', "tallies"}}

// DigestViews sums up the views as they are kept.
func DigestViews(r Reader) (Digest, error) {
	d := Digest{}
	err := r.Scan([]byte{0}, []byte{0xff}, func(k, v []byte) (bool, error) { return true, d.Add(k, v) })
	if err != nil {
		return nil, fmt.Errorf("digest of the projections: %w", err)
	}
	return d, nil
}
