package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"

	"github.com/klauspost/compress/zstd"
)

// Bytes on the wire an event, TLS and questions and answers in them: a bench that
// joins, and one event that goes from one bench to another by itself: at the bench
// that wrote it, which gives it and reads it back with all others, and at one that
// takes it. Beside it are the same events as JSON Lines, packed as one file and each
// line for itself, with nothing around them: no chain, no signature, no seal. Bytes do
// not hang on what else the machine does, so there is one round.
func wirePart(t *turn) {
	p := t.full()
	way := t.countTo(p.host.Addr().String())
	t.joined(func(s *app.Shop) (app.Met, error) {
		r, err := app.Reach(t.within(), s.Dir, []string{t.code(p, way.addr())})
		if err != nil {
			return app.Met{}, err
		}
		defer r.Close()
		return s.Meet(t.within(), r, app.Patient, nil)
	})
	n := float64(t.count())
	zip, zst, line := t.packed(t.viewOf(t.front()))
	for _, peer := range []struct {
		name  string
		bytes float64
	}{{"JSONL, gzip", zip / n}, {"JSONL, zstd", zst / n}} {
		f := &figure{name: "bytes on the wire an event, joining; beside " + peer.name, unit: byteCount, peer: peer.name}
		f.beside(float64(way.bytes())/n, peer.bytes)
		t.tell(f)
	}
	t.singly(line)
}

// countTo is a way to an address that counts, until the turn is over.
func (t *turn) countTo(at string) *wire {
	way, err := openWire(at)
	t.check(err)
	t.Cleanup(func() { t.late = errors.Join(t.late, way.close()) })
	return way
}

// singles is how many events are sent one at a time.
const singles = 200

// singly has one bench write event after event while two meet.
func (t *turn) singly(line float64) {
	up := &figure{name: "bytes on the wire an event, one by one, at its writer", unit: byteCount, peer: "a line, gzip"}
	down := &figure{name: "bytes on the wire an event, one by one, at each other bench", unit: byteCount, peer: "a line, gzip"}
	p := t.countedPair()
	out, in := p.out.bytes(), p.in.bytes()
	t.oneByOne(p.writer.log, p.reader.log, p.unit.id, singles, nil)
	up.beside(float64(p.out.bytes()-out)/singles, line)
	down.beside(float64(p.in.bytes()-in)/singles, line)
	p.stop()
	t.tell(up, down)
}

// counting counts what is written to it.
type counting int64

func (c *counting) Write(b []byte) (int, error) {
	*c += counting(len(b))
	return len(b), nil
}

// packed is the bytes of all events as lines packed as one file, in two ways, and
// of the mean line packed by itself, of every hundredth.
func (t *turn) packed(v *eventlog.View) (zip, zst, line float64) {
	var zips, zsts, alone counting
	g := gzip.NewWriter(&zips)
	z, err := zstd.NewWriter(&zsts)
	t.check(err)
	n, some := 0, 0
	t.check(v.Each(func(e events.Event) error {
		text, err := asLine(e)
		if err == nil {
			_, err = io.MultiWriter(g, z).Write(text)
		}
		if n++; n%100 == 1 && err == nil {
			some++
			err = packAlone(&alone, text)
		}
		return err
	}))
	t.check(errors.Join(g.Close(), z.Close()))
	return float64(zips), float64(zsts), float64(alone) / float64(some)
}

func packAlone(out io.Writer, text []byte) error {
	g := gzip.NewWriter(out)
	_, err := g.Write(text)
	return errors.Join(err, g.Close())
}

// asLine is an event as a line of JSON for a program that knows nothing of chains.
func asLine(e events.Event) ([]byte, error) {
	body, err := e.Body()
	data := any(body)
	if err != nil {
		data = bytes.Clone(e.Record) // of a kind that is not known here
	}
	text, err := json.Marshal(struct {
		Feed, ID, Kind, Unit, At, By string
		Seq                          uint64
		Data                         any
	}{e.Feed.Short(), e.ID.String(), e.Kind.String(), e.Unit().String(), e.At.String(), e.By, e.Seq, data})
	return append(text, '\n'), err
}
