package cli

import (
	"fmt"
	"os"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

// cluster is meeting on servers that somebody runs for several shops: two commands
// for a bench, and four for who runs them, which need no shop.
func (e *env) cluster() *cobra.Command {
	c := &cobra.Command{Use: "cluster", Short: "meet on servers that somebody runs for several shops, or run them",
		Long: "Benches can meet on three servers or more that are always on, in place of a bench that hosts.\nSeveral shops can share them, and each sees its own only. What runs there is a NATS server\nwith JetStream; what it is started with is written here.\n\nWho runs them:\n\n  oldhand cluster new servers one=192.168.1.31 two=192.168.1.32 three=192.168.1.33\n  oldhand cluster let servers harbour.keys --disk 4096\n\nEach shop, once, and again after a bench joined or was retired:\n\n  oldhand cluster keys --out harbour.keys\n\nEach bench, once; then sync as ever:\n\n  oldhand cluster meet 192.168.1.31:4222 192.168.1.32:4222 --ca ca.pem"}
	c.AddCommand(e.clusterKeys(), e.clusterMeet(), e.clusterNew(), e.clusterLet(), e.clusterEnd(), e.clusterRenew())
	return c
}

func (e *env) clusterKeys() *cobra.Command {
	var out string
	c := &cobra.Command{Use: "keys", Short: "list this shop's benches for who runs the servers", Args: args(0, 0, "[--out FILE]"),
		Long: "List the public keys of the benches that belong to this shop, for who runs the servers.\nNothing in it is secret and no name is in it. Give it anew after a bench joined or was retired."}
	c.RunE = func(*cobra.Command, []string) error {
		return e.read(func(s *app.Shop) error {
			k, err := s.ClusterKeys(e.path(out))
			if err != nil {
				return err
			}
			dir, err := e.dir()
			if err != nil {
				return err
			}
			ending, err := app.EndingRoots(dir, time.Now())
			if err != nil {
				return err
			}
			return e.answer(k, func() {
				for _, said := range ending {
					e.note(said + "; " + app.EndingRootsHelp)
				}
				if k.File == "" {
					for line := range strings.Lines(k.Text) {
						e.printf("%s\n", strings.TrimSuffix(line, "\n"))
					}
					return
				}
				e.printf("%s written: %s of this shop: %s\n", k.File, events.Count(len(k.Keys), "bench", "benches"), strings.Join(k.Names, ", "))
				e.printf("give it to who runs the servers; there: oldhand cluster let FOLDER %s\n", out)
			})
		})
	}
	c.Flags().StringVar(&out, "out", "", "write it into this `file`")
	return c
}

func (e *env) clusterMeet() *cobra.Command {
	var ca string
	c := &cobra.Command{Use: "meet ADDRESS... --ca FILE", Short: "let this bench meet the others on such servers", Args: args(1, -1, "ADDRESS... --ca FILE"),
		Long: "Let this bench meet the others on servers that somebody runs. ADDRESS is a server and its\nport; several are tried in turn, and each tells of the others. FILE is ca.pem of who runs\nthem, by which the servers are known. What was known before stays known."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		if ca == "" {
			return &usage{fmt.Errorf("name the file by which the servers are known, such as --ca ca.pem; who runs them has it")}
		}
		roots, err := os.ReadFile(e.path(ca))
		if err != nil {
			return err
		}
		dir, err := e.dir()
		if err != nil {
			return err
		}
		ctx, stop := e.untilStopped()
		defer stop()
		m, err := app.MeetOnCluster(ctx, dir, a, roots)
		if err != nil {
			return err
		}
		return e.answer(m, func() {
			e.printf("this bench meets the others at %s from here on\n", strings.Join(m.Addresses, " or "))
			e.printf("  the servers are known by the signer %s\n  until %s at the longest; it takes another by then\n", m.Signer, m.Until)
			e.printf("next: oldhand sync, or oldhand sync --watch\n")
		})
	}
	c.Flags().StringVar(&ca, "ca", "", "the `file` by which the servers are known")
	return c
}

func (e *env) clusterNew() *cobra.Command {
	var at string
	var disk int64
	c := &cobra.Command{Use: "new FOLDER NAME=HOST NAME=HOST NAME=HOST...", Short: "write what the servers are started with", Args: args(4, -1, "FOLDER NAME=HOST NAME=HOST NAME=HOST..."),
		Long: "Write what three servers or more are started with: a folder for each, with its settings, its\ncertificate and who may come in. HOST is its address or name, as benches and the other\nservers know it; NAME=HOST:PORT takes another port than 4222. The servers meet 2000 above it.\nIt lays one folder and starts nothing."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		k, err := app.NewCluster(e.path(a[0]), at, a[1:], disk<<30, time.Now())
		if err != nil {
			return err
		}
		return e.answer(k, func() {
			e.printf("%s written, for %s\n", k.Folder, strings.Join(k.Servers, ", "))
			e.printf("bring each server's own folder to its machine, to %s/NAME, and start there:\n", k.At)
			e.printf("  nats-server -c %s/NAME/server.conf\n", k.At)
			e.printf("keep %s here and from others: ca.key and keeper.key in it open every door of the servers\n", k.Folder)
			e.printf("give each shop ca.pem; the certificates are good until %s\n", k.Until)
			e.printf("next, for each shop: oldhand cluster let %s FILE\n", a[0])
		})
	}
	c.Flags().StringVar(&at, "at", "", "the `folder` on the servers that holds each one's own; FOLDER if it is not said")
	c.Flags().Int64Var(&disk, "disk", 0, "what each server may keep of all shops in `GiB`; 100 if it is not said")
	return ownProcess(c, "it needs no folder")
}

func (e *env) clusterLet() *cobra.Command {
	var disk int64
	c := &cobra.Command{Use: "let FOLDER FILE", Short: "let a shop's benches in, as its list has them", Args: args(2, 2, "FOLDER FILE [--disk MIB]"),
		Long: "Let the benches of a shop in that FILE lists, in place of those of the shop that might come\nin before. FILE is what oldhand cluster keys wrote there. A list can be anybody's: make sure\nthat it comes from the shop."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		k, err := app.LetShop(e.path(a[0]), e.path(a[1]), disk<<20)
		if err != nil {
			return err
		}
		return e.answer(k, func() {
			e.tellLet(k)
			e.tellBring(k)
		})
	}
	c.Flags().Int64Var(&disk, "disk", 0, "what the shop may keep in `MiB`; 2048 for a shop that is new here")
	return ownProcess(c, "it needs no folder")
}

// tellLet says what came in and what went.
func (e *env) tellLet(k app.Cluster) {
	switch c := k.Changed; {
	case !c.Known:
		e.printf("a shop that is new here: %s\n", events.Count(len(c.In), "bench", "benches"))
	case len(c.In)+len(c.Out) == 0:
		e.printf("a shop that is here already, with the same benches\n")
	default:
		e.printf("a shop that is here already: %d of its benches stay\n", len(c.Stay))
		for _, key := range c.In {
			e.printf("  comes in: %s\n", key)
		}
		for _, key := range c.Out {
			e.printf("  goes: %s\n", key)
		}
		e.printf("ask the shop whether that is so; if not: oldhand cluster let with the list of before\n")
	}
}

// tellBring says how the servers hear of a change.
func (e *env) tellBring(k app.Cluster) {
	e.printf("%s here; together they may keep %d MiB on each server, which has %d\n", events.Count(len(k.Shops), "shop"), k.Promised>>20, k.Disk>>20)
	if k.Promised > k.Disk {
		e.note("the shops are promised more than the servers have; whoever comes last is told that it is full")
	}
	e.printf("bring shops.conf to each server (%s), and have it read again there: kill -HUP PID\n", strings.Join(k.Servers, ", "))
}

func (e *env) clusterEnd() *cobra.Command {
	c := &cobra.Command{Use: "end FOLDER SHOP", Short: "let a shop in no more, by its tag", Args: args(2, 2, "FOLDER SHOP"),
		Long: "Let a shop in no more. SHOP is its tag, as its list has it. What the servers keep of it stays\nthere until it is taken away on them; the shop's benches have it all."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		k, err := app.EndShop(e.path(a[0]), a[1])
		if err != nil {
			return err
		}
		return e.answer(k, func() {
			e.printf("shop %s is let in no more\n", a[1])
			e.tellBring(k)
		})
	}
	return ownProcess(c, "it needs no folder")
}

func (e *env) clusterRenew() *cobra.Command {
	var look bool
	c := &cobra.Command{Use: "renew FOLDER", Short: "renew the servers' certificates, or see until when they are good", Args: args(1, 1, "FOLDER [--look]"),
		Long: "Write certificates that are good for ten years from here on, for each server and for who signs\nthem, in the place of those in FOLDER. Keys stay, so that old and new know each other until\nthe old ones end: nothing has to be done at once. --look says the dates and writes nothing."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		k, err := app.RenewCluster(e.path(a[0]), look, time.Now())
		if err != nil {
			return err
		}
		return e.answer(k, func() {
			for _, end := range k.Ends {
				e.printf("%s is good until %s\n", end.File, end.Until)
				if look && end.Soon {
					e.note(end.File + " ends soon; renew it: oldhand cluster renew " + a[0])
				}
			}
			if !look {
				e.tellRenewed(k)
			}
		})
	}
	c.Flags().BoolVar(&look, "look", false, "say the dates only")
	return ownProcess(c, "it needs no folder")
}

// tellRenewed says which files to carry where.
func (e *env) tellRenewed(k app.Cluster) {
	e.printf("bring to each server (%s) its own server.pem and ca.pem, to %s/NAME, and start it anew there;\n", strings.Join(k.Servers, ", "), k.At)
	e.printf("one after the other, the next when the one before is up: the others serve meanwhile\n")
	e.printf("give each shop ca.pem; each of its benches, before the old one ends: oldhand cluster meet ADDRESS --ca ca.pem\n")
}
