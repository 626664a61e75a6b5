package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/sync/meet"

	"github.com/spf13/cobra"
)

func (e *env) addSync(root *cobra.Command) {
	group(root, "sync", e.sync(), e.host(), e.invite(), e.join(), e.bundle(), e.benches(), e.retire(), e.release(), e.forget(), e.conflicts(), e.settle(), e.ownerKey(), e.lan(), e.cluster())
}

// untilStopped is a context that ends when the person ends the command. A
// second Ctrl-C ends the program at once.
func (e *env) untilStopped() (context.Context, context.CancelFunc) {
	if e.opt.In != nil {
		return context.WithCancel(e.ctx)
	}
	ctx, stop := signal.NotifyContext(e.ctx, os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	e.opt.Stop = ctx.Done()
	return ctx, stop
}

func (e *env) sync() *cobra.Command {
	var watch bool
	var upTo int64
	c := &cobra.Command{Use: "sync [CODE] [ADDRESS...]", Short: "exchange with the other benches what each has", Args: args(0, -1, "[CODE] [ADDRESS...]"),
		Long: "Meet where the benches meet, give what is here and take what is there. A bench knows the\nplace from joining and from the last time. CODE is what oldhand host shows at another\nplace, or at one that was set up anew; ADDRESS is where a known one is now, if it moved,\nsuch as 192.168.1.20:4747. With neither, and nobody where it was, the local network is\nasked. With --watch it goes on until it is stopped; other commands can be used meanwhile.\nPhotos and recordings travel last, with the folder free for other commands: those up to\n16 MiB by themselves, larger ones with --files-up-to at the bench that has them and at the\none that wants them."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		ctx, stop := e.untilStopped()
		defer stop()
		dir, err := e.dir()
		if err != nil {
			return err
		}
		if watch {
			return app.Watch(ctx, dir, a, e.opt, func(m app.Met) { _ = e.answer(m, func() { e.tellMet(m) }) }, e.note)
		}
		return e.meet(ctx, dir, a, upTo<<20)
	}
	c.Flags().BoolVar(&watch, "watch", false, "go on until it is stopped")
	c.Flags().Int64Var(&upTo, "files-up-to", 0, "photos and recordings up to this size in `MiB`; 16 if it is not said")
	return c
}

// meet meets an exchange once.
func (e *env) meet(ctx context.Context, dir string, typed []string, upTo int64) error {
	r, err := app.Find(ctx, dir, typed, e.opt)
	if err != nil {
		return err
	}
	defer r.Close()
	var m app.Met
	err = e.write(func(s *app.Shop) (err error) {
		m, err = s.Meet(ctx, r, app.Patient, e.progressOf())
		return err
	})
	if err != nil {
		return err
	}
	m.Attached, err = app.Bring(ctx, m, r, upTo, e.bringProgress())
	return errors.Join(e.answer(m, func() { e.tellMet(m) }), err)
}

// progressOf tells now and then how far a long meeting is.
func (e *env) progressOf() func(meet.Progress) {
	next := time.Now().Add(2 * time.Second)
	return func(p meet.Progress) {
		if time.Now().After(next) {
			next = time.Now().Add(2 * time.Second)
			e.note(fmt.Sprintf("%s taken, %s given so far", events.Count(p.Took, "event"), events.Count(p.GaveEvents, "event")))
		}
	}
}

func (e *env) tellMet(m app.Met) {
	e.printf("met the others at %s: %s taken, %s given\n", m.With, events.Count(m.Took, "event"), events.Count(m.Gave, "event"))
	if m.Names+m.NamesGave > 0 {
		e.printf("  keys of customers' names: %d taken, %d given\n", m.Names, m.NamesGave)
	}
	e.tellBrought(m.Attached)
	for _, w := range m.WaitsFor {
		e.printf("  %s\n", w)
	}
	for _, w := range m.NotHeeded {
		e.printf("  %s\n", w)
	}
	switch {
	case !m.AllHere:
	case m.AllThere:
		e.printf("up to date: nothing is known of that is not here, and all that is here is there\n")
	default:
		e.printf("all that is known of is here; not all that is here is there yet: sync again later\n")
	}
}

func (e *env) host() *cobra.Command {
	var listen string
	var unannounced bool
	c := &cobra.Command{Use: "host", Short: "let the other benches meet at this one", Args: args(0, 0, ""),
		Long: "Let the other benches meet at this one, until it is stopped. Commands can be used on this\nbench meanwhile. New benches come in with: oldhand invite. Any bench can host: what it\ntakes is all filled in again from what the benches have. The local network is shown where\nthey meet, by a tag that names nobody, so that they find it when the address changes."}
	c.RunE = func(*cobra.Command, []string) error {
		dir, err := e.dir()
		if err != nil {
			return err
		}
		ctx, stop := e.untilStopped()
		defer stop()
		h, err := app.OpenHosting(ctx, dir, listen, e.opt, e.note)
		if err != nil {
			return err
		}
		said, unshow := h.Show(unannounced)
		err = e.answer(h.Hosted, func() {
			e.printf("hosting at %s; stop it with Ctrl-C\n", strings.Join(h.Hosted.Addresses, " and "))
			e.printf("%s\n", said)
			e.printf("let a new bench in, from another window: oldhand invite\n")
			e.printf("a bench that has not met the others here yet: oldhand sync %s\n", h.Hosted.Code)
		})
		return errors.Join(err, h.Run(ctx), unshow(), h.Close())
	}
	c.Flags().BoolVar(&unannounced, "unannounced", false, "do not show the local network that there is a place to meet")
	c.Flags().StringVar(&listen, "listen", "0.0.0.0:4747", "the `address` and port where the other benches find it; [::]:4747 is by IPv6 as well")
	return c
}

func (e *env) join() *cobra.Command {
	var bench string
	c := &cobra.Command{Use: "join CODE [ADDRESS...]", Short: "make this machine a bench of a shop", Args: args(1, -1, "CODE --bench NAME"),
		Long: "Make this machine a bench of the shop whose code was read out. Case, dashes and spaces in\nit mean nothing. ADDRESS is where the other machine is, if the code does not lead there\nand it is not found on the local network."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		if bench == "" {
			return &usage{errors.New("name the bench with --bench, such as --bench attic")}
		}
		dir, err := e.dir()
		if err != nil {
			return err
		}
		ctx, stop := e.untilStopped()
		defer stop()
		j, err := app.Join(ctx, dir, a, bench, e.opt)
		if err != nil {
			return err
		}
		return e.answer(j, func() {
			e.printf("this machine is bench %q of %s, in %s\n", j.Bench, j.Name, j.Folder)
			if j.Note == "" {
				e.tellMet(j.Met)
			} else {
				e.printf("%s\n", j.Note)
			}
			e.printf("next, whenever both are on: oldhand sync\n")
		})
	}
	c.Flags().StringVar(&bench, "bench", "", "the `name` of this bench")
	return c
}

func (e *env) bundle() *cobra.Command {
	c := &cobra.Command{Use: "bundle", Short: "carry what a bench has to another in a file"}
	var what app.Carry
	write := &cobra.Command{Use: "write FILE", Short: "write what this bench has into a file", Args: args(1, 1, "FILE [--since BUNDLE] [--no-names] [--photos]"),
		Long: "Write what this bench has into a file, sealed for the benches of this shop. With it go the\nkeys of customers' names, also into one with --since. With --no-names they stay here:\nwhoever reads the file sees customers' names sealed, unless the keys come another way.\nWith --photos the photos and recordings of this bench go into FILE.photos beside it, sealed\ntoo; who reads the bundle reads both where they lie together.",
		RunE: func(_ *cobra.Command, a []string) error {
			return e.write(func(s *app.Shop) error {
				b, err := s.WriteBundle(e.path(a[0]), app.Carry{Since: e.path(what.Since), NoNames: what.NoNames, Photos: what.Photos})
				if err != nil {
					return err
				}
				return e.answer(b, func() {
					e.printf("%s written: %s, %d bytes; only benches of this shop can read it\n", b.File, events.Count(int(b.Events), "event"), b.Bytes)
					e.printf("on the other bench: oldhand bundle read %s\n", filepath.Base(b.File))
					if b.Names > 0 {
						e.printf("with the keys of %s\n", events.Count(b.Names, "customer"))
					}
					if p := b.Photos; p != nil {
						e.printf("%s written beside it: %s, %d bytes; keep the two together\n", p.File, events.Count(p.Pieces, "photo or recording", "photos and recordings"), p.Bytes)
						for _, w := range p.Says() {
							e.printf("  %s\n", w)
						}
					}
					if b.Held > 0 {
						e.printf("%s held back: the bench that wrote them has to give them itself, for they can't be proven from here\n", events.Count(b.Held, "event"))
					}
				})
			})
		}}
	write.Flags().StringVar(&what.Since, "since", "", "only what the writer of this older `bundle` did not have")
	write.Flags().BoolVar(&what.NoNames, "no-names", false, "leave out the keys of customers' names")
	write.Flags().BoolVar(&what.Photos, "photos", false, "the photos and recordings too, in FILE.photos")
	read := &cobra.Command{Use: "read FILE", Short: "take in what a file holds", Args: args(1, 1, "FILE"),
		RunE: func(_ *cobra.Command, a []string) error {
			return e.write(func(s *app.Shop) error {
				m, err := s.ReadBundle(e.path(a[0]), e.note)
				if err != nil {
					return err
				}
				return e.answer(m, func() {
					e.printf("%s read: %s taken\n", m.With, events.Count(m.Took, "event"))
					if m.Names > 0 {
						e.printf("the keys of %s taken\n", events.Count(m.Names, "customer"))
					}
					e.tellBrought(m.Attached)
					for _, w := range append(m.WaitsFor, m.NotHeeded...) {
						e.printf("  %s\n", w)
					}
				})
			})
		}}
	c.AddCommand(write, read)
	return c
}

func (e *env) benches() *cobra.Command {
	return &cobra.Command{Use: "benches", Short: "who belongs to the shop, and who has what", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.read(func(s *app.Shop) error {
			b, err := s.Benches()
			if err != nil {
				return err
			}
			return e.answer(b, func() { e.tellBenches(b) })
		})
	}}
}

func (e *env) tellBenches(b app.Benches) {
	rows := [][]string{{"bench", "tags", "events here", "last recorded", ""}}
	for _, x := range b.Benches {
		mark := ""
		switch {
		case x.Here:
			mark = "this bench"
		case x.Retired:
			mark = "retired"
		}
		rows = append(rows, []string{x.Name, fmt.Sprint(x.Number), fmt.Sprint(x.Events), x.Last, mark})
	}
	for _, line := range columns(rows) {
		e.printf("%s\n", line)
	}
	e.printf("%s\n", b.MetSays)
	for _, x := range b.Benches {
		for _, said := range x.Says {
			e.printf("%s: %s\n", x.Name, said)
		}
	}
	for _, said := range b.Says {
		e.printf("%s\n", said)
	}
	for _, n := range b.Notes {
		e.printf("note: %s\n", n)
	}
}

func (e *env) retire() *cobra.Command {
	var why string
	c := &cobra.Command{Use: "retire BENCH", Short: "end a bench: a laptop that was lost, sold or given up", Args: args(1, 1, "BENCH"),
		Long: "End a bench. What of it is here counts, on every bench alike; what it recorded besides, or\nrecords from here on, does not, and is kept aside where it turns up. The benches seal with\na new key from here on."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		return e.write(func(s *app.Shop) error {
			res, err := s.Retire(a[0], why)
			if err != nil {
				return err
			}
			return e.answer(res, func() {
				e.printf("bench %s is retired; %s of it count\n", res.Bench, events.Count(int(res.Events), "event"))
				for _, n := range res.Notes {
					e.printf("  %s\n", n)
				}
				e.printf("the other benches hear of it when they meet: oldhand sync\n")
			})
		})
	}
	c.Flags().StringVar(&why, "why", "", "the `reason`")
	return c
}

func (e *env) conflicts() *cobra.Command {
	return &cobra.Command{Use: "conflicts", Short: "what two benches said differently without seeing each other", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.read(func(s *app.Shop) error {
			list, err := s.Conflicts()
			if err != nil {
				return err
			}
			return e.answer(list, func() {
				if len(list) == 0 {
					e.printf("nothing is in conflict\n")
				}
				for _, u := range list {
					e.printf("%s  %s\n", u.Tag, u.Name)
					for _, c := range u.Conflicts {
						e.printf("  entry %s; settle it: oldhand settle %s --keep N\n", c.Fact[len(c.Fact)-6:], u.Tag)
						e.tellVersions(c)
					}
				}
			})
		})
	}}
}

// tellVersions numbers the versions in conflict, the one that is shown first.
func (e *env) tellVersions(c app.PastConflict) {
	for i, v := range c.Versions {
		mark := ""
		if i == 0 {
			mark = " (shown meanwhile)"
		}
		e.printf("    %d  %s  %s%s\n", i+1, day(v.At), strings.TrimSpace(v.By+"  "+v.Line), mark)
	}
}

func (e *env) settle() *cobra.Command {
	var entry, keep, why string
	c := e.act("settle UNIT", "choose one of the versions in conflict", 1, 1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		if keep == "" {
			return app.Saved{}, &usage{errors.New("say with --keep which version, such as --keep 2; see them with: oldhand conflicts")}
		}
		return s.Settle(a[0], entry, keep, why, w)
	})
	c.Flags().StringVar(&keep, "keep", "", "the `version` to keep, by its number as shown")
	c.Flags().StringVar(&entry, "entry", "", "the `entry` in conflict, where the unit has several")
	c.Flags().StringVar(&why, "why", "", "the reason")
	return c
}

func (e *env) ownerKey() *cobra.Command {
	c := &cobra.Command{Use: "owner-key", Short: "a second owner's key for the drawer, and taking it out again"}
	spare := &cobra.Command{Use: "spare NAME", Short: "make an owner's key to print; it is written nowhere", Args: args(1, 1, "NAME"), RunE: func(_ *cobra.Command, a []string) error {
		return e.write(func(s *app.Shop) error {
			k, err := s.Spare(a[0])
			if err != nil {
				return err
			}
			return e.answer(k, func() {
				e.printf("print this and keep it in another place; it is shown once and written nowhere:\n\n  %s\n\n", k.Key)
				e.printf("if this laptop is lost, type it on another bench: oldhand owner-key use\n")
				e.printf("whoever has it can let benches in and retire them\n")
			})
		})
	}}
	use := &cobra.Command{Use: "use", Short: "read an owner's key as it was printed, from standard input", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.write(func(s *app.Shop) error {
			if err := s.UseOwnerKey(e.in); err != nil {
				return err
			}
			return e.answer(struct {
				Owner bool `json:"owner"`
			}{true}, func() { e.printf("this bench can do what an owner does\n") })
		})
	}}
	c.AddCommand(spare, use)
	return c
}
