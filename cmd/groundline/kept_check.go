package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/spf13/cobra"

	"groundline/report/keep"
)

func keptCheckCommand(std streams) *cobra.Command {
	var store string
	var opt keep.CheckOptions
	c := &cobra.Command{
		Use:   "check",
		Short: "Look whether everything is as it was kept",
		Long: `check holds the store against what was kept: the database against itself, recordings against
their length and with --read-data against their SHA-256, plans against theirs, what rides gave against what
can be read, and the files against the rides. Every item that is not as it should be is a line.

With --repair what can be mended is: results are made again, recordings of no ride become one, and a
store whose database is lost is made again of its recordings and of what is written beside them. A
recording that is damaged is mended by keeping it again. Nothing is removed that can't be made again.

Exit codes: 0 nothing is damaged, 1 damage was found, 2 wrong use, 3 no store.`,
		Example: `  groundline kept check
  groundline kept check --read-data --repair`,
		Args: filesGiven("", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error { return checkKept(c.Context(), store, opt, std) },
	}
	storeFlag(c, &store)
	c.Flags().BoolVar(&opt.ReadData, "read-data", false, "read every recording whole")
	c.Flags().BoolVar(&opt.Repair, "repair", false, "mend what can be")
	return c
}

func checkKept(ctx context.Context, dir string, opt keep.CheckOptions, std streams) error {
	var failed error
	tell := func(f keep.Finding) {
		if _, err := fmt.Fprintln(std.out, f); err != nil {
			failed = written(err)
		}
	}
	s, err := openKept(ctx, dir, std)
	var foreign *keep.ForeignError
	if errors.As(err, &foreign) && foreign.Lost {
		if !opt.Repair {
			tell(keep.Finding{Item: "database", Found: foreign.Found})
			return noAnswer(err)
		}
		if dir == "" {
			dir = std.store
		}
		if err := keep.Rebuild(ctx, dir, keep.Options{Program: program()}, tell); err != nil {
			return ofStore(err)
		}
		s, err = openKept(ctx, dir, std)
	}
	if err != nil {
		return err
	}
	defer s.Close()
	out, err := s.Check(ctx, opt, tell)
	switch {
	case err != nil:
		return ofStore(err)
	case failed != nil:
		return failed
	}
	read := "not read"
	if opt.ReadData {
		read = fmt.Sprintf("%.1f MB read", float64(out.Bytes)/1e6)
	}
	if _, err := fmt.Fprintf(std.out, "%s, %s (%s), %s\n", amount(out.Rides, "ride", "rides"), amount(out.Files, "recording's file", "recordings' files"),
		read, amount(out.Plans, "plan", "plans")); err != nil {
		return written(err)
	}
	if out.Damaged > 0 {
		return noAnswer(fmt.Errorf("groundline: %s damaged", amount(out.Damaged, "item is", "items are")))
	}
	return nil
}

// checkQuietly looks after a store while its page runs: soon after the start, and then once a day. What is damaged goes to the
// log.
func checkQuietly(ctx context.Context, s *keep.Store, log *slog.Logger) {
	const soon, each = time.Minute, 24 * time.Hour
	for wait := soon; ; wait = each {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		_, err := s.Check(ctx, keep.CheckOptions{ReadData: true}, func(f keep.Finding) {
			if f.Damage {
				log.Error("the store is damaged", "item", f.Item, "found", f.Found)
			}
		})
		if err != nil && ctx.Err() == nil {
			log.Warn("the store can't be checked", "error", err)
		}
	}
}
