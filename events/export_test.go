package events

// ReadQuickly reads a body by hand, and gives false where that can't be.
func ReadQuickly(k Kind, raw []byte) (Body, bool) {
	if r, known := FindKind(k); known && r.quick != nil {
		return readQuickly(raw, r.quick)
	}
	return nil, false
}

// DecodeByLibrary reads a body without that.
func DecodeByLibrary(k Kind, raw []byte) (Body, error) {
	r, known := FindKind(k)
	if !known {
		return nil, ErrUnread
	}
	return r.decode(raw)
}
