package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"github.com/spf13/cobra"

	"groundline/report/keep"
)

// storeFlag adds the choice of the store. Its default is the user's own, which the help does not name: it is another
// one on each machine.
func storeFlag(c *cobra.Command, to *string) {
	c.Flags().StringVar(to, "store", "", "the folder that rides are kept in; else groundline in the user's data folder")
}

// openStore opens the store that --store names, or the user's own. log may be nil.
func openStore(ctx context.Context, dir string, std streams, log *slog.Logger) (*keep.Store, error) {
	if dir == "" {
		dir = std.store
	}
	if dir == "" {
		return nil, badUse(fmt.Errorf("groundline: no home folder to keep rides in, expected --store FOLDER"))
	}
	s, err := keep.Open(ctx, dir, keep.Options{Program: program(), Log: log})
	return s, ofStore(err)
}

// ofStore gives an error of the store its exit code.
func ofStore(err error) error {
	var newer *keep.NewerError
	var foreign *keep.ForeignError
	switch {
	case err == nil || errors.Is(err, context.Canceled):
		return err
	case errors.As(err, &newer), errors.As(err, &foreign):
		return badInput(err)
	}
	return noAnswer(err)
}
