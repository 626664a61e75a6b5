package cli

import (
	"errors"

	"oldhand/cmd/internal/app"

	"github.com/spf13/cobra"
)

// errToDo is returned when a check-up found something to be done.
var errToDo = errors.New("something is to be done")

func (e *env) doctor() *cobra.Command {
	quick := false
	c := &cobra.Command{Use: "doctor", Short: "look at all that can be wrong with this bench, and say what helps", Args: args(0, 0, ""),
		Long: "Look at all that can be wrong with this bench: every chain, answer and photo, the disk and\nwho may look into the folder, the clock beside what was recorded, newer programs, benches\nthat nothing is heard of, how the exchange is set, keys, conflicts, the last backup. Each is\nsaid in words, and what helps where something does not stand as it should. Exit code 1 then."}
	c.RunE = func(*cobra.Command, []string) error {
		err := e.write(func(s *app.Shop) error { // what hinders writing is to be found
			bar := e.progress("checking", 0)
			look := app.Looking{Whole: !quick, Told: func(n uint64) { bar.at(int(n)) }}
			if e.page != nil {
				look.Duties = e.page.Duties()
			}
			res, err := s.Doctor(look)
			bar.end(err == nil)
			if err != nil {
				return err
			}
			if err := e.answer(res, func() { e.tellCheckup(res) }); err != nil || res.OK {
				return err
			}
			return errToDo
		})
		if res, damaged := app.Unopened(err); damaged {
			return errors.Join(e.answer(res, func() { e.tellCheckup(res) }), err)
		}
		return err
	}
	c.Flags().BoolVar(&quick, "quick", false, "don't read every event and photo")
	return c
}

func (e *env) tellCheckup(c app.Checkup) {
	for _, f := range c.Findings {
		mark := "good"
		if !f.OK {
			mark = "LOOK"
		}
		e.printf("%s  %s: %s\n", mark, f.About, f.Says)
		if f.Do != "" {
			e.printf("      what helps: %s\n", f.Do)
		}
	}
}
