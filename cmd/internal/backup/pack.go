package backup

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"
)

// Pack writes a backup of files, sealed where a passphrase is given. Told hears
// after each file how many bytes are packed, and may be nil.
func Pack(w io.Writer, c Card, files []File, passphrase string, told func(bytes int64)) (err error) {
	sealed := io.WriteCloser(keepOpen{w})
	if passphrase != "" {
		to, err := age.NewScryptRecipient(passphrase)
		if err != nil {
			return fmt.Errorf("seal the backup: %w", err)
		}
		if sealed, err = age.Encrypt(w, to); err != nil {
			return fmt.Errorf("seal the backup: %w", err)
		}
	}
	packed, err := zstd.NewWriter(sealed, zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(true))
	if err != nil {
		return err
	}
	t := tar.NewWriter(packed)
	err = pack(t, c, files, told)
	return errors.Join(err, t.Close(), packed.Close(), sealed.Close())
}

// keepOpen is a writer that its user closes.
type keepOpen struct{ io.Writer }

// Close does nothing.
func (keepOpen) Close() error { return nil }

func pack(t *tar.Writer, c Card, files []File, told func(int64)) error {
	if len(files) > mostFiles {
		return fmt.Errorf("%d files, at most %d", len(files), mostFiles)
	}
	files, err := held(files)
	if err != nil {
		return err
	}
	c.Format, c.Files, c.Bytes = format, len(files), 0
	for _, f := range files {
		c.Bytes += f.Size
	}
	made, err := time.Parse(time.RFC3339, c.Made)
	if err != nil {
		return err
	}
	card, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	if err := packBytes(t, cardName, append(card, '\n'), made); err != nil {
		return err
	}
	var sums bytes.Buffer
	done := int64(0)
	for _, f := range files {
		sum, err := packFile(t, f, made)
		if err != nil {
			return fmt.Errorf("pack %s: %w", f.Name, err)
		}
		fmt.Fprintf(&sums, "%x  %s\n", sum, f.Name)
		if done += f.Size; told != nil {
			told(done)
		}
	}
	return packBytes(t, sumsName, sums.Bytes(), made)
}

// smallFile is how large a file may be, in bytes, that is read before the card is made.
const smallFile = 16 << 10

// held reads the small files. Those of a folder are replaced whole while the bench is
// worked at, by longer or shorter ones: of one that was listed and then replaced, the
// card would say another size than is packed, and the end of a longer one be left out.
func held(files []File) ([]File, error) {
	list := slices.Clone(files)
	for i, f := range list {
		if f.Size > smallFile {
			continue
		}
		b, err := os.ReadFile(f.Path)
		if err != nil {
			return nil, fmt.Errorf("pack %s: %w", f.Name, err)
		}
		list[i].Size, list[i].held = int64(len(b)), b
	}
	return list, nil
}

func packBytes(t *tar.Writer, name string, b []byte, made time.Time) error {
	if err := t.WriteHeader(header(name, int64(len(b)), made)); err != nil {
		return err
	}
	_, err := t.Write(b)
	return err
}

func header(name string, size int64, made time.Time) *tar.Header {
	return &tar.Header{Typeflag: tar.TypeReg, Name: name, Size: size, Mode: 0o600, ModTime: made, Format: tar.FormatPAX}
}

func packFile(t *tar.Writer, f File, made time.Time) (sum []byte, err error) {
	if f.held != nil {
		sum := sha256.Sum256(f.held)
		return sum[:], packBytes(t, f.Name, f.held, made)
	}
	in, err := os.Open(f.Path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	if err := t.WriteHeader(header(f.Name, f.Size, made)); err != nil {
		return nil, err
	}
	h := sha256.New()
	n, err := io.Copy(io.MultiWriter(t, h), io.LimitReader(in, f.Size))
	if err == nil && n < f.Size {
		err = fmt.Errorf("it has %d bytes and had %d", n, f.Size)
	}
	return h.Sum(nil), err
}
