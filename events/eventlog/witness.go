package eventlog

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"

	"oldhand/events"
)

// Witness is what was last saved, kept outside the store: a store that was
// put back from a copy, or that lost the end of its log, does not match it.
// It is written after each commit without a sync of its own. If the machine
// loses power it may be behind or torn; both only mean that the next write
// begins a new feed, which it does after a start of the machine anyway.
type Witness struct {
	Boot        [16]byte // hash of the machine's boot id
	Incarnation events.Incarnation
	Seq         uint64
	Hash        events.Hash
}

// The witness file is these bytes and nothing else: magic, boot, incarnation,
// seq, hash, CRC-32C of all before it.
const (
	witnessMagic = "ohwit01\n"
	witnessSize  = len(witnessMagic) + 16 + 16 + 8 + 32 + 4
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func (w Witness) bytes() []byte {
	b := append(make([]byte, 0, witnessSize), witnessMagic...)
	b = append(append(b, w.Boot[:]...), w.Incarnation[:]...)
	b = append(binary.BigEndian.AppendUint64(b, w.Seq), w.Hash[:]...)
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

func readWitness(b []byte) (w Witness, ok bool) {
	if len(b) != witnessSize || string(b[:len(witnessMagic)]) != witnessMagic {
		return w, false
	}
	body, sum := b[:witnessSize-4], binary.BigEndian.Uint32(b[witnessSize-4:])
	if crc32.Checksum(body, castagnoli) != sum {
		return w, false
	}
	b = b[len(witnessMagic):]
	copy(w.Boot[:], b)
	copy(w.Incarnation[:], b[16:])
	w.Seq = binary.BigEndian.Uint64(b[32:])
	copy(w.Hash[:], b[40:])
	return w, true
}

// witnessFile keeps a witness in a small file, rewritten in place.
type witnessFile struct {
	path string
	f    *os.File
}

// load reads the witness; ok is false where there is none or it is torn.
func (wf *witnessFile) load() (w Witness, ok bool, err error) {
	if wf.path == "" {
		return w, false, nil
	}
	b, err := os.ReadFile(wf.path)
	if errors.Is(err, fs.ErrNotExist) {
		return w, false, nil
	}
	if err != nil {
		return w, false, err
	}
	w, ok = readWitness(b)
	return w, ok, nil
}

// save writes the witness. Failing is not the commit's failure: the file is
// then behind, and the next opening begins a new feed.
func (wf *witnessFile) save(w Witness) error {
	if wf.path == "" {
		return nil
	}
	if wf.f == nil {
		if err := os.MkdirAll(filepath.Dir(wf.path), 0o700); err != nil {
			return err
		}
		f, err := os.OpenFile(wf.path, os.O_RDWR|os.O_CREATE, 0o600)
		if err != nil {
			return err
		}
		wf.f = f
	}
	_, err := wf.f.WriteAt(w.bytes(), 0)
	return err
}

// drop takes the file away after it could not be written: an old witness would
// vouch for an old copy of the store.
func (wf *witnessFile) drop() {
	_ = wf.close()
	_ = os.Remove(wf.path)
}

func (wf *witnessFile) close() error {
	if wf.f == nil {
		return nil
	}
	err := errors.Join(wf.f.Sync(), wf.f.Close())
	wf.f = nil
	return err
}
