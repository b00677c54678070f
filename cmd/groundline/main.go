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
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"

	"golang.org/x/term"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second one ends the process at once
	out, errOut := int(os.Stdout.Fd()), int(os.Stderr.Fd())
	std := streams{
		out: os.Stdout, err: os.Stderr,
		bold:     term.IsTerminal(out) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb",
		progress: term.IsTerminal(errOut),
		store:    ownStore(),
		in:       os.Stdin,
	}
	if self, err := os.Executable(); err == nil {
		std.self = func(ctx context.Context, args ...string) *exec.Cmd {
			c := exec.CommandContext(ctx, self, args...)
			c.Args[0] = os.Args[0]
			return c
		}
	}
	if term.IsTerminal(int(os.Stdin.Fd())) {
		std.ask = ask
	}
	code := run(ctx, os.Args[1:], std)
	stop()
	os.Exit(code)
}

// streams are where a command writes and what these can show.
type streams struct {
	out, err io.Writer
	bold     bool   // out is a terminal whose user wants ornament
	progress bool   // err is a terminal
	store    string // the user's own folder of kept rides; "" where the system names none
	in       io.Reader
	// self makes a command that runs this program again; nil where it can't.
	self func(ctx context.Context, args ...string) *exec.Cmd
	// ask asks on the terminal for what must not be seen there; nil without a terminal.
	ask func(ctx context.Context, prompt string) (string, error)
}

// ask reads a line from the terminal without showing it. When the context ends before, the terminal is as it was.
func ask(ctx context.Context, prompt string) (string, error) {
	in := int(os.Stdin.Fd())
	before, err := term.GetState(in)
	if err != nil {
		return "", err
	}
	fmt.Fprint(os.Stderr, prompt)
	defer fmt.Fprintln(os.Stderr)
	type answer struct {
		line []byte
		err  error
	}
	read := make(chan answer, 1)
	go func() {
		line, err := term.ReadPassword(in)
		read <- answer{line, err}
	}()
	select {
	case a := <-read:
		return string(a.line), a.err
	case <-ctx.Done():
		_ = term.Restore(in, before)
		return "", ctx.Err()
	}
}

// ownStore is where programs keep a user's data (XDG Base Directory Specification 0.8; on other systems what Go
// calls the folder of configuration, which is that of application data there).
func ownStore() string {
	folder := os.Getenv("XDG_DATA_HOME")
	if filepath.IsAbs(folder) {
		return filepath.Join(folder, "groundline")
	}
	var err error
	switch runtime.GOOS {
	case "windows", "darwin", "ios", "plan9":
		folder, err = os.UserConfigDir()
	default:
		folder, err = os.UserHomeDir()
		folder = filepath.Join(folder, ".local", "share")
	}
	if err != nil {
		return ""
	}
	return filepath.Join(folder, "groundline")
}

// run carries out the command line and gives the exit code.
func run(ctx context.Context, args []string, std streams) int {
	root := rootCommand(std)
	root.SetArgs(args)
	root.SetOut(std.out)
	root.SetErr(std.err)
	return told(std.err, root.ExecuteContext(ctx))
}
