package app

import (
	"os"
	"path/filepath"
)

// IsOwners reports whether the owner's key is in this folder, so that benches can
// be let in and retired here.
func (s *Shop) IsOwners() bool {
	_, err := os.Stat(filepath.Join(s.Dir, "keys", "owner.key"))
	return err == nil
}
