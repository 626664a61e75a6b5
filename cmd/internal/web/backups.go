package web

import (
	"fmt"
	"path/filepath"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// copies is the page of backups.
type copies struct {
	Stands  app.Finding // how this folder stands with them
	Last    string      // what is remembered of the last
	Going   goingOn
	Said    []notice // what came of the last one that was written or tried out here
	Error   *trouble
	Write   *form
	Drill   *form
	Command string // makes a bench of one
}

// copied is what came of writing a backup or of trying one out.
type copied struct {
	written *app.BackedUp
	drilled *app.Drilled
}

func backups(q *request) error {
	v, err := q.copies()
	if err != nil {
		return err
	}
	return q.show("backups", "Backups", v)
}

func (q *request) copies() (*copies, error) {
	b := q.shop.Backups()
	v := &copies{Stands: q.shop.BackupFinding()}
	v.Stands.Says = capital(v.Stands.Says)
	st := q.s.copying.stands()
	v.Going = copyingOf(st)
	if st.Failed != nil {
		v.Error = troubleOf(st.Failed)
	}
	if st.Came != nil {
		v.Said = st.Came.said()
	}
	file := ""
	if b.Last != nil {
		file, v.Last = b.Last.File, lastWords(*b.Last)
	}
	v.Command = fmt.Sprintf("oldhand backup restore %s --shop NEW-FOLDER", orFile(file))
	if st.Running == "" {
		v.Write, v.Drill = q.writeForm(file), drillForm(file)
	}
	return v, nil
}

func orFile(file string) string {
	if file == "" {
		return "FILE"
	}
	return file
}

func lastWords(l app.LastBackup) string {
	words := fmt.Sprintf("The last one that was written, %s, is of %s and holds %s", l.File, l.Day(), events.Count(int(l.Events), "event"))
	if l.Digest == "" {
		return words + ". It was not tried out."
	}
	return fmt.Sprintf("%s. It was tried out on %s; its digest is %.16s...", words, choose(l.Checked != "", l.Tried(), l.Day()), l.Digest)
}

// writeForm proposes a file beside the last one.
func (q *request) writeForm(last string) *form {
	file := &field{Name: "file", Label: "Into which file", Required: true, Wide: true, Hint: "its whole path, on another disk than this folder's: a stick, or a drive that lies elsewhere. It must not be there yet"}
	if last != "" {
		file.Value = filepath.Join(filepath.Dir(last), fmt.Sprintf("%s-%s.backup", fileWord(q.shop.Card.Bench), q.shop.Day()))
	}
	return &form{ID: "write", Action: "/backups/write", Submit: "Write it and try it out", Once: newOnce(), Fields: []*field{file,
		{Name: "passphrase", Label: "Passphrase", Kind: "password", Hint: "seals the file; without one, whoever has the file is this bench and reads customers' names. Nobody can help who lost it"},
		{Name: "again", Label: "The same once more", Kind: "password"}}}
}

func drillForm(last string) *form {
	return &form{ID: "drill", Action: "/backups/drill", Submit: "Try it out", Once: newOnce(), Fields: []*field{
		{Name: "file", Label: "Which file", Required: true, Wide: true, Value: last, Hint: "its whole path; there must be room beside it to unpack it"},
		{Name: "passphrase", Label: "Passphrase", Kind: "password", Hint: "where it is sealed"}}}
}

// copiesDeed begins what one of the forms is for.
func (q *request) copiesDeed(which func(*copies) *form, do func(f *form, path, passphrase string) error) error {
	v, err := q.copies()
	if err != nil {
		return err
	}
	f := which(v)
	if f == nil {
		return q.goTo("/backups", notice{Words: "That has to wait until what goes on is through.", Warn: true})
	}
	return q.post(f, func() (string, []notice, error) {
		path := f.value("file")
		if !filepath.IsAbs(path) {
			return "", nil, &app.Wrong{What: "file", Why: "want the whole path, from the root of the disk"}
		}
		return "/backups", nil, do(f, filepath.Clean(path), f.value("passphrase"))
	}, func() error {
		for _, x := range f.Fields {
			if x.Kind == "password" {
				x.Value = "" // no page shows it again
			}
		}
		return q.show("backups", "Backups", v)
	})
}

func backupWrite(q *request) error {
	shop := q.shop.Lend()
	return q.copiesDeed(func(v *copies) *form { return v.Write }, func(f *form, path, passphrase string) error {
		if passphrase != f.value("again") {
			return &app.Wrong{What: "again", Why: "is not the same passphrase"}
		}
		return q.s.copying.begin(path+" is written", shop.Moment, func(told func(done, of int64)) (copied, error) {
			b, err := shop.BackUp(path, passphrase, true, told)
			return copied{written: &b}, err
		})
	})
}

func backupDrill(q *request) error {
	shop := q.shop.Lend()
	return q.copiesDeed(func(v *copies) *form { return v.Drill }, func(_ *form, path, passphrase string) error {
		return q.s.copying.begin(path+" is unpacked", shop.Moment, func(told func(done, of int64)) (copied, error) {
			d, err := shop.Drill(path, passphrase, told)
			return copied{drilled: &d}, err
		})
	})
}

// backupsGoing draws how far it is. When it is through, the page is drawn anew.
func backupsGoing(q *request) error {
	g := copyingOf(q.s.copying.stands())
	if len(g.Says) == 0 || !q.wantsPart() {
		return q.goTo("/backups")
	}
	return q.part("backups", "going", g)
}

func copyingOf(st errandState[copied]) (g goingOn) {
	switch {
	case st.Running == "":
	case st.Of > 0 && st.Done >= st.Of:
		g.Says = []string{capital(st.Running) + ": that is done, and what came out is read from its first byte to its last."}
	case st.Of > 0:
		g.Says = []string{fmt.Sprintf("%s: %s of %s.", capital(st.Running), app.SizeText(st.Done), app.SizeText(st.Of))}
	default:
		g.Says = []string{capital(st.Running) + "."}
	}
	return g
}

// said is what came of it, in words.
func (c copied) said() (list []notice) {
	if b := c.written; b != nil {
		list = append(list, notice{Words: fmt.Sprintf("%s is written: %s, %s, %s.", b.File, events.Count(int(b.Events), "event"), events.Count(b.Files, "file"), app.SizeText(b.Size))})
		if b.Proven != nil {
			list = append(list, notice{Words: "It was tried out: unpacked beside, and every chain, photo and answer in it read. " + sawWords(*b.Proven)})
		}
		if !b.Sealed {
			list = append(list, notice{Words: "It is not sealed: whoever has the file has this bench's keys and can read customers' names.", Warn: true})
		}
	}
	if d := c.drilled; d != nil {
		list = append(list, notice{Words: fmt.Sprintf("A bench was made of the backup of %s in a passing folder, read whole, and thrown away again. %s", d.At(), sawWords(d.Proven))})
		list = append(list, drillWords(*d)...)
	}
	return list
}

func sawWords(v app.Verified) string {
	return fmt.Sprintf("In it are %s in %s, %s with %s, %s. Digest %.16s...", events.Count(int(v.Events), "event"), events.Count(v.Feeds, "run"), events.Count(v.Units, "unit"),
		events.Count(v.Visits, "visit"), events.Count(v.Attached.Here, "photo or recording", "photos and recordings"), v.Digest)
}

// drillWords hold it beside this folder.
func drillWords(d app.Drilled) (list []notice) {
	var same []string
	if d.Agrees {
		same = append(same, "All that it holds stands the same here, event for event")
	}
	if d.Was != "" && d.Was == d.Proven.Digest {
		same = append(same, "the digest is the one that it had when it was tried out before")
	}
	if len(same) > 0 {
		list = append(list, notice{Words: capital(strings.Join(same, "; ")) + "."})
	}
	if !d.Agrees {
		list = append(list, notice{Words: "It holds something that is not here: this folder was put back to an older copy, or another machine works with this bench's key. Keep the file, and meet the others first.", Warn: true})
	}
	if d.Was != "" && d.Was != d.Proven.Digest {
		list = append(list, notice{Words: "Its digest is another than when it was tried out before: another version of the program made the answers then, or the file is another one.", Warn: true})
	}
	if d.Since > 0 {
		list = append(list, notice{Words: fmt.Sprintf("%s came here since, and %s in it.", capital(events.Count(int(d.Since), "event")), choose(d.Since == 1, "is not", "are not"))})
	}
	return list
}
