//go:build planted

package planted

import "os"

// Chosen is the bug that is planted; empty for none.
var Chosen = os.Getenv("OLDHAND_PLANT")

// Bug reports whether a bug is planted.
func Bug(name string) bool { return name == Chosen }
