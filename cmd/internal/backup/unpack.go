package backup

import (
	"archive/tar"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"filippo.io/age"
	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/klauspost/compress/zstd"
)

// Unpack puts the files of a backup into a folder that is not there yet, and gives
// its card. Told hears after each file how many bytes are unpacked, and may be nil.
func Unpack(r io.Reader, dir, passphrase string, told func(done, of int64)) (c Card, err error) {
	if _, err := os.Lstat(dir); err == nil {
		return c, fmt.Errorf("%s is there already", dir)
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o700); err != nil {
		return c, err
	}
	beside, err := os.MkdirTemp(filepath.Dir(dir), filepath.Base(dir)+".coming-*")
	if err != nil {
		return c, err
	}
	u := unpacking{dir: beside, sums: map[string][sha256.Size]byte{}, told: told}
	err = u.all(r, passphrase)
	if err == nil {
		err = errors.Join(u.syncFolders(), os.Rename(beside, dir), syncFolder(filepath.Dir(dir)))
	}
	if err != nil {
		return u.card, errors.Join(err, os.RemoveAll(beside))
	}
	return u.card, nil
}

// ReadCard gives the card of a backup without what comes behind it.
func ReadCard(r io.Reader, passphrase string) (Card, error) {
	a, err := open(r, passphrase)
	if err != nil {
		return Card{}, err
	}
	defer a.bytes.Close()
	return readCard(a.Reader)
}

// archive is what is in a backup.
type archive struct {
	*tar.Reader
	bytes *zstd.Decoder // that it is read from
}

func open(r io.Reader, passphrase string) (a archive, err error) {
	buffered := bufio.NewReader(r)
	start, _ := buffered.Peek(len(ageStart))
	r = buffered
	switch {
	case string(start) == ageStart && passphrase == "":
		return a, ErrSealed
	case string(start) == ageStart:
		key, err := age.NewScryptIdentity(passphrase)
		if err != nil {
			return a, err
		}
		if r, err = age.Decrypt(buffered, key); err != nil {
			var none *age.NoIdentityMatchError
			if errors.As(err, &none) {
				return a, ErrPassphrase
			}
			return a, broken(err)
		}
	case !bytes.HasPrefix(start, zstdStart):
		return a, ErrOther
	}
	unpacked, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(128<<20))
	if err != nil {
		return a, err
	}
	return archive{tar.NewReader(unpacked), unpacked}, nil
}

// What the two forms begin with: C2SP age, "Header", and RFC 8878, 3.1.1.
const ageStart = "age-encryption.org/v1\n"

var zstdStart = []byte{0x28, 0xb5, 0x2f, 0xfd}

func readCard(t *tar.Reader) (c Card, err error) {
	h, err := t.Next()
	if err != nil {
		return c, broken(err)
	}
	if h.Name != cardName || h.Size > mostCard {
		return c, ErrOther
	}
	b, err := io.ReadAll(t)
	if err != nil {
		return c, broken(err)
	}
	if err := json.Unmarshal(b, &c); err != nil {
		return c, broken(err)
	}
	if c.Format > format {
		return c, ErrNewer
	}
	if c.Format != format || c.Files < 0 || c.Files > mostFiles || c.Bytes < 0 {
		return c, ErrOther
	}
	return c, nil
}

func broken(err error) error { return fmt.Errorf("%w: %w", ErrBroken, err) }

// unpacking is a backup on its way into a folder.
type unpacking struct {
	dir  string
	card Card
	sums map[string][sha256.Size]byte
	done int64
	told func(done, of int64)
}

func (u *unpacking) all(r io.Reader, passphrase string) error {
	a, err := open(r, passphrase)
	if err != nil {
		return err
	}
	defer a.bytes.Close()
	t := a.Reader
	if u.card, err = readCard(t); err != nil {
		return err
	}
	for {
		h, err := t.Next()
		if err != nil {
			return broken(err) // also at its end, which the sums come before
		}
		if h.Name == sumsName {
			return errors.Join(u.check(t, h.Size), a.ends())
		}
		if err := u.one(t, h); err != nil {
			return err
		}
	}
}

// one unpacks one file.
func (u *unpacking) one(t *tar.Reader, h *tar.Header) error {
	name := filepath.FromSlash(h.Name)
	if h.Typeflag != tar.TypeReg || !filepath.IsLocal(name) || strings.Contains(h.Name, "\\") {
		return broken(fmt.Errorf("%q is not a file of a folder", h.Name))
	}
	if _, twice := u.sums[h.Name]; twice || len(u.sums) >= u.card.Files || u.done+h.Size > u.card.Bytes {
		return broken(fmt.Errorf("%q is more than the card says", h.Name))
	}
	path := filepath.Join(u.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(f, sum), source{t})
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("unpack %s: %w", h.Name, err)
	}
	u.sums[h.Name] = [sha256.Size]byte(sum.Sum(nil))
	if u.done += n; u.told != nil {
		u.told(u.done, u.card.Bytes)
	}
	return nil
}

// source marks errors of the archive, apart from those of the disk.
type source struct{ r io.Reader }

// Read reads.
func (s source) Read(b []byte) (int, error) {
	n, err := s.r.Read(b)
	if err != nil && !errors.Is(err, io.EOF) {
		err = broken(err)
	}
	return n, err
}

// check compares what was unpacked with the sums.
func (u *unpacking) check(r io.Reader, size int64) error {
	if size > mostSums {
		return broken(fmt.Errorf("%d bytes of sums", size))
	}
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<16)
	n := 0
	for ; lines.Scan(); n++ {
		sum, name, ok := strings.Cut(lines.Text(), "  ")
		if have, here := u.sums[name]; !ok || !here || sum != fmt.Sprintf("%x", have) {
			return broken(fmt.Errorf("%q is not as it was packed", name))
		}
	}
	if err := lines.Err(); err != nil {
		return broken(err)
	}
	if n != len(u.sums) || n != u.card.Files || u.done != u.card.Bytes {
		return broken(fmt.Errorf("%d files with %d bytes, of %d with %d", len(u.sums), u.done, u.card.Files, u.card.Bytes))
	}
	return nil
}

// ends wants nothing behind the sums, and reads to the end of what is around them,
// which has checksums of its own.
func (a archive) ends() error {
	if _, err := a.Next(); err == nil {
		return broken(errors.New("there is more behind the sums"))
	} else if !errors.Is(err, io.EOF) {
		return broken(err)
	}
	if n, err := io.Copy(io.Discard, a.bytes); n > 0 || err != nil {
		return broken(fmt.Errorf("%d bytes behind its end, %v", n, err))
	}
	return nil
}

// syncFolders syncs every folder that was made.
func (u *unpacking) syncFolders() error {
	return filepath.WalkDir(u.dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		return syncFolder(path)
	})
}

// syncFolder goes by the store engine's file system, which knows where a folder
// can't be synced and need not be.
func syncFolder(path string) error {
	d, err := vfs.Default.OpenDir(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
