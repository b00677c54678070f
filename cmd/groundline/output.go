package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"groundline/report"
)

// written turns a failed write into a failure with its exit code.
func written(err error) error {
	if err == nil {
		return nil
	}
	return noAnswer(fmt.Errorf("groundline: the answer can't be written: %w", err))
}

// writeWhole lets write fill a new file beside path and renames it to path when all of it is
// on disk, so that path holds the old content or the new and never half of either.
func writeWhole(path string, write func(io.Writer) error) error {
	beside, err := os.OpenFile(filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d.part", filepath.Base(path), os.Getpid())),
		os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return written(unnamed(path, err))
	}
	err = write(beside)
	if err == nil {
		err = written(beside.Sync())
	}
	if closed := beside.Close(); err == nil {
		err = written(closed)
	}
	if err == nil {
		err = written(unnamed(path, os.Rename(beside.Name(), path)))
	}
	if err != nil {
		os.Remove(beside.Name())
	}
	return err
}

// unnamed says an error of the file beside path of path, the name that the user gave.
func unnamed(path string, err error) error {
	var inFile *os.PathError
	var renamed *os.LinkError
	switch {
	case errors.As(err, &inFile):
		return fmt.Errorf("%s: %w", path, inFile.Err)
	case errors.As(err, &renamed):
		return fmt.Errorf("%s: %w", path, renamed.Err)
	}
	return err
}

// sameFile tells whether two names are the same existing file.
func sameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// openPlain opens a plain file. expected is what errors say should be there.
func openPlain(path, expected string) (*os.File, error) {
	fail := func(found string) error { return badInput(fmt.Errorf("%s: %s, expected %s", path, found, expected)) }
	info, err := os.Stat(path)
	switch {
	case os.IsNotExist(err):
		return nil, fail("no such file")
	case err != nil:
		return nil, fail("can't be read")
	case info.IsDir():
		return nil, fail("a folder")
	case !info.Mode().IsRegular():
		return nil, fail("not a plain file")
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, fail("can't be opened")
	}
	return file, nil
}

// readWhole is the content of a plain file of at most limit bytes and one more, which tells the
// reader of the content that there was too much.
func readWhole(path, expected string, limit int64) ([]byte, error) {
	file, err := openPlain(path, expected)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, limit+1))
	if err != nil {
		return nil, badInput(fmt.Errorf("%s: can't be read, expected %s", path, expected))
	}
	return data, nil
}

// readDebrief is the debrief in a file.
func readDebrief(path string) (*report.Debrief, error) {
	file, err := openPlain(path, "a debrief written with --format json")
	if err != nil {
		return nil, err
	}
	defer file.Close()
	d, err := report.ReadDebrief(path, file)
	if err != nil {
		return nil, badInput(err)
	}
	return d, nil
}
