package exchange

import (
	"crypto/rand"
	"slices"

	"github.com/nats-io/nats.go/jetstream"
)

const pieceDescription = "sealed photos and recordings of one repair shop"

// pieceConfig is how a shop's stream of photos and recordings is made. A message
// is one chunk on a subject of its own, or what somebody asked for again. What does
// not fit is refused. Whoever runs the exchange may take pieces out, or all of
// them; benches give again what they may have.
func pieceConfig(shop Tag, replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        shop.pieceStream(),
		Description: pieceDescription,
		Subjects:    shop.pieceSubjects(),
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew,
		MaxMsgs:     -1,
		MaxBytes:    -1, // benches stop at MaxPieces; a limit here would be set aside on the disk at once
		MaxMsgSize:  maxChunkMessage,
		Replicas:    replicas,
		AllowDirect: false, // an answer could come from a replica that lags
		Metadata:    map[string]string{metaEpoch: rand.Text(), metaShop: shop.String()},
	}
}

// piecesLoosened says in what a stream of photos is not as this program makes it.
func piecesLoosened(c jetstream.StreamConfig, shop Tag, replicas int) []string {
	all, say := loosenedAny(c, shop, replicas)
	say(c.Discard != jetstream.DiscardNew, "when it is full it drops photos")
	say(c.MaxMsgSize >= 0 && c.MaxMsgSize < maxChunkMessage, "it takes messages of %d bytes at most, photos need %d", c.MaxMsgSize, maxChunkMessage)
	for _, s := range shop.pieceSubjects() {
		say(!slices.Contains(c.Subjects, s), "it does not keep %s", s)
	}
	return *all
}
