package events_test

import "oldhand/events"

// The rows of the table of broken clauses for the course of a visit and for
// book-keeping.

func brokenVisit() []broken {
	type E = events.EstimateGiven
	type S = events.Shipped
	type A = events.EvidenceAttached
	return joinRows(
		amounts("estimate", func(b *E) (*int64, *string) { return &b.Amount, &b.Currency }),
		[]broken{breaks("estimate: no currency", func(b *E) { b.Currency = "" })},
		texts("estimate: text", func(b *E, s string) { b.Text = s }),

		texts("estimate answered: text", func(b *events.EstimateAnswered, s string) { b.Text = s }),

		choices("waiting: for", "owner, parts, donor, payment", func(b *events.WaitingBegun, s string) { b.For = s }),
		[]broken{breaks(`waiting: for: "" is none of owner, parts, donor, payment`, func(b *events.WaitingBegun) { b.For = "" })},
		texts("waiting: text", func(b *events.WaitingBegun, s string) { b.Text = s }),

		[]broken{breaks(`waiting ended: for "perhaps"`, func(b *events.WaitingEnded) { b.For = "perhaps" })},
		texts("waiting ended: text", func(b *events.WaitingEnded, s string) { b.Text = s }),

		[]broken{
			breaks("shipped: no outcome", func(b *S) { b.Outcome = "" }),
			breaks("shipped: warranty of -1 days", func(b *S) { b.WarrantyDays = -1 }),
			breaks("shipped: warranty of 11001 days", func(b *S) { b.WarrantyDays = 11_001 }),
		},
		rowIDs("shipped: outcome", func(b *S, s string) { b.Outcome = s }),
		words("shipped: carrier", func(b *S, s string) { b.Carrier = s }),
		amounts("shipped", func(b *S) (*int64, *string) { return &b.Charge, &b.Currency }),
		texts("shipped: text", func(b *S, s string) { b.Text = s }),

		[]broken{breaks("note: no text", func(b *events.Note) { b.Text = "" })},
		texts("note", func(b *events.Note, s string) { b.Text = s }),

		[]broken{
			breaks("evidence: no content hash", func(b *A) { b.Content = events.Hash{} }),
			breaks("evidence: no media type", func(b *A) { b.Type = "" }),
			breaks("evidence: size -1", func(b *A) { b.Size = -1 }),
		},
		words("evidence: type", func(b *A, s string) { b.Type = s }),
		words("evidence: name", func(b *A, s string) { b.Name = s }),
		texts("evidence: text", func(b *A, s string) { b.Text = s }),
	)
}

// amounts breaks the clauses of an amount of money. ISO 4217: a currency is
// three capital letters, so a sign that takes three bytes is none.
func amounts[B events.Body](what string, of func(*B) (minor *int64, currency *string)) []broken {
	currency := func(quoted, s string) broken {
		return breaks(what+": currency "+quoted, func(b *B) { _, c := of(b); *c = s })
	}
	return []broken{
		breaks(what+": an amount below nothing", func(b *B) { m, _ := of(b); *m = -1 }),
		currency(`"usd"`, "usd"), currency(`"US"`, "US"), currency(`"USDX"`, "USDX"), currency(`"US1"`, "US1"),
		currency(`"€"`, "\u20ac"), currency(`"\xff\xfe\xfd"`, "\xff\xfe\xfd"),
	}
}

func brokenCorrections() []broken {
	type C = events.Corrected
	type W = events.Withdrawn
	type S = events.Settled
	return joinRows(
		[]broken{
			breaks("corrected: replaces nothing", func(b *C) { b.Replaces = nil }),
			breaks("corrected: no fact", func(b *C) { b.Fact.Body = nil }),
			breaks("corrected: no fact", func(b *C) { b.Fact.Kind = 0 }),
			inside("time: second -1 is not of a day", func(b *C) { b.Fact.At.Second = -1 }),
			breaks("corrected: corrected is withdrawn and said anew, not corrected", func(b *C) { b.Fact.Kind = events.KindCorrected }),
			breaks("corrected: kind.79 is withdrawn and said anew, not corrected", func(b *C) { b.Fact.Kind = 79 }),
			breaks("corrected: unit.same is withdrawn and said anew, not corrected", func(b *C) { b.Fact.Kind = events.KindSameUnit }),
			breaks("corrected: unit.apart is withdrawn and said anew, not corrected", func(b *C) { b.Fact.Kind = events.KindNotSameUnit }),
			breaks("corrected: body: not a map: not an event", func(b *C) { b.Fact.Body = events.RawBody{0x01} }),
			breaks("corrected: body: not a map: not an event", func(b *C) { b.Fact.Kind, b.Fact.Body = 90, events.RawBody{0x01} }),
			breaks("corrected: note: not an event: cbor: cannot unmarshal positive integer into Go struct field events.Note.1 of type string",
				func(b *C) { b.Fact.Body = events.RawBody{0xa1, 0x01, 0x02} }), // {1: 2}
			inside("note: no text", func(b *C) { b.Fact.Body = encoded(events.Note{}) }),
		},
		lists("corrected: replaces", func(b *C, n int) { b.Replaces = make([]events.EventID, n) }),
		words("corrected: by", func(b *C, s string) { b.Fact.By = s }),
		texts("corrected: why", func(b *C, s string) { b.Why = s }),

		[]broken{breaks("withdrawn: nothing", func(b *W) { b.Withdraws = nil })},
		lists("withdrawn", func(b *W, n int) { b.Withdraws = make([]events.EventID, n) }),
		texts("withdrawn: why", func(b *W, s string) { b.Why = s }),

		[]broken{
			breaks("settled: fewer than two versions", func(b *S) { b.Settles = b.Settles[1:] }),
			breaks("settled: what is kept is not among what is settled", func(b *S) { b.Keep = eventID(7) }),
		},
		lists("settled", func(b *S, n int) { b.Settles = make([]events.EventID, n) }),
		texts("settled: why", func(b *S, s string) { b.Why = s }),

		// 40 bytes are what sealing nothing takes: a nonce of 24 and a tag of 16
		// (XChaCha20-Poly1305, draft-irtf-cfrg-xchacha, from memory).
		[]broken{
			breaks("person: nothing sealed", func(b *events.PersonRecorded) { b.Sealed = b.Sealed[:39] }),
			breaks("person: 16385 bytes", func(b *events.PersonRecorded) { b.Sealed = make([]byte, 16_385) }),
			breaks("person forgotten: signature of 63 bytes", func(b *events.PersonForgotten) { b.Signature = b.Signature[:63] }),
		},

		rowsImported(),

		[]broken{
			breaks("shop day: 1849-12-31 is not between 1850-01-01 and 2500-01-01", func(b *events.ShopDay) { b.Day = events.NewDay(1849, 12, 31) }),
		},
		words("shop day: why", func(b *events.ShopDay, s string) { b.Why = s }),
	)
}

func rowsImported() []broken {
	type I = events.RowImported
	return joinRows(
		[]broken{
			breaks("row imported: no file", func(b *I) { b.Source = events.Hash{} }),
			breaks("row imported: row 0", func(b *I) { b.Row = 0 }),
			breaks("row imported: no key", func(b *I) { b.Key = [16]byte{} }),
			breaks("row imported: a column without a name", func(b *I) { b.Kept[""] = "B3" }),
		},
		choices("row imported: format", "book, ords", func(b *I, s string) { b.Format = s }),
		lists("row imported: kept", func(b *I, n int) {
			for i := range n - len(b.Kept) {
				b.Kept[eventID(byte(i)).String()+string(rune('a'+i/256))] = ""
			}
		}),
		words("row imported: column", func(b *I, s string) { b.Kept[s] = "B3" }),
		texts("row imported: Shelf", func(b *I, s string) { b.Kept["Shelf"] = s }),
	)
}

func brokenOwners() []broken {
	type N = events.OwnerNamed
	type K = events.ShopKeySet
	type R = events.FeedReleased
	return joinRows(
		[]broken{
			breaks("owner named: no key", func(b *N) { b.Owner = events.BenchID{} }),
			breaks("owner named: signature of 63 bytes", func(b *N) { b.Signature = b.Signature[:63] }),
		},
		words("owner named: name", func(b *N, s string) { b.Name = s }),

		[]broken{
			breaks("shop key: epoch 0, from 1 to 1000000", func(b *K) { b.Epoch = 0 }),
			breaks("shop key: epoch 1000001, from 1 to 1000000", func(b *K) { b.Epoch = 1_000_001 }),
			breaks("shop key: no name", func(b *K) { b.Key = events.KeyID{} }),
			breaks("shop key: nobody reads it", func(b *K) { b.Readers = nil }),
			breaks("shop key: signature of 65 bytes", func(b *K) { b.Signature = make([]byte, 65) }),
			breaks("shop key: readers not in rising order", func(b *K) { b.Readers = append(b.Readers, b.Readers[0]) }),
			breaks("shop key: readers not in rising order", func(b *K) { b.Readers = []events.WrappedKey{{Wrapped: b.Readers[0].Wrapped}} }),
			breaks("shop key: wrapped in 79 bytes, want 80", func(b *K) {
				b.Readers = []events.WrappedKey{{Bench: feed.Bench, Wrapped: make([]byte, 79)}}
			}),
		},
		lists("shop key: readers", func(b *K, n int) { b.Readers = make([]events.WrappedKey, n) }),

		[]broken{
			breaks("released: no key", func(b *R) { b.Bench = events.BenchID{} }),
			breaks("released: no heads", func(b *R) { b.Heads = nil }),
			breaks("released: signature of 0 bytes", func(b *R) { b.Signature = nil }),
			breaks("released: a head that is not of this bench", func(b *R) { b.Bench = must(otherBench.Public()) }),
			breaks("released: half a head", func(b *R) { b.Heads[0].Seq = 0 }),
			breaks("released: half a head", func(b *R) { b.Heads[0].Hash = events.Hash{} }),
		},
		lists("released: heads", func(b *R, n int) { b.Heads = make([]events.Head, n) }),
		texts("released: why", func(b *R, s string) { b.Why = s }),
	)
}

func brokenRoster() []broken {
	type F = events.FeedBegun
	type S = events.ShopFounded
	type A = events.BenchAdmitted
	type R = events.BenchRetired
	half := "feed begun: half a parent head"
	resigned := func(b *S, s string) { *b = must(owner.Found(s, b.Nonce)) }
	return joinRows(
		[]broken{
			breaks("feed begun: no shop", func(b *F) { b.Shop = events.ShopID{} }),
			breaks(half, func(b *F) { b.Parent.Seq = 0 }),
			breaks(half, func(b *F) { b.Parent.Feed = events.FeedID{} }),
			breaks(half, func(b *F) { b.Parent.Hash = events.Hash{} }),
		},
		words("feed begun: software", func(b *F, s string) { b.Software = s }),

		[]broken{
			breaks("shop: no name", func(b *S) { resigned(b, "") }),
			breaks("shop: the owner's signature does not match", func(b *S) { b.Name = "Another" }),
			breaks("shop: the owner's signature does not match", func(b *S) { b.Nonce[0]++ }),
			breaks("shop: the owner's signature does not match", func(b *S) { b.Owner = must(bench.Public()) }),
			breaks("shop: the owner's signature does not match", func(b *S) { b.Signature = nil }),
		},
		words("shop: name", resigned),

		[]broken{
			breaks("bench: no key", func(b *A) { b.Bench = events.BenchID{} }),
			breaks("bench: no name", func(b *A) { b.Name = "" }),
			breaks("bench: number 0", func(b *A) { b.Number = 0 }),
			breaks("bench: number 108", func(b *A) { b.Number = 108 }),
			breaks("bench: signature of 0 bytes", func(b *A) { b.Signature = nil }),
		},
		words("bench: name", func(b *A, s string) { b.Name = s }),

		[]broken{
			breaks("bench retired: no key", func(b *R) { b.Bench = events.BenchID{} }),
			breaks("bench retired: signature of 0 bytes", func(b *R) { b.Signature = nil }),
			breaks("bench retired: a head that is not of this bench", func(b *R) { b.Bench = must(otherBench.Public()) }),
			breaks("bench retired: a head that is not of this bench", func(b *R) { b.Counted[0].Seq = 0 }),
		},
		lists("bench retired: heads", func(b *R, n int) { b.Counted = make([]events.Head, n) }),
		texts("bench retired: why", func(b *R, s string) { b.Why = s }),
	)
}
