package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"groundline/course"
)

// Every command that the manual or a command's help shows is run as shown, among the files that it
// names, and is done (exit code 0) with something on standard output or in the file it names.
func TestExamplesRun(t *testing.T) {
	manual, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	var examples []string
	for _, block := range regexp.MustCompile("(?s)```sh\n(.*?)```").FindAllStringSubmatch(string(manual), -1) {
		examples = append(examples, strings.Split(block[1], "\n")...)
	}
	var help func(c *cobra.Command)
	help = func(c *cobra.Command) {
		examples = append(examples, strings.Split(c.Example, "\n")...)
		for _, sub := range c.Commands() {
			help(sub)
		}
	}
	help(rootCommand(streams{}))

	ran := map[string]bool{}
	for _, line := range examples {
		line, _, _ = strings.Cut(line, " #")
		line = strings.Replace(strings.TrimSpace(line), "go run ./cmd/groundline", "groundline", 1)
		args := words(line)
		if len(args) == 0 || args[0] != "groundline" {
			continue // blank, or a command of another tool
		}
		if ran[line] {
			continue
		}
		ran[line] = true
		t.Run(line, func(t *testing.T) {
			t.Chdir(exampleFolder(t))
			for i := range args { // a place of the example's own
				args[i] = strings.Replace(args[i], "/tmp/round", "round", 1)
			}
			var out, errOut bytes.Buffer
			code := run(t.Context(), args[1:], streams{out: &out, err: &errOut})
			require.Equal(t, exitDone, code, errOut.String())
			if i := slices.Index(args, "-o"); i >= 0 {
				require.FileExists(t, args[i+1])
				if !slices.Contains(args, "survey") { // which writes the plan and tells people of it
					require.Empty(t, out.String())
				}
			} else {
				require.NotEmpty(t, out.String())
			}
		})
	}
	require.GreaterOrEqual(t, len(ran), 15, "hardly an example was found")
}

// exampleFolder has the files that the examples name: the demo's, and its motion as a phone with
// headers of its own would write it.
func exampleFolder(t *testing.T) string {
	dir := t.TempDir()
	for _, name := range []string{"points.gpx", "tape.yaml"} {
		data, err := os.ReadFile(filepath.Join(root, "testdata", "survey", name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o666))
	}
	for _, name := range []string{"course.yaml", "ride.gpx", "motion.csv"} {
		data, err := demoFiles.ReadFile("demo/" + name)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o666))
		if name == "motion.csv" {
			head, rows, _ := strings.Cut(string(data), "\n")
			columns := strings.Split(strings.TrimSpace(head), ",")
			require.GreaterOrEqual(t, len(columns), 4)
			copy(columns, []string{"clock", "x", "y", "z"})
			phone := strings.Join(columns[:4], ",")
			for i := range columns[4:] {
				phone += ",other" + string(rune('a'+i))
			}
			require.NoError(t, os.WriteFile(filepath.Join(dir, "phone.csv"), []byte(phone+"\n"+rows), 0o666))
		}
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "rides.csv"), []byte("recording,course,horse,round\nride.gpx+motion.csv,course.yaml,Bramble,first\n"), 0o666))
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
	today, err := os.ReadFile(filepath.Join(root, "report", "testdata", "both.golden"))
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
