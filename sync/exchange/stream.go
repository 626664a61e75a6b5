package exchange

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// What the stream says of itself, in its metadata.
const (
	metaEpoch = "oldhand-epoch"
	metaShop  = "oldhand-shop"
)

const (
	description = "sealed segments of one repair shop"
	beingMade   = "being made"
)

// streamConfig is how a shop's stream is made. It is history, so nothing in it
// may ever go: no age, no count, no deletion, and what does not fit is refused
// rather than let push out what is there.
func streamConfig(shop Tag, replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        shop.stream(),
		Description: description,
		Subjects:    shop.stored(),
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew,
		MaxMsgs:     -1,
		MaxBytes:    -1,
		MaxMsgSize:  maxMessage,
		Replicas:    replicas,
		DenyDelete:  true,
		DenyPurge:   true,
		AllowDirect: false, // an answer could come from a replica that lags
		Metadata:    map[string]string{metaEpoch: rand.Text(), metaShop: shop.String()},
	}
}

// openStream looks for one of the shop's streams. Where it is not, it is made as
// wanted, if anything is.
func openStream(ctx context.Context, js jetstream.JetStream, name string, wanted *jetstream.StreamConfig) (*jetstream.StreamInfo, error) {
	info, err := lookAtStream(ctx, js, name)
	if wanted == nil || !errors.Is(err, ErrNoStream) {
		return info, err
	}
	s, err := js.CreateStream(ctx, *wanted)
	if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) { // somebody was quicker: theirs is the epoch
		return lookAtStream(ctx, js, name)
	}
	if err != nil {
		return nil, fmt.Errorf("make stream %s: %w", name, err)
	}
	return s.CachedInfo(), nil
}

// hostStreams opens a shop's streams on a host.
func hostStreams(ctx context.Context, js jetstream.JetStream, shop Tag) error {
	if err := hostStream(ctx, js, streamConfig(shop, 1)); err != nil {
		return err
	}
	if err := hostStream(ctx, js, keyConfig(shop, 1)); err != nil {
		return err
	}
	return hostStream(ctx, js, pieceConfig(shop, 1))
}

// hostStream opens a stream on a host, and has the server write its
// description once more after it was made. Where a damaged one lies in the
// folder, making the stream leaves that as it is; at each start the stream
// would be missing and be made again, each time under another epoch. The words
// have to change, or the server writes nothing.
func hostStream(ctx context.Context, js jetstream.JetStream, c jetstream.StreamConfig) error {
	said := c.Description
	c.Description = beingMade
	info, err := openStream(ctx, js, c.Name, &c)
	if err != nil || info.Config.Description != beingMade {
		return err
	}
	c = info.Config
	c.Description = said
	if _, err := js.UpdateStream(ctx, c); err != nil {
		return fmt.Errorf("describe stream %s: %w", c.Name, err)
	}
	return nil
}

func lookAtStream(ctx context.Context, js jetstream.JetStream, name string) (*jetstream.StreamInfo, error) {
	s, err := js.Stream(ctx, name)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil, fmt.Errorf("look at stream %s: %w", name, ErrNoStream)
	}
	if err != nil {
		return nil, fmt.Errorf("look at stream %s: %w", name, err)
	}
	return s.CachedInfo(), nil
}

// epochOf names the life of a stream. One that somebody made by hand has no
// name of ours; then it is known by when it was made.
func epochOf(info *jetstream.StreamInfo) string {
	if e := info.Config.Metadata[metaEpoch]; e != "" {
		return e
	}
	return "made " + info.Created.UTC().Format(time.RFC3339Nano)
}

// loosened says in what a stream is not as this program makes it, so that what
// is in it could go, or an answer could be stale. It can be used all the same:
// no bench relies on an exchange to keep anything.
func loosened(c jetstream.StreamConfig, shop Tag, replicas int) []string {
	all, say := loosenedAny(c, shop, replicas)
	say(c.Discard != jetstream.DiscardNew, "when it is full it drops its oldest messages")
	say(c.MaxMsgsPerSubject > 0, "it keeps the last %d messages of a feed only", c.MaxMsgsPerSubject)
	say(c.MaxMsgSize >= 0 && c.MaxMsgSize < maxMessage, "it takes messages of %d bytes at most, segments need %d", c.MaxMsgSize, maxMessage)
	say(!c.DenyDelete, "single messages can be deleted from it")
	say(!c.DenyPurge, "it can be emptied")
	for _, s := range shop.stored() {
		say(!slices.Contains(c.Subjects, s) && !slices.Contains(c.Subjects, shop.subjects()), "it does not keep %s", s)
	}
	return *all
}

// loosenedAny says what is as little wanted of any of a shop's streams, and
// gives a function to say more.
func loosenedAny(c jetstream.StreamConfig, shop Tag, replicas int) (*[]string, func(bad bool, format string, args ...any)) {
	all := new([]string)
	say := func(bad bool, format string, args ...any) {
		if bad {
			*all = append(*all, fmt.Sprintf(format, args...))
		}
	}
	say(c.Storage != jetstream.FileStorage, "it is kept in memory and gone with the server")
	say(c.Retention != jetstream.LimitsPolicy, "what was read is dropped from it (retention %s)", c.Retention)
	say(c.MaxAge != 0, "it drops messages older than %s", c.MaxAge)
	say(c.AllowRollup, "a message can replace all before it")
	say(c.AllowMsgTTL, "a message can be given an end")
	say(c.AllowDirect, "its answers may come from a replica that lags")
	say(c.NoAck, "it does not say what it stored")
	say(c.PersistMode == jetstream.AsyncPersistMode, "it says stored before it is on disk")
	say(c.Sealed, "it takes nothing more")
	say(c.SubjectTransform != nil, "it renames what it stores")
	say(c.Mirror != nil || len(c.Sources) > 0, "it is fed from another stream")
	say(c.Replicas < replicas, "it is kept on %d servers, %d are wanted", c.Replicas, replicas)
	say(c.Metadata[metaEpoch] == "", "it has no name of its own, so its re-creation may go unseen")
	say(c.Metadata[metaShop] != shop.String(), "it is marked as of shop %q, this one is %s", c.Metadata[metaShop], shop)
	return all, say
}
