//go:build unix

package keep

import "os"

func syncFolder(d *os.File) error { return d.Sync() }
