package cluster

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nkeys"
)

// Benches are the benches of one shop that may meet on a cluster, as the shop
// gives them to who runs it. The shop is known by its tag and a bench by its public
// key, as logins have it; no name is in it and nothing secret.
type Benches struct {
	Shop string   `json:"shop"`
	Keys []string `json:"keys"`
}

// BenchesOf are some benches of a shop.
func BenchesOf(shop exchange.Tag, benches []events.BenchID) Benches {
	b := Benches{Shop: shop.String()}
	for _, id := range benches {
		b.Keys = append(b.Keys, id.LoginName())
	}
	return b
}

const (
	wordShop  = "shop"
	wordBench = "bench"

	// mostBenches is how many one shop may have on a cluster.
	mostBenches = 256

	longestList = 64 << 10 // bytes, of the text
)

// Text is what is handed to who runs the cluster: a line for the shop and one for
// each bench.
func (b Benches) Text() string {
	var t strings.Builder
	t.WriteString("# The benches of one repair shop that may meet on a cluster. Public keys: nothing in\n# here is secret, and who has it gets in nowhere with it.\n")
	fmt.Fprintf(&t, "%s %s\n", wordShop, b.Shop)
	for _, k := range b.Keys {
		fmt.Fprintf(&t, "%s %s\n", wordBench, k)
	}
	return t.String()
}

// ReadBenches reads what Text wrote. It comes from a stranger and ends up in
// settings of servers: each word of it is read as the key or tag that it must be,
// and nothing else of it is passed on.
func ReadBenches(r io.Reader) (b Benches, err error) {
	lines := bufio.NewScanner(io.LimitReader(r, longestList))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		word, rest, _ := strings.Cut(line, " ")
		switch rest = strings.TrimSpace(rest); {
		case word == wordShop && b.Shop == "":
			b.Shop = rest
		case word == wordBench:
			b.Keys = append(b.Keys, rest)
		default:
			return b, fmt.Errorf("line %d: %.40q is neither the one shop nor a bench of it", n, line)
		}
	}
	if err := lines.Err(); err != nil {
		return b, err
	}
	return b, b.check()
}

func (b Benches) check() error {
	_, _, err := b.read()
	return err
}

// read gives tag and keys, or what of it is neither.
func (b Benches) read() (tag exchange.Tag, keys []events.BenchID, err error) {
	if tag, err = exchange.ParseTag(b.Shop); err != nil {
		return tag, nil, err
	}
	if n := len(b.Keys); n == 0 || n > mostBenches {
		return tag, nil, fmt.Errorf("shop %s: %d benches, want 1 to %d", b.Shop, n, mostBenches)
	}
	seen := map[string]bool{}
	for _, k := range b.Keys {
		raw, err := nkeys.Decode(nkeys.PrefixByteUser, []byte(k))
		if err != nil || len(raw) != len(events.BenchID{}) || events.BenchID(raw).LoginName() != k { // one key has one text
			return tag, nil, fmt.Errorf("shop %s: %.60q is no bench's key", b.Shop, k)
		}
		if seen[k] {
			return tag, nil, fmt.Errorf("shop %s: bench %s is there twice", b.Shop, k)
		}
		seen[k] = true
		keys = append(keys, events.BenchID(raw))
	}
	return tag, keys, nil
}

func keeperPair() (nkeys.KeyPair, error) { return nkeys.CreateUser() }
