// Command groundline reads a watch's track and a motion sensor's samples of a
// show-jumping ride, lays them on the course plan, and tells how each line was ridden.
//
// The rules of its user interface: data goes to standard output and nothing else does;
// errors go to standard error, one a line, with file, line, what was found and what was
// expected; progress, bold and colour are for terminals only; a file that is written
// appears whole or not at all; the exit code tells what happened (see exit.go).
// Only main touches the process.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"

	"golang.org/x/term"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	out, errOut := int(os.Stdout.Fd()), int(os.Stderr.Fd())
	code := run(ctx, os.Args[1:], streams{
		out: os.Stdout, err: os.Stderr,
		bold:     term.IsTerminal(out) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb",
		progress: term.IsTerminal(errOut),
	})
	stop()
	os.Exit(code)
}

// streams are where a command writes and what these can show.
type streams struct {
	out, err io.Writer
	bold     bool // out is a terminal whose user wants ornament
	progress bool // err is a terminal
}

// run carries out the command line and gives the exit code.
func run(ctx context.Context, args []string, std streams) int {
	root := rootCommand(std)
	root.SetArgs(args)
	root.SetOut(std.out)
	root.SetErr(std.err)
	return told(std.err, root.ExecuteContext(ctx))
}
