package keep

import (
	"fmt"
	"path"
	"path/filepath"
	"strings"
	"unicode"
)

// Names of an exported folder: made of what people wrote, and good on any file system.

// slug is a short name of words: small letters and digits of any language, with hyphens between.
func slug(words ...string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.ToValidUTF8(strings.Join(words, " "), "")) {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.Trim(cut(b.String(), 40), "-")
}

// rideFolder is where a ride's files are exported to, with slashes.
func rideFolder(id int64, horse, course string) string {
	name := fmt.Sprint(id)
	if s := slug(horse, course); s != "" {
		name += "-" + s
	}
	return path.Join("rides", name)
}

// fileNames are the names that a ride's files are exported under, in their order, each its own.
func fileNames(files []File) []string {
	taken := map[string]bool{}
	out := make([]string, len(files))
	for i, f := range files {
		out[i] = unique(taken, safeName(f.Name))
	}
	return out
}

// unique is a name that is not taken, small and capital letters alike, and takes it.
func unique(taken map[string]bool, name string) string {
	end := filepath.Ext(name)
	stem := strings.TrimSuffix(name, end)
	for n := 2; taken[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s-%d%s", stem, n, end)
	}
	taken[strings.ToLower(name)] = true
	return name
}

// Names that Windows gives a meaning, with any ending ("Naming Files, Paths, and Namespaces", Microsoft).
const reservedNames = " con prn aux nul com0 com1 com2 com3 com4 com5 com6 com7 com8 com9 lpt0 lpt1 lpt2 lpt3 lpt4 lpt5 lpt6 lpt7 lpt8 lpt9 com¹ com² com³ lpt¹ lpt² lpt³ conin$ conout$ "

// safeName is a file's name without what a file system, or the list of rides (which joins names by +), gives a meaning.
func safeName(name string) string {
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`<>:"/\|?*+`, r) || !unicode.IsPrint(r) {
			return '_'
		}
		return r
	}, strings.ToValidUTF8(name, "_"))
	const most = 120 // bytes: with its folder it stays far below what systems allow
	if len(name) > most {
		end := filepath.Ext(name)
		if len(end) > 10 {
			end = ""
		}
		name = cut(name, most-len(end)) + end
	}
	name = strings.TrimRight(strings.TrimSpace(name), ". ")
	first, _, _ := strings.Cut(strings.ToLower(name), ".")
	if name == "" || name[0] == '.' || strings.Contains(reservedNames, " "+strings.TrimSpace(first)+" ") {
		name = "_" + name
	}
	return name
}
