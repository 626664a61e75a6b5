package exchange

import (
	"crypto/rand"
	"slices"

	"github.com/nats-io/nats.go/jetstream"
)

const keyDescription = "sealed keys of one repair shop's customers"

// keyConfig is how a shop's stream of keys is made. It is the opposite of
// history: of each person only the last message stays, so that a key can go,
// and whoever runs the exchange may empty it. Benches fill it again with what
// they may still have.
func keyConfig(shop Tag, replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:              shop.keyStream(),
		Description:       keyDescription,
		Subjects:          []string{shop.persons() + "*"},
		Storage:           jetstream.FileStorage,
		Retention:         jetstream.LimitsPolicy,
		Discard:           jetstream.DiscardOld, // of one person; there is no other limit
		MaxMsgs:           -1,
		MaxBytes:          -1,
		MaxMsgsPerSubject: 1,
		MaxMsgSize:        maxKeyMessage,
		Replicas:          replicas,
		AllowDirect:       false, // an answer could come from a replica that lags
		Metadata:          map[string]string{metaEpoch: rand.Text(), metaShop: shop.String()},
	}
}

// keysLoosened says in what a stream of keys is not as this program makes it.
func keysLoosened(c jetstream.StreamConfig, shop Tag, replicas int) []string {
	all, say := loosenedAny(c, shop, replicas)
	say(c.MaxMsgsPerSubject != 1, "a key that was replaced stays in it (%d messages of a person)", c.MaxMsgsPerSubject)
	say(c.MaxMsgs > 0 || c.MaxBytes > 0, "when it is full it drops keys")
	say(c.MaxMsgSize >= 0 && c.MaxMsgSize < maxKeyMessage, "it takes messages of %d bytes at most, keys need %d", c.MaxMsgSize, maxKeyMessage)
	say(!slices.Contains(c.Subjects, shop.persons()+"*"), "it does not keep %s", shop.persons()+"*")
	return *all
}
