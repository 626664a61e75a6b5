package eventlog

// lastWrites is at which commit something was last written under each beginning
// of a key. It is in memory only and begins anew with each opening.
type lastWrites struct {
	by  map[[3]byte]uint64
	all uint64 // the last commit that may have changed anything
}

// note notes what a commit wrote; nil is anything.
func (w *lastWrites) note(commit uint64, begin map[[3]byte]bool) {
	if begin == nil {
		w.all = commit
		return
	}
	for b := range begin {
		if w.by == nil {
			w.by = map[[3]byte]uint64{}
		}
		w.by[b] = commit
	}
}

// since reports whether nothing under a prefix was written after a commit. Only
// the first three bytes of the prefix are looked at.
func (w *lastWrites) since(commit uint64, prefix []byte) bool {
	if w.all > commit {
		return false
	}
	if len(prefix) >= 3 {
		return w.by[[3]byte(prefix)] <= commit
	}
	for b, last := range w.by {
		if last > commit && string(b[:len(prefix)]) == string(prefix) {
			return false
		}
	}
	return true
}

// Unchanged reports whether the projections' views whose keys begin so are in this
// view as they were in an earlier one of this log, whose number was commit. It may
// say no where they are: where a commit wrote what was there, where only what lies
// beside them changed (of the prefix the first two bytes count), or where a later
// commit than this view's did.
func (v *View) Unchanged(commit uint64, prefix []byte) bool {
	return commit <= v.commit && v.log.pub.unchanged(commit, viewKey(prefix))
}

// KeysUnchanged reports the same of the keyring.
func (v *View) KeysUnchanged(commit uint64) bool {
	return commit <= v.commit && v.log.pub.unchanged(commit, []byte{famKeyring})
}

func (p *published) unchanged(commit uint64, prefix []byte) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.writes.since(commit, prefix)
}

// FirstBytes are bytes with which ids begin.
type FirstBytes [256]bool

// any notes every byte.
func (f *FirstBytes) any() {
	for b := range f {
		f[b] = true
	}
}

// note notes of whom keys that begin so are, as the projections' views of a class
// or as rows of the keyring.
func (f *FirstBytes) note(begin [3]byte, class byte) {
	switch {
	case begin[0] == famKeyring:
		f[begin[1]] = true
	case begin[0] == famView && begin[1] == class:
		f[begin[2]] = true
	}
}

// PersonsSince is how the ids of persons begin of whom a commit after an earlier one
// wrote something: their row of the keyring, or the projections' view whose key is a
// class and their id. It may say so of more.
func (v *View) PersonsSince(commit uint64, class byte) (f FirstBytes) {
	p := &v.log.pub
	p.mu.Lock()
	defer p.mu.Unlock()
	if commit > v.commit || p.writes.all > commit {
		f.any()
		return f
	}
	for begin, last := range p.writes.by {
		if last > commit {
			f.note(begin, class)
		}
	}
	return f
}

// PersonsWritten says the same of what this action has written, and those before it
// in the same commit: what no view has yet.
func (tx *Tx) PersonsWritten(class byte) (f FirstBytes) {
	for _, l := range []*layer{tx.base, &tx.layer} {
		for begin := range l.begin {
			f.note(begin, class)
		}
	}
	return f
}
