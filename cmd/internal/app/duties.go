package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// Duties is what a folder does for the others while it is open for long: it lets
// the other benches meet here, or goes to where they meet and stays. What it was
// told to do is kept in the folder and taken up again at the next start. What
// goes wrong is noted and tried again; it ends nothing else.
type Duties struct {
	shop *Shop
	opt  Options

	switching sync.Mutex // over turning something on and off
	hosting   *running   // nil while off
	watching  *running

	mu    sync.Mutex // over what follows
	kept  keptDuties
	host  *Hosting // nil while it does not run
	shown string   // where on the network it is shown, in words
	watch *watching
	wrong map[string]string // by duty, what was told of it last
	notes []Heard
}

// keptDuties is what a folder's program does by itself.
type keptDuties struct {
	Host  *HostDuty `json:"host,omitempty"`
	Watch bool      `json:"watch,omitempty"`
}

// HostDuty says how to host.
type HostDuty struct {
	Listen      string `json:"listen"`
	Unannounced bool   `json:"unannounced,omitempty"`
}

// Heard is something that happened beside, in words.
type Heard struct {
	At    string `json:"at"`
	Words string `json:"words"`
}

// Wishes are what a start says of duties; nil where it says nothing and what was
// kept holds.
type Wishes struct {
	Host, Watch *bool
	Listen      string // for Host; empty for what was kept, or UsualListen
}

// UsualListen is where other benches find a bench that hosts.
const UsualListen = "0.0.0.0:4747"

const dutiesFile = "duties.json"

// The duties, as trouble is noted by.
const (
	dutyHost  = "host"
	dutyWatch = "watch"
)

// retryAfter is the pause before a duty that could not be begun is tried again.
const retryAfter = 10 * time.Second

// running is a goroutine that can be ended.
type running struct {
	cancel context.CancelFunc
	done   chan struct{}
}

func run(fn func(context.Context)) *running {
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{cancel, make(chan struct{})}
	go func() {
		defer close(r.done)
		fn(ctx)
	}()
	return r
}

// end ends it and waits; nil is ended already.
func (r *running) end() {
	if r != nil {
		r.cancel()
		<-r.done
	}
}

// OpenDuties takes up what the folder was told to do, or what a start wishes. The
// folder stays open until they are closed.
func OpenDuties(s *Shop, o Options, w Wishes) (*Duties, error) {
	o.In, o.Stop = s, nil
	d := &Duties{shop: s, opt: o, wrong: map[string]string{}}
	if err := readJSON(filepath.Join(s.Dir, dutiesFile), &d.kept); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if err := d.wish(w); err != nil {
		return nil, err
	}
	if d.kept.Host != nil {
		d.beginHosting(nil, *d.kept.Host)
	}
	if d.kept.Watch {
		d.beginWatching()
	}
	return d, nil
}

// wish changes what is kept by what a start says.
func (d *Duties) wish(w Wishes) error {
	if w.Host != nil && !*w.Host {
		d.kept.Host = nil
	}
	if w.Host != nil && *w.Host && d.kept.Host == nil {
		d.kept.Host = &HostDuty{Listen: UsualListen}
	}
	if d.kept.Host != nil && w.Listen != "" {
		d.kept.Host.Listen = w.Listen
	}
	if w.Watch != nil {
		d.kept.Watch = *w.Watch
	}
	if w == (Wishes{}) {
		return nil
	}
	return d.keep()
}

// Change does what is wished while it runs.
func (d *Duties) Change(w Wishes) error {
	var errs []error
	if w.Host != nil {
		d.mu.Lock()
		how := HostDuty{Listen: UsualListen}
		if d.kept.Host != nil {
			how = *d.kept.Host
		}
		d.mu.Unlock()
		if w.Listen != "" {
			how.Listen = w.Listen
		}
		if *w.Host {
			errs = append(errs, d.Host(how))
		} else {
			errs = append(errs, d.Unhost())
		}
	}
	if w.Watch != nil {
		errs = append(errs, d.Watch(*w.Watch))
	}
	return errors.Join(errs...)
}

func (d *Duties) keep() error { return writeJSON(filepath.Join(d.shop.Dir, dutiesFile), d.kept) }

// Host begins to host and keeps that. What can't be begun is told and not kept.
func (d *Duties) Host(how HostDuty) error {
	d.switching.Lock()
	defer d.switching.Unlock()
	if d.hosting == nil && hostsNow(d.shop.Dir) {
		return &NotHere{"hosting", "goes on in another window already, with oldhand host"}
	}
	d.hosting.end()
	d.hosting = nil
	ctx, stop := context.WithTimeout(context.Background(), dialWithin)
	defer stop()
	h, err := OpenHosting(ctx, d.shop.Dir, how.Listen, d.opt, d.noter(dutyHost))
	if err != nil {
		return err
	}
	d.mu.Lock()
	d.kept.Host = &how
	err = d.keep()
	d.mu.Unlock()
	d.beginHosting(h, how)
	return err
}

// dialWithin is how long a host may take to begin.
const dialWithin = 20 * time.Second

// Unhost ends hosting.
func (d *Duties) Unhost() error {
	d.switching.Lock()
	defer d.switching.Unlock()
	d.hosting.end()
	d.hosting = nil
	d.mu.Lock()
	defer d.mu.Unlock()
	d.kept.Host = nil
	delete(d.wrong, dutyHost)
	return d.keep()
}

// Watch begins to stay with the others where they meet, or ends that, and keeps it.
func (d *Duties) Watch(on bool) error {
	d.switching.Lock()
	defer d.switching.Unlock()
	if known, err := exchanges(d.shop.Dir); err != nil || on && len(known) == 0 {
		return errors.Join(err, &NoExchange{Hosts: hostsNow(d.shop.Dir)})
	}
	d.watching.end()
	d.watching = nil
	if on {
		d.beginWatching()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.kept.Watch = on
	delete(d.wrong, dutyWatch)
	return d.keep()
}

// beginHosting hosts until it is ended: on what is open already, or on what it
// opens, as often as it takes.
func (d *Duties) beginHosting(open *Hosting, how HostDuty) {
	d.hosting = run(func(ctx context.Context) {
		for h := open; ctx.Err() == nil; h = nil {
			err := d.hostOnce(ctx, h, how)
			d.failed(ctx, dutyHost, err)
		}
	})
}

// hostOnce hosts until the context ends, or something goes wrong.
func (d *Duties) hostOnce(ctx context.Context, h *Hosting, how HostDuty) (err error) {
	if h == nil {
		if h, err = OpenHosting(ctx, d.shop.Dir, how.Listen, d.opt, d.noter(dutyHost)); err != nil {
			return err
		}
	}
	shown, unshow := h.Show(how.Unannounced)
	d.setHost(h, shown)
	defer d.setHost(nil, "")
	return errors.Join(h.Run(ctx), unshow(), h.Close())
}

func (d *Duties) setHost(h *Hosting, shown string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.host, d.shown = h, shown
	if h != nil {
		delete(d.wrong, dutyHost)
	}
}

// beginWatching watches until it is ended.
func (d *Duties) beginWatching() {
	d.watching = run(func(ctx context.Context) {
		for ctx.Err() == nil {
			w := newWatching(d.shop.Dir, d.opt, d.noter(dutyWatch))
			d.setWatch(w)
			err := w.run(ctx, nil, d.met)
			d.setWatch(nil)
			d.failed(ctx, dutyWatch, err)
		}
	})
}

func (d *Duties) setWatch(w *watching) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.watch = w
}

// met notes a meeting at which something moved.
func (d *Duties) met(m Met) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.note(fmt.Sprintf("met the others at %s: %s taken, %s given", m.With, eventCount(m.Took), eventCount(m.Gave)))
}

// failed notes what ended a duty and waits a while.
func (d *Duties) failed(ctx context.Context, duty string, err error) {
	if ctx.Err() != nil || err == nil {
		return
	}
	d.noter(duty)(err.Error())
	pauseFor(ctx, retryAfter)
}

// noter notes what is told of a duty. What is told last is what goes wrong, as
// long as the duty is ill.
func (d *Duties) noter(duty string) func(string) {
	return func(words string) {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.wrong[duty] = words
		d.note(words)
	}
}

// mostHeard is how many notes are kept.
const mostHeard = 20

// note keeps words, the last first; the same again only when they came last. The
// lock is held.
func (d *Duties) note(words string) {
	if len(d.notes) > 0 && d.notes[0].Words == words {
		d.notes = d.notes[1:]
	}
	d.notes = slices.Insert(d.notes, 0, Heard{d.shop.now().Format("2006-01-02 15:04"), words})
	d.notes = d.notes[:min(len(d.notes), mostHeard)]
}

// Close ends the duties; what is kept stays kept.
func (d *Duties) Close() {
	d.switching.Lock()
	defer d.switching.Unlock()
	d.hosting.end()
	d.watching.end()
	d.hosting, d.watching = nil, nil
}
