package main

import (
	"context"
	"os/exec"
	"runtime/debug"
	"strconv"

	"github.com/spf13/cobra"

	"groundline/report/keep"
)

// workCommand works one ride out for a process that keeps rides, and may die of it.
func workCommand(std streams) *cobra.Command {
	memory := int64(0)
	c := &cobra.Command{
		Use:    "work",
		Short:  "Work one ride out for another groundline",
		Hidden: true,
		Args:   filesGiven("", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error {
			if memory > 0 {
				boundMemory(memory)
				debug.SetMemoryLimit(memory / 5 * 4) // from where it is worth collecting more often
			}
			return written(keep.WorkApart(c.Context(), std.in, std.out))
		},
	}
	c.Flags().Int64Var(&memory, "memory", 0, "bytes that it may take")
	return c
}

// apart gives the commands that work rides out, so many at the same time, in the share of the machine's memory that each may
// take; nil where this program can't start itself.
func (s streams) apart(atOnce int) func(context.Context) *exec.Cmd {
	if s.self == nil {
		return nil
	}
	// Half of the memory is for all of them; a ride of a day needs some 400 MB.
	const least = 256 << 20
	memory := max(least, machineMemory()/2/int64(max(1, atOnce)))
	return func(ctx context.Context) *exec.Cmd {
		return s.self(ctx, "work", "--memory", strconv.FormatInt(memory, 10))
	}
}
