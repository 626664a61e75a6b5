package app

import (
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"time"
)

// NotAllowed is returned when somebody may not do a thing.
type NotAllowed struct{ Why string }

func (e *NotAllowed) Error() string { return e.Why }

// Let lets a further device in, once it has come with the code.
func (l *Lan) Let(name string, write, customers bool) (c DeviceCode, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	name = strings.Join(strings.Fields(name), " ")
	switch {
	case name == "" || len(name) > 60:
		return c, &Wrong{"name", "say whose device it is, such as: Ana's phone"}
	case l.named(name) >= 0:
		return c, &Wrong{"name", "there is a device of this name; take it away first, or choose another name"}
	case len(l.kept.Devices) >= mostDevices:
		return c, &Wrong{"name", fmt.Sprintf("there are %d devices already; take one away first", mostDevices)}
	case l.kept.Address == "":
		return c, &NotHere{"the page", "is not on the local network yet; turn that on first"}
	}
	d := keptDevice{Device: Device{ID: strings.ToLower(rand.Text()[:10]), Name: name, Write: write, Customers: customers || write, Made: l.now()}}
	err = l.change(func(k *keptLan) error {
		c = l.fresh(&d)
		k.Devices = append(k.Devices, d)
		return nil
	})
	if err == nil {
		l.ended[d.ID] = make(chan struct{})
	}
	return c, err
}

// Again gives a device a fresh code and ends what it has open: it came in with the
// wrong browser, or its code was over.
func (l *Lan) Again(name string) (c DeviceCode, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	i := l.named(name)
	if i < 0 {
		return c, noDevice(name)
	}
	err = l.change(func(k *keptLan) error {
		d := &k.Devices[i]
		c = l.fresh(d)
		d.Session, d.Entered = "", time.Time{}
		return nil
	})
	if err == nil {
		l.end(l.kept.Devices[i].ID)
		l.ended[l.kept.Devices[i].ID] = make(chan struct{})
	}
	return c, err
}

// End takes a device's rights away, and ends what it has open.
func (l *Lan) End(name string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	i := l.named(name)
	if i < 0 {
		return noDevice(name)
	}
	id := l.kept.Devices[i].ID
	err := l.change(func(k *keptLan) error {
		k.Devices = slices.Delete(k.Devices, i, i+1)
		return nil
	})
	if err == nil {
		l.end(id)
		delete(l.ended, id)
	}
	return err
}

// end ends what a device has open. The lock is held.
func (l *Lan) end(id string) {
	if c := l.ended[id]; c != nil {
		close(c)
	}
}

// named is the place of the device of a name, or of an id; -1 for none.
func (l *Lan) named(name string) int {
	return slices.IndexFunc(l.kept.Devices, func(d keptDevice) bool { return strings.EqualFold(d.Name, name) || d.ID == name })
}

func noDevice(name string) error {
	return &NotHere{"device " + name, "is none of those that are let in; it was taken away already, or is called otherwise"}
}

// fresh gives a device a code. The lock is held.
func (l *Lan) fresh(d *keptDevice) DeviceCode {
	code := rand.Text()
	d.Code, d.Until = secretHash(code), l.now().Add(deviceCodeLife)
	return DeviceCode{Name: d.Name, Address: "https://" + l.kept.Address + "/enter?code=" + code, Until: d.Until.Local().Format("15:04"), Rights: d.rights()}
}

// byCode is the place of the device that a code is for, while it is good; -1 for
// none.
func (l *Lan) byCode(code string) int {
	hash, now := secretHash(code), l.now()
	return slices.IndexFunc(l.kept.Devices, func(d keptDevice) bool { return d.Code == hash && now.Before(d.Until) })
}

// For says which device a code is for, while it is good. The code stays good.
func (l *Lan) For(code string) (Device, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if i := l.byCode(code); i >= 0 {
		return l.kept.Devices[i].Device, true
	}
	return Device{}, false
}

// Enter takes a code and gives what the device is known by from then on. The code
// is used up.
func (l *Lan) Enter(code string) (session string, d Device, ok bool, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	i := l.byCode(code)
	if i < 0 {
		return "", d, false, nil
	}
	session = rand.Text()
	err = l.change(func(k *keptLan) error {
		of := &k.Devices[i]
		of.Code, of.Until, of.Session = "", time.Time{}, secretHash(session)
		of.Entered, of.Seen = l.now(), l.now()
		d = of.Device
		return nil
	})
	return session, d, err == nil, err
}

// Known is the device that is known by a session.
func (l *Lan) Known(session string) (*Visitor, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if session == "" || !l.kept.On {
		return nil, false
	}
	hash := secretHash(session)
	i := slices.IndexFunc(l.kept.Devices, func(d keptDevice) bool { return d.Session == hash })
	if i < 0 {
		return nil, false
	}
	d := &l.kept.Devices[i]
	d.Seen = l.now()
	if l.dirty.IsZero() {
		l.dirty = l.now()
	} else if l.now().Sub(l.dirty) > keepSeen {
		_ = l.keep() // when it was seen is written once more with the next thing
	}
	return &Visitor{d.Device, l.ended[d.ID]}, true
}

// Close keeps when the devices were seen.
func (l *Lan) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.dirty.IsZero() {
		return nil
	}
	return l.keep()
}

// State is what is shown of it.
func (l *Lan) State() LanState {
	l.mu.Lock()
	defer l.mu.Unlock()
	st := LanState{On: l.kept.On, Address: l.kept.Address, Names: append([]string{}, l.kept.Names...), Devices: []DeviceState{}}
	for _, d := range l.kept.Devices {
		st.Devices = append(st.Devices, DeviceState{d.Device, d.rights(), d.says(l.now())})
	}
	return st
}

// rights are what a device may, in words.
func (d Device) rights() string {
	switch {
	case d.Write:
		return "looks and writes, sees customers' names"
	case d.Customers:
		return "looks only, sees customers' names"
	}
	return "looks only, customers' names hidden"
}

// Rights are what a device may, in words.
func (d Device) Rights() string { return d.rights() }

func (d keptDevice) says(now time.Time) string {
	switch {
	case d.Session != "":
		return "last seen " + d.Seen.Local().Format("2006-01-02 15:04")
	case d.Code != "" && now.Before(d.Until):
		return "not come in yet; its code is good until " + d.Until.Local().Format("15:04")
	}
	return "not come in; its code is over, make a fresh one"
}
