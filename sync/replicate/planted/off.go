//go:build !planted

package planted

// Bug reports whether a bug is planted: none is.
func Bug(string) bool { return false }
