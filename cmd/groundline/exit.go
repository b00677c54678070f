package main

import (
	"context"
	"errors"
	"fmt"
	"io"
)

// The exit codes, a promise to scripts.
const (
	exitDone     = 0
	exitNoAnswer = 1   // the input was read but the question can't be answered, or the answer not be written
	exitUsage    = 2   // the command line is wrong
	exitInput    = 3   // the input is unreadable or invalid
	exitStopped  = 130 // interrupted: 128 + SIGINT, as shells count
)

const exitHelp = `Exit codes: 0 done; 1 the input was read but the question can't be answered;
2 wrong use of the command; 3 unreadable or invalid input; 130 interrupted.`

// A failure is an error with its exit code.
type failure struct {
	code int
	err  error
}

func (f failure) Error() string { return f.err.Error() }
func (f failure) Unwrap() error { return f.err }

func noAnswer(err error) error { return failure{exitNoAnswer, err} }
func badUse(err error) error   { return failure{exitUsage, err} }
func badInput(err error) error { return failure{exitInput, err} }

// told writes an error and gives its exit code. An error without one is the command line
// parser's.
func told(w io.Writer, err error) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(w, "groundline: interrupted, nothing was written")
		return exitStopped
	}
	var f failure
	if !errors.As(err, &f) {
		f = failure{exitUsage, fmt.Errorf("groundline: %w, see groundline --help", err)}
	}
	fmt.Fprintln(w, f.Error())
	return f.code
}
