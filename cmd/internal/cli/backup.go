package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

const backupHelp = `Keep a copy of this bench in another place, and make a bench out of it again.

  oldhand backup write /media/stick/front.backup --seal-with passphrase.txt
  oldhand backup check /media/stick/front.backup --seal-with passphrase.txt
  oldhand backup restore /media/stick/front.backup --shop NEW-FOLDER

A backup holds the events, the photos and recordings that are here, and the keys of
this bench, the owner's too where it is here: whoever has the file is this bench.
Sealed, it takes the passphrase as well; nobody can open it without. It is an age file
(where it is sealed) of a Zstandard file of a tape archive. A customer who is forgotten
stays in backups made before.`

func (e *env) backup() *cobra.Command {
	c := &cobra.Command{Use: "backup", Short: "keep a copy of this bench in another place, and make a bench of it again", Long: backupHelp}
	var sealWith string
	c.PersistentFlags().StringVar(&sealWith, "seal-with", "", "the `file` whose first line is the passphrase")
	pass := func() (string, error) {
		if sealWith == "" {
			return "", nil
		}
		return firstLine(e.path(sealWith))
	}
	c.AddCommand(e.backupWrite(pass), e.backupCheck(pass), e.backupRestore(pass))
	return c
}

// firstLine reads a passphrase.
func firstLine(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	line, err := bufio.NewReader(io.LimitReader(f, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	if line = strings.TrimRight(line, "\r\n"); line == "" {
		return "", fmt.Errorf("%s: its first line is to be the passphrase, and is empty", path)
	}
	return line, nil
}

func (e *env) backupWrite(pass func() (string, error)) *cobra.Command {
	unproven := false
	c := &cobra.Command{Use: "write FILE", Short: "write this bench into a file, and try the file out", Args: args(1, 1, "FILE [--seal-with FILE]"),
		RunE: func(_ *cobra.Command, a []string) error {
			word, err := pass()
			if err != nil {
				return err
			}
			return e.write(func(s *app.Shop) error {
				p := e.progress("kilobytes", 0)
				b, err := s.BackUp(e.path(a[0]), word, !unproven, func(done, of int64) {
					p.total = int(of >> 10)
					p.at(int(done >> 10))
				})
				p.end(err == nil)
				if err != nil {
					return err
				}
				return e.answer(b, func() { e.tellBackedUp(b) })
			})
		}}
	c.Flags().BoolVar(&unproven, "unproven", false, "don't unpack and read it whole afterwards")
	return c
}

func (e *env) tellBackedUp(b app.BackedUp) {
	e.printf("%s written: %s, %s, %s\n", b.File, events.Count(int(b.Events), "event"), events.Count(b.Files, "file"), app.SizeText(b.Size))
	switch {
	case b.Proven != nil:
		e.printf("tried out: unpacked beside, every chain, photo and answer in it read; digest %s\n", b.Proven.Digest)
	default:
		e.printf("not tried out; do so with: oldhand backup check %s\n", b.File)
	}
	if !b.Sealed {
		e.printf("it is not sealed: whoever has the file has this bench's keys and can read customers' names\n")
	}
}

func (e *env) backupCheck(pass func() (string, error)) *cobra.Command {
	return ownProcess(&cobra.Command{Use: "check FILE", Short: "try a backup out: unpack it beside, read all of it, throw that away", Args: args(1, 1, "FILE [--seal-with FILE]"),
		RunE: func(_ *cobra.Command, a []string) error {
			word, err := pass()
			if err != nil {
				return err
			}
			r, err := app.CheckBackup(e.path(a[0]), word, nil)
			if err != nil {
				return err
			}
			if dir, err := e.dir(); err == nil {
				if err := app.NoteChecked(dir, r, e.path(a[0]), e.now()); err != nil {
					e.note("it can't be remembered that it was tried out: " + err.Error())
				}
			}
			return e.answer(r, func() {
				e.printf("%s is sound: bench %s of %s, made %s, %s, %s\n", a[0], r.Bench, r.Name, r.Made, events.Count(int(r.Events), "event"), photosHere(r.Proven))
				e.printf("digest %s\n", r.Proven.Digest)
			})
		}}, "it is about a file, and needs no folder")
}

func photosHere(v app.Verified) string {
	return events.Count(v.Attached.Here, "photo or recording", "photos and recordings")
}

func (e *env) backupRestore(pass func() (string, error)) *cobra.Command {
	return &cobra.Command{Use: "restore FILE", Short: "make a bench's folder out of a backup", Args: args(1, 1, "FILE --shop FOLDER [--seal-with FILE]"),
		RunE: func(_ *cobra.Command, a []string) error {
			word, err := pass()
			if err != nil {
				return err
			}
			dir, err := e.dir()
			if err != nil {
				return err
			}
			p := e.progress("kilobytes", 0)
			r, err := app.RestoreBackup(e.path(a[0]), dir, word, e.opt, func(done, of int64) {
				p.total = int(of >> 10)
				p.at(int(done >> 10))
			})
			p.end(err == nil)
			if err != nil {
				return err
			}
			return e.answer(r, func() {
				e.printf("bench %s of %s is in %s as it was on %s: %s, %s\n", r.Bench, r.Name, dir, r.Made, events.Count(int(r.Events), "event"), photosHere(r.Proven))
				e.printf("digest %s\n", r.Proven.Digest)
				if r.Lost != "" {
					e.note(r.Lost + ": the others may have the rest")
				}
				e.printf("what it recorded after that and gave to others comes back at the next oldhand sync\n")
				e.printf("work in one of them only: the folder that the backup was made of is this bench as well\n")
			})
		}}
}
