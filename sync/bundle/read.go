package bundle

import (
	"bufio"
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/sync/segment"
)

// Keys gives the shop's key of an epoch, where it is known.
type Keys = func(epoch uint32) (segment.Key, bool)

// Report says what a bundle gave.
type Report struct {
	Segments int   // whole ones, given
	Keys     int   // of customers, whole ones, given
	Damaged  int   // frames that were stepped over, since their bytes are not those written
	Stopped  error // where and why reading stopped before the end; nil where it did not

	Had    []Had // how far the writer had each feed, as far as this was read
	HadErr error // what is missing from Had, and why
}

// Err is nil where the file was whole, and else says what is wrong with it.
func (r Report) Err() error {
	if r.Damaged == 0 {
		return r.Stopped
	}
	damaged := fmt.Errorf("%d of its frames can't be read: %w", r.Damaged, ErrDamaged)
	if r.Stopped == nil {
		return damaged
	}
	return fmt.Errorf("%w; %w", damaged, r.Stopped)
}

// Read gives every whole segment of a bundle to fn, in the file's order. The
// bytes are good until fn returns, and nothing is said of them yet: segment.Open
// is for that. The keys open the list of heads; without any (nil) it is passed
// over.
//
// A file that gives nothing is an error: ErrNotBundle, ErrNewer, ErrOtherShop,
// or one whose head is cut or damaged. So is an error of fn, which ends reading.
// What else is wrong stands in the report.
func Read(r io.Reader, shop events.ShopID, keys Keys, fn func(sealed []byte) error) (Report, error) {
	return ReadWithKeys(r, shop, keys, fn, func([]byte) error { return nil })
}

// ReadWithKeys is Read, and gives the sealed keys of customers to fnKey, which
// all stand behind the segments.
func ReadWithKeys(r io.Reader, shop events.ShopID, keys Keys, fn, fnKey func(sealed []byte) error) (rep Report, err error) {
	f, err := openFrames(bundles, bufio.NewReaderSize(r, 1<<16), shop)
	if err != nil {
		return rep, fmt.Errorf("read a bundle: %w", err)
	}
	list := headList{shop: shop, keys: keys}
	rep.Stopped, err = rep.read(f, &list, fn, fnKey)
	if rep.Stopped != nil {
		rep.Stopped = fmt.Errorf("after %d segments and %d keys, at byte %d: %w", rep.Segments, rep.Keys, f.start, rep.Stopped)
	}
	rep.Had, rep.HadErr = list.had, list.missing()
	return rep, err
}

// read goes through the frames. It counts damaged segments with the others
// when it compares with what the end says.
func (r *Report) read(f *frames, list *headList, fn, fnKey func([]byte) error) (stopped, err error) {
	for behind, keys, seen := false, false, 0; ; {
		fr, err := f.next()
		if err != nil {
			return err, nil
		}
		switch fr.kind {
		case endFrame:
			return f.end(fr, seen, r.Damaged), nil
		case headsFrame:
			if behind {
				return fmt.Errorf("heads behind segments: %w", ErrDamaged), nil
			}
			if fr.whole {
				list.take(fr.payload)
			}
		case segmentFrame:
			if keys {
				return fmt.Errorf("segments behind keys: %w", ErrDamaged), nil
			}
			behind, seen = true, seen+1
		case keyFrame:
			behind, keys = true, true
		}
		if !fr.whole {
			r.Damaged++
			continue
		}
		switch fr.kind {
		case segmentFrame:
			r.Segments++
			err = fn(fr.payload)
		case keyFrame:
			r.Keys++
			err = fnKey(fr.payload)
		}
		if err != nil {
			return nil, err
		}
	}
}

// ReadHeads reads only how far the writer of a bundle had each feed. It reads
// no further than that, so a bundle that was cut later serves as well. With an
// error it gives the heads that could be read.
func ReadHeads(r io.Reader, shop events.ShopID, keys Keys) ([]Had, error) {
	f, err := openFrames(bundles, bufio.NewReader(r), shop)
	if err != nil {
		return nil, fmt.Errorf("read a bundle's heads: %w", err)
	}
	list := headList{shop: shop, keys: keys}
	for {
		fr, err := f.next()
		if err == nil && fr.kind == headsFrame && fr.whole {
			list.take(fr.payload)
		}
		if err != nil || fr.kind != headsFrame {
			break // what is missing then, the list says
		}
	}
	if err := list.missing(); err != nil {
		return list.had, fmt.Errorf("read a bundle's heads: %w", err)
	}
	return list.had, nil
}
