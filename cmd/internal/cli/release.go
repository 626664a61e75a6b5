package cli

import (
	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

func (e *env) release() *cobra.Command {
	var o app.Release
	c := &cobra.Command{Use: "release BENCH", Short: "let what a retired bench recorded count after all", Args: args(1, 1, "BENCH"),
		Long: "A retired bench counts as far as the owner's bench had it then. What it recorded besides is\nkept aside where it turns up, as by a bundle of that laptop. This lets it count, on every\nbench alike, and for good. The bench stays retired. Without --yes it only says what would\ncount; look at it first, for whoever has the laptop may have written it."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		o.Bench = a[0]
		run := e.read
		if o.Do {
			run = e.write
		}
		return run(func(s *app.Shop) error {
			r, err := s.Release(o)
			if err != nil {
				return err
			}
			return e.answer(r, func() { e.tellReleased(r) })
		})
	}
	c.Flags().StringVar(&o.UpTo, "upto", "", "only what it recorded up to the end of this `day`")
	c.Flags().StringVar(&o.Why, "why", "", "the `reason`")
	c.Flags().BoolVar(&o.Do, "yes", false, "do it, not only look")
	return c
}

func (e *env) tellReleased(r app.Released) {
	n := events.Count(r.Events, "event")
	switch {
	case r.Events == 0:
		e.printf("nothing of bench %s is here that does not count and could\n", r.Bench)
	case r.Done:
		e.printf("%s of bench %s count from here on; it stays retired\n", n, r.Bench)
	default:
		e.printf("%s of bench %s would count:\n", n, r.Bench)
	}
	for _, x := range r.Runs {
		e.printf("  run %s: %s, recorded %s to %s\n", x.Run, events.Count(x.Events, "event"), x.First, x.Last)
	}
	for _, said := range r.Left {
		e.printf("  %s\n", said)
	}
	switch {
	case r.Done:
		e.printf("the other benches hear of it when they meet: oldhand sync\n")
	case r.Events > 0:
		e.printf("nothing was changed; to let them count, say --yes as well\n")
	}
}
