package web

import (
	"errors"

	"oldhand/cmd/internal/app"
)

// beginBeside begins what goes on beside the pages of a shop. The lock is held.
func (s *Server) beginBeside(shop *app.Shop) (err error) {
	lan, err := app.OpenLan(s.opt.Dir, s.opt.App.Now)
	if err == nil {
		err = ChangeLan(lan, s.opt.Lan)
	}
	if err != nil {
		return err
	}
	if s.brought, err = openBrought(s.opt.Dir); err != nil {
		return err
	}
	if s.duties, err = app.OpenDuties(shop, s.opt.App, s.opt.Wishes); err != nil {
		return err
	}
	s.codes, s.lan = &codes{}, s.openLan(lan)
	s.scrubs = app.NewScrubs(shop, s.scrubHears(), nil)
	s.scrubs.Begin()
	s.naming.Go(func() {
		if err := shop.OpenNames(); err != nil { // a lookup says it to whoever looks
			s.opt.Log.Warn("customers' names not opened", "why", err.Error())
		}
	})
	return nil
}

// scrubHears puts what becomes of the weekly check into the log.
func (s *Server) scrubHears() app.ScrubHears {
	log := s.opt.Log
	return app.ScrubHears{
		Begun: func(again bool) { log.Info("scrub begins", "again", again) },
		Wrong: func(err error) { log.Warn("scrub broken off", "why", err.Error()) },
		Ended: func(d app.Scrubbed) {
			log.Info("scrub ended", "events", d.Events, "feeds", d.Feeds, "pieces", d.Pieces, "damaged", len(d.Found))
			for _, f := range d.Found {
				log.Error("scrub found damage", "where", f.Where, "what", f.Says)
			}
		},
		After: func() { go s.Check() }, // beside: whoever ends the scrub may hold the lock
	}
}

// ChangeLan turns the page on for the local network, or off, as was wished: "on" for
// where it was or at this machine's first address there, "off", or an address.
func ChangeLan(lan *app.Lan, wish string) error {
	switch wish {
	case "":
		return nil
	case "off":
		return lan.Off()
	case "on":
		wish = lan.State().Address
		if own := app.LanAddresses(); wish == "" && len(own) > 0 {
			wish = own[0]
		}
		if wish == "" {
			return &app.NotHere{Unit: "the page", Why: "can't be shown to other devices: this machine is in no private network"}
		}
	}
	return lan.On(wish, lan.State().Names)
}

// endBeside ends it. The lock is held.
func (s *Server) endBeside() error {
	s.scrubs.Close()
	s.duties.Close()
	s.naming.Wait()
	return errors.Join(s.lan.close(), s.brought.close())
}

// Duties are what the bench does for the others while it is served; nil while
// there is no shop.
func (s *Server) Duties() *app.Duties {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.duties
}

// Lan is who may use the page from other devices; nil while there is no shop.
func (s *Server) Lan() *app.Lan {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lan == nil {
		return nil
	}
	return s.lan.lan
}
