//go:build !linux

package keep

import "errors"

func fillDisk(string) error { return errors.New("only on Linux") }
