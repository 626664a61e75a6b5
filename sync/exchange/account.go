package exchange

import (
	"fmt"
	"slices"
	"strings"

	"oldhand/events"
)

// AccountLimits are what one shop may use of a cluster that many shops share, all
// servers together.
type AccountLimits struct {
	Disk        int64 // bytes, each copy of a message counted: a stream on three servers takes three times its size
	Consumers   int   // readings under way, of each stream
	Connections int
}

// maxSubscriptions is what one connection may listen to: its inbox and some readings.
const maxSubscriptions = 64

// AccountName is what the shop's account is called on a cluster.
func AccountName(shop Tag) string { return "SHOP-" + shop.String() }

// Account is a shop's account in the language of the server's settings, to stand
// within accounts. It gives the shop's benches what they need of a cluster and no
// more. What they may do there beyond a host's is to make the shop's three streams,
// since nobody else there would; one that is there they can neither change nor take
// away. It has nothing in memory, imports nothing and exports nothing, so that no
// subject of another account can be named in it.
func Account(shop Tag, benches []events.BenchID, l AccountLimits) (string, error) {
	if len(benches) == 0 {
		return "", fmt.Errorf("write the account of shop %s: no bench", shop) // an account without users is no use
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s {\n", AccountName(shop))
	fmt.Fprintf(&b, "  jetstream { max_file: %d, max_mem: 0, max_streams: %d, max_consumers: %d }\n", l.Disk, len(shop.streams()), l.Consumers)
	fmt.Fprintf(&b, "  limits { max_connections: %d, max_subscriptions: %d, max_payload: %d }\n", l.Connections, maxSubscriptions, maxWire)
	b.WriteString("  users: [\n")
	named := map[events.BenchID]bool{}
	for _, k := range benches {
		if named[k] {
			return "", fmt.Errorf("write the account of shop %s: key %s is named twice", shop, k)
		}
		named[k] = true
		b.WriteString(user(k, clusterMay(shop, k), clusterMayNot))
	}
	b.WriteString("  ]\n}\n")
	return b.String(), nil
}

// user is one user of an account, who may listen to the own inbox only.
func user(key events.BenchID, publish, deny []string) string {
	return fmt.Sprintf("      { nkey: %s, permissions: { publish: { allow: [%s], deny: [%s] }, subscribe: { allow: [%q] } } }\n",
		key.LoginName(), quoted(publish), quoted(deny), inbox(key)+".>")
}

// clusterMay is what a bench needs of a cluster.
func clusterMay(shop Tag, key events.BenchID) []string {
	may := benchMay(shop, key)
	for _, s := range shop.streams() {
		may = append(may, makeStream+s)
	}
	return may
}

// clusterMayNot is denied to benches of a cluster, who make streams.
var clusterMayNot = slices.DeleteFunc(slices.Clone(nobodyMay), func(s string) bool { return s == makeStream+">" })
