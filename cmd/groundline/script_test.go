package main

import (
	"errors"
	"os/exec"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"groundline": main})
}

// TestScripts runs testdata/script. There "exits CODE COMMAND…" runs a command and holds its exit code.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": func(ts *testscript.TestScript, neg bool, args []string) {
				if neg || len(args) < 2 {
					ts.Fatalf("usage: exits CODE COMMAND…")
				}
				want, err := strconv.Atoi(args[0])
				ts.Check(err)
				err = ts.Exec(args[1], args[2:]...)
				code := 0
				if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
					code = exit.ExitCode()
				} else {
					ts.Check(err)
				}
				if code != want {
					ts.Fatalf("exit code %d, want %d\n%s%s", code, want, ts.ReadFile("stdout"), ts.ReadFile("stderr"))
				}
			},
		},
	})
}
