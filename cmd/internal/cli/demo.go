package cli

import (
	"os"
	"path/filepath"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/cmd/internal/web"

	"github.com/spf13/cobra"
)

func (e *env) demo() *cobra.Command {
	var units int
	var seed uint64
	var page, noPage bool
	var also besides
	c := ownProcess(&cobra.Command{Use: "demo", Short: "make an invented shop to try everything on", Args: args(0, 0, "")}, "it makes a folder of its own")
	c.RunE = func(c *cobra.Command, _ []string) error {
		dir := e.shop
		if dir == "" {
			tmp, err := os.MkdirTemp("", "oldhand-demo-")
			if err != nil {
				return err
			}
			dir = filepath.Join(tmp, "shop")
		}
		story, err := demo.New(demo.Options{Seed: seed, Units: units})
		if err != nil {
			return err
		}
		e.opt.Bulk = true
		bar := e.progress("making the shop", 0)
		res, err := app.FromStory(dir, story, e.opt, bar.at)
		bar.end(err == nil)
		if err != nil {
			return err
		}
		if err := e.answer(res, func() { e.tellDemo(res) }); err != nil || noPage || !page && !e.looks.terminal {
			return err
		}
		ctx, stop := e.untilStopped()
		defer stop()
		e.opt.Bulk = false
		e.printf("\n")
		return e.servePage(ctx, dir, web.Options{Wishes: also.wishes(c), Lan: also.lan}, "", false, false)
	}
	also.flags(c)
	c.Flags().IntVar(&units, "units", 2000, "how many `units` the shop has seen")
	c.Flags().BoolVar(&page, "page", false, "show its page, as is done in a terminal in any case")
	c.Flags().BoolVar(&noPage, "no-page", false, "do not show its page")
	c.Flags().Uint64Var(&seed, "seed", 1, "the `number` that the shop is made from: the same number, the same shop")
	return c
}

func (e *env) tellDemo(r app.Demo) {
	e.printf("%s, an invented shop, is in %s\n", r.Name, r.Folder)
	e.printf("%d events of %d units in %d visits at three benches, 29 years; nothing in it is real\n", r.Events, r.Units, r.Visits)
	e.printf("\ntry next:\n")
	for _, c := range r.Try {
		e.printf("  %s\n", c)
	}
	e.printf("\nwhat there is to see:\n")
	for _, s := range r.Sights {
		e.printf("  %-8s %s\n", s.Query, s.Title)
	}
}
