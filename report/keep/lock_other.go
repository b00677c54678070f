//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd)

package keep

import "os"

// Where an open file can't be removed, as on Windows, being open is to be held.

func hold(*os.File) bool { return true }

func letGo(f *os.File, name string) {
	f.Close()
	os.Remove(name)
}

func seize(name string) (free func(), ok bool) {
	return func() {}, os.Remove(name) == nil
}

// Folders can't be brought to disk by themselves there.
func syncFolder(*os.File) error { return nil }
