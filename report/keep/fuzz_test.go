package keep

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// Whatever kept.json says, the folder is refused with faults or taken in, and no file outside it is looked at.
func FuzzImport(f *testing.F) {
	const sum = "ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afee48bb" // of "a"
	f.Add(`{"schema":"groundline.kept/1","horses":[],"courses":[],"rides":[]}`)
	f.Add(`{"schema":"groundline.kept/1","horses":[{"id":1,"name":"A"}],"rides":[{"id":1,"kept":"2026-05-09T14:30:00Z","horse":1,"files":[{"name":"x","file":"a","sha256":"` + sum + `","bytes":1}]}]}`)
	f.Add(`{"schema":"groundline.kept/1","courses":[{"id":1,"versions":[{"id":1,"version":1,"made":"2026-05-09T14:30:00Z","file":"../a","sha256":"` + sum + `"}]}]}`)
	f.Add(`{"schema":"groundline.kept/1","rides":[{"id":-1,"files":[{"file":"/etc/passwd","sha256":"x"},{"file":"a\u0000","bytes":-9}]},{"id":-1}]}`)
	f.Add(`{`)
	dir := f.TempDir()
	require.NoError(f, os.WriteFile(filepath.Join(dir, "a"), []byte("a"), 0o600))
	s := opened(f, f.TempDir())
	f.Fuzz(func(t *testing.T, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, keptFile), []byte(text), 0o600))
		if _, err := s.Import(t.Context(), dir); err != nil {
			var faults Faults
			require.ErrorAs(t, err, &faults, "%s", text)
		}
		rides, _, _, err := s.Rides(t.Context(), Filter{Limit: 1000})
		require.NoError(t, err)
		for _, r := range rides {
			for _, file := range r.Files {
				require.Equal(t, sum, file.SHA256, "the only file that there is")
			}
		}
	})
}

// Any name becomes one that any file system takes, of one part, and the same each time.
func FuzzNames(f *testing.F) {
	for _, name := range []string{"ride.gpx", "../../x", "C:\\CON", "a\x00b", "\xff", strings.Repeat("é", 300), " . ", "nul.tar.gz", "a+b", "\u00ad\u202e"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		for _, made := range []string{safeName(name), safeName(baseName(name)), filepath.Base(rideFolder(1, name, name))} {
			require.True(t, filepath.IsLocal(made), made)
			require.Equal(t, made, filepath.Base(made))
			require.True(t, utf8.ValidString(made))
			require.LessOrEqual(t, len(made), 121)
			require.False(t, strings.ContainsAny(made, "<>:\"/\\|?*+\x00\n"), made)
			require.Equal(t, made, safeName(made), "it is safe already")
			require.Equal(t, strings.TrimSpace(made), made)
		}
		base := baseName(name)
		require.NotEmpty(t, base)
		require.True(t, utf8.ValidString(base))
		require.LessOrEqual(t, len(base), maxFileName+len("recording"))
		require.Equal(t, base, baseName(base))
		require.NoError(t, line("name", base, 1000))
	})
}
