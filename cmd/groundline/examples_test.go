package main

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"groundline/course"
)

// Every command that the manual or a command's help shows is run as shown, among the files that it
// names, and is done (exit code 0) with something on standard output or in the file it names. The commands of
// one block run one after the other in one folder, so that one may use what another wrote.
func TestExamplesRun(t *testing.T) {
	manual, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	blocks := map[string]string{}
	for i, block := range regexp.MustCompile("(?s)```sh\n(.*?)```").FindAllStringSubmatch(string(manual), -1) {
		blocks[fmt.Sprintf("manual %d", i+1)] = block[1]
	}
	var help func(c *cobra.Command)
	help = func(c *cobra.Command) {
		blocks["help of "+c.CommandPath()] = c.Example
		for _, sub := range c.Commands() {
			help(sub)
		}
	}
	help(rootCommand(streams{}))

	ran := map[string]bool{}
	for _, title := range slices.Sorted(maps.Keys(blocks)) {
		t.Run(title, func(t *testing.T) {
			t.Chdir(exampleFolder(t))
			if strings.Contains(blocks[title], "groundline kept") { // which shows what somebody has kept
				args := []string{"keep", "ride.gpx", "motion.csv", "--course", "course.yaml", "--horse", "Bramble"}
				require.Equal(t, exitDone, run(t.Context(), args, streams{out: io.Discard, err: io.Discard, store: exampleStore}))
			}
			for line := range strings.Lines(blocks[title]) {
				line, _, _ = strings.Cut(line, " #")
				line = strings.Replace(strings.TrimSpace(line), "go run ./cmd/groundline", "groundline", 1)
				args := words(line)
				if len(args) == 0 || args[0] != "groundline" {
					continue // blank, or a command of another tool
				}
				ran[line] = true
				t.Run(line, func(t *testing.T) { runExample(t, args) })
			}
		})
	}
	require.GreaterOrEqual(t, len(ran), 30, "hardly an example was found")
}

// exampleStore is the user's own store of an example.
const exampleStore = "own-store"

// runExample runs one command line and looks at what it left.
func runExample(t *testing.T, args []string) {
	for i := range args { // a place of the example's own
		args[i] = strings.Replace(args[i], "/tmp/round", "round", 1)
	}
	if len(args) > 1 && args[1] == "serve" {
		runServeExample(t, args)
		return
	}
	var out, errOut bytes.Buffer
	code := run(t.Context(), args[1:], streams{out: &out, err: &errOut, store: exampleStore})
	require.Equal(t, exitDone, code, errOut.String())
	wrote := false
	for i, arg := range args[:len(args)-1] {
		if slices.Contains([]string{"-o", "--save-plan", "--save-horse", "--dictionary", "--pairs"}, arg) && args[i+1] != "-" {
			info, err := os.Stat(args[i+1])
			require.NoError(t, err)
			require.NotZero(t, info.Size())
			wrote = true
		}
	}
	switch {
	case !wrote:
		require.NotEmpty(t, out.String())
	case slices.Contains(args, "-o") && !slices.Contains(args, "survey"): // which writes the plan and tells people of it
		require.Empty(t, out.String())
	}
}

// runServeExample opens the page, at a port that is free, and ends it as soon as it is open. A passcode asked for is
// answered.
func runServeExample(t *testing.T, args []string) {
	if !slices.Contains(args, "--listen") {
		args = append(args, "--listen", "127.0.0.1:8417")
	}
	for i := range args {
		args[i] = strings.Replace(args[i], ":8417", ":0", 1)
	}
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	said := &watched{word: "until Ctrl+C", do: stop}
	ask := func(context.Context, string) (string, error) { return "six strides on the long side", nil }
	require.Equal(t, exitDone, run(ctx, args[1:], streams{out: io.Discard, err: said, store: exampleStore, ask: ask}), said.text.String())
	require.NotErrorIs(t, ctx.Err(), context.DeadlineExceeded, said.text.String())
	require.NotEmpty(t, said.text.String())
}

// watched is a text that somebody waits for a word in.
type watched struct {
	mu   sync.Mutex
	text strings.Builder
	word string
	do   func()
}

func (w *watched) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.text.Write(p)
	if strings.Contains(w.text.String(), w.word) {
		w.do()
	}
	return len(p), nil
}

// exampleFolder has the files that the examples name: the demo's, the same in an archive and in folders of two days, its
// motion as a phone with headers of its own would write it, a list of rides, and what a course walk leaves.
func exampleFolder(t *testing.T) string {
	dir := t.TempDir()
	write := func(name string, data []byte) {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o666))
	}
	for _, name := range []string{"points.gpx", "tape.yaml"} {
		data, err := os.ReadFile(filepath.Join(root, "testdata", "survey", name))
		require.NoError(t, err)
		write(name, data)
	}
	var packed bytes.Buffer
	archive := zip.NewWriter(&packed)
	for _, name := range []string{"course.yaml", "ride.gpx", "motion.csv"} {
		data, err := demoFiles.ReadFile("demo/" + name)
		require.NoError(t, err)
		write(name, data)
		if name == "course.yaml" {
			continue
		}
		write("monday/"+name, data)
		write("thursday/"+name, data)
		member, err := archive.Create(name)
		require.NoError(t, err)
		_, err = member.Write(data)
		require.NoError(t, err)
		if name == "motion.csv" {
			head, rows, _ := strings.Cut(string(data), "\n")
			columns := strings.Split(strings.TrimSpace(head), ",")
			require.GreaterOrEqual(t, len(columns), 4)
			copy(columns, []string{"clock", "x", "y", "z"})
			phone := strings.Join(columns[:4], ",")
			for i := range columns[4:] {
				phone += ",other" + string(rune('a'+i))
			}
			write("phone.csv", []byte(phone+"\n"+rows))
		}
	}
	require.NoError(t, archive.Close())
	write("ride.zip", packed.Bytes())
	certificate(t, filepath.Join(dir, "yard.pem"), filepath.Join(dir, "yard.key"), 1)
	write("rides.csv", []byte("recording,course,horse,round,labels,mounting\nride.gpx+motion.csv,course.yaml,Bramble,first,labels.csv,saddle\n"))
	write("rail.csv", []byte("event,line,attempt,count\nstrides,3-4,1,5\n"))
	write("labels.csv", []byte("event,line,attempt,count,rater\nstrides,3-4,1,5,A\nstrides,3-4,1,5,B\n"))
	return dir
}

// words splits a command line at blanks, double quotes holding words together.
func words(line string) []string {
	var out []string
	for _, w := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1) {
		out = append(out, strings.Trim(w, `"`))
	}
	return out
}

// The manual's sample is what the text's golden file holds today.
func TestManualShowsTodaysText(t *testing.T) {
	manual, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	sample := regexp.MustCompile("(?s)```text\n(.*?)```").FindSubmatch(manual)
	require.NotNil(t, sample)
	today, err := os.ReadFile(filepath.Join(root, "report", "testdata", "answers.golden"))
	require.NoError(t, err)
	require.Contains(t, string(today), string(sample[1]))
}

// The manual's plan can be read without a fault or a warning, and rides as it says.
func TestManualsPlanIsOne(t *testing.T) {
	manual, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	sample := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindSubmatch(manual)
	require.NotNil(t, sample)
	plan, warnings, err := course.ReadPlan("README.md", sample[1])
	require.NoError(t, err)
	require.Empty(t, warnings)
	require.InDelta(t, *plan.Lines[0].WalkedM, plan.Lines[0].MapM, 0.01)
}
