package eventlog

// Blind is the view with an empty keyring, for a reader who is not to see what
// customers are called: no name can be opened through it, whatever asks. It is
// good until the view is closed, and is not closed itself.
func (v *View) Blind() *View {
	return &View{log: v.log, snap: v.snap, commit: v.commit, blind: true, spacing: v.spacing}
}
