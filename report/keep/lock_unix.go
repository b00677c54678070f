//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package keep

import (
	"os"
	"syscall"
)

// hold locks an open file until it is closed or its process ends.
func hold(f *os.File) bool {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil
}

// letGo removes a file that is held.
func letGo(f *os.File, name string) {
	os.Remove(name)
	f.Close()
}

// seize takes over a file that nobody holds any more; free removes it.
func seize(name string) (free func(), ok bool) {
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return nil, false
	}
	if !hold(f) || !isStill(f, name) {
		f.Close()
		return nil, false
	}
	return func() { letGo(f, name) }, true
}

func syncFolder(d *os.File) error { return d.Sync() }
