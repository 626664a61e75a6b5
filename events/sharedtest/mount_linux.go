package sharedtest

import (
	"fmt"
	"os/exec"
)

// MountTmpfs mounts a disk in memory on a folder, or mounts it anew.
func MountTmpfs(dir, options string) error {
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", dir).CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}

// unmount takes the disk away as soon as nothing holds it: a log that died on
// it does until the process ends.
func unmount(dir string) error {
	if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}
