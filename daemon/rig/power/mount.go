//go:build linux

package power

import (
	"errors"
	"fmt"
	"os"
	"os/exec"

	"golang.org/x/sys/unix"
)

// loopTries is how often another free loop device is tried when somebody else took
// the one that was free.
const loopTries = 50

// attach puts a loop device on a file. It goes by itself when nothing uses it any
// more; the file that is returned keeps it until a mount does.
func attach(path string) (*os.File, error) {
	backing, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("attach a loop device: %w", err)
	}
	defer backing.Close()
	control, err := os.OpenFile("/dev/loop-control", os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("attach a loop device: %w", err)
	}
	defer control.Close()
	for range loopTries {
		n, err := unix.IoctlRetInt(int(control.Fd()), unix.LOOP_CTL_GET_FREE)
		if err != nil {
			return nil, fmt.Errorf("find a free loop device: %w", err)
		}
		dev, err := openLoop(n)
		if err != nil {
			return nil, err
		}
		err = unix.IoctlLoopConfigure(int(dev.Fd()), &unix.LoopConfig{Fd: uint32(backing.Fd()), Info: unix.LoopInfo64{Flags: unix.LO_FLAGS_AUTOCLEAR}})
		if err == nil {
			return dev, nil
		}
		dev.Close()
		if !errors.Is(err, unix.EBUSY) {
			return nil, fmt.Errorf("attach %s to %s: %w", dev.Name(), path, err)
		}
	}
	return nil, errors.New("attach a loop device: somebody else took each that was free")
}

func openLoop(n int) (*os.File, error) {
	name := fmt.Sprintf("/dev/loop%d", n)
	dev, err := os.OpenFile(name, os.O_RDWR, 0)
	if errors.Is(err, os.ErrNotExist) { // a /dev that nobody fills
		if err := unix.Mknod(name, unix.S_IFBLK|0o600, int(unix.Mkdev(7, uint32(n)))); err != nil {
			return nil, fmt.Errorf("make %s: %w", name, err)
		}
		dev, err = os.OpenFile(name, os.O_RDWR, 0)
	}
	if err != nil {
		return nil, fmt.Errorf("open loop device: %w", err)
	}
	return dev, nil
}

// mount puts the file system in a file at a directory.
func mount(path, at, options string) error {
	dev, err := attach(path)
	if err != nil {
		return err
	}
	defer dev.Close()
	if err := unix.Mount(dev.Name(), at, "ext4", 0, options); err != nil {
		return fmt.Errorf("mount %s at %s: %w", path, at, err)
	}
	return nil
}

// format makes an ext4 as an installer would, but for a small journal.
func format(path string) error {
	out, err := exec.Command("mkfs.ext4", "-q", "-F", "-b", "4096", "-E", "lazy_itable_init=0,lazy_journal_init=0,nodiscard", path).CombinedOutput()
	if err != nil {
		return fmt.Errorf("make a file system in %s: %w: %s", path, err, out)
	}
	return nil
}

// repair does what a machine does at its start with a file system that is not clean.
// What it says is given back; its exit code is that of the worst finding (e2fsck(8)).
func repair(path string) (string, error) {
	out, err := exec.Command("e2fsck", "-y", path).CombinedOutput()
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() < 4 {
		err = nil // 1 and 2: errors corrected
	}
	return string(out), err
}
