package cli

import (
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

func (e *env) forget() *cobra.Command {
	var o app.Forget
	c := &cobra.Command{Use: "forget CUSTOMER", Short: "forget who a customer is, on every bench, for good", Args: args(1, -1, "CUSTOMER"),
		Long: "Forget a customer's name, phone number, mail address and address, on every bench as it hears\nof it, and for good: nothing brings them back, and there is no way to undo it. What was\ndone to the sets stays. CUSTOMER is words of the name, a phone number or a mail address.\nWithout --yes it only says who would be forgotten. It takes the owner's key."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		o.Who = strings.Join(a, " ")
		run := e.read
		if o.Do {
			run = e.write
		}
		return run(func(s *app.Shop) error {
			f, err := s.Forget(o)
			if err != nil {
				return err
			}
			return e.answer(f, func() { e.tellForgotten(f) })
		})
	}
	c.Flags().BoolVar(&o.Do, "yes", false, "do it, not only look; it can't be undone")
	return c
}

func (e *env) tellForgotten(f app.Forgotten) {
	stay := events.Count(f.Visits, "visit") + " of " + events.Count(len(f.Units), "unit") + " stay"
	if f.Done {
		e.printf("%s is forgotten on this bench; %s\n", f.ID, stay)
	} else {
		e.printf("would be forgotten: %s\n%s: %s\n", f.Customer, stay, strings.Join(f.Units, "; "))
	}
	for _, o := range f.Others {
		e.printf("another customer has the same name: %s\n", o)
	}
	if f.Done {
		e.printf("the other benches forget when they meet: oldhand sync\n")
	}
	e.printf("what this does not reach:\n")
	for _, l := range f.Limits {
		e.printf("  %s\n", l)
	}
	if !f.Done {
		e.printf("nothing was changed; to forget, say --yes as well\n")
	}
}
