package app

import (
	"errors"
	"fmt"
	"strings"

	"oldhand/sync/nearby"
)

// Show shows a hosted exchange on the local network until end is called, and says
// in a sentence where. That it can't be shown is no reason not to host: the others
// can always be told the address.
func (h *Hosting) Show(unannounced bool) (said string, end func() error) {
	end = func() error { return nil }
	if unannounced {
		return "not shown on the local network; the other benches need the address", end
	}
	a, err := h.Advertise()
	if errors.Is(err, nearby.ErrOnlyHere) {
		return "only commands on this machine can meet here", end
	}
	if err != nil {
		return fmt.Sprintf("not shown on the local network, so the other benches need the address: %v", err), end
	}
	shown, err := a.Shown()
	if len(shown) > 0 {
		list := make([]string, len(shown))
		for i, s := range shown {
			list[i] = s.String()
		}
		return "the shop's other benches find it on the local network by themselves, at " + strings.Join(list, " and "), a.Close
	}
	if err == nil {
		err = nearby.ErrNoNetwork
	}
	return fmt.Sprintf("not shown on the local network yet: %v", err), a.Close
}
