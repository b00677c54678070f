package guard

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"
)

// Cost of a passcode's hash: Argon2id with 19 MiB, two passes, one lane, the least that the OWASP Password Storage
// Cheat Sheet (2024) names. More memory would be a lever for whoever tries many; what is tried is limited anyway.
// Salt and tag are as long as RFC 9106, section 4, recommends.
const (
	hashMemoryKiB = 19 * 1024
	hashPasses    = 2
	hashLanes     = 1
	saltBytes     = 16
	tagBytes      = 32
)

const (
	// NIST SP 800-63B-4 (2025), 3.1.1.2, asks for fifteen characters where nothing else is asked for, and eight beside
	// another factor; with the tries limited to some thousands a day (rate.go), ten that are not a mere row stand long.
	shortestPasscode = 10
	longestPasscode  = 256 // bytes; the same source wants at least 64 characters taken
	fewestDistinct   = 5   // characters
	// Two at once keep 40 MiB busy; who has waited for long is told to come again.
	verifiedAtOnce = 2
	verifyWait     = 5 * time.Second
)

// BadPasscodeError tells why a passcode is none to be set.
type BadPasscodeError struct{ Why string }

func (e *BadPasscodeError) Error() string { return "passcode: " + e.Why }

// normal is a passcode as it is hashed: composed (NFC), as RFC 8265 (OpaqueString) has it, so that two keyboards
// write the same one. ok is false for what can't be one.
func normal(passcode string) (string, bool) {
	if passcode == "" || len(passcode) > longestPasscode || !utf8.ValidString(passcode) {
		return "", false
	}
	n := norm.NFC.String(passcode)
	return n, len(n) <= 2*longestPasscode
}

// Hash makes of a passcode what may be kept: a PHC string with salt and cost. A passcode that is too short, too
// long or a mere row gives a *BadPasscodeError.
func Hash(passcode string) (string, error) {
	p, ok := normal(passcode)
	if !ok {
		return "", &BadPasscodeError{fmt.Sprintf("expected at most %d bytes of text in UTF-8", longestPasscode)}
	}
	distinct := map[rune]bool{}
	for _, r := range p {
		if r < ' ' || r == 0x7f {
			return "", &BadPasscodeError{"holds a control character"}
		}
		distinct[r] = true
	}
	if n := utf8.RuneCountInString(p); n < shortestPasscode {
		return "", &BadPasscodeError{fmt.Sprintf("%d characters, expected %d or more; three or four words are easy to keep in mind", n, shortestPasscode)}
	}
	if len(distinct) < fewestDistinct || isRow(p) {
		return "", &BadPasscodeError{"a row of keys or the same few characters, expected something others don't guess"}
	}
	if isCommon(p) {
		return "", &BadPasscodeError{"one of those that are tried first, expected something others don't guess; three or four words are easy to keep in mind"}
	}
	salt := make([]byte, saltBytes)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("salt: %w", err)
	}
	tag := argon2.IDKey([]byte(p), salt, hashPasses, hashMemoryKiB, hashLanes, tagBytes)
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, hashMemoryKiB, hashPasses, hashLanes,
		b64.EncodeToString(salt), b64.EncodeToString(tag)), nil
}

// isCommon reports whether a passcode is a word that is tried first, whatever figures and signs are about it or stand for
// its letters (NIST SP 800-63B-4, 3.1.1.2, asks for such a list; the words are from memory of what leaked lists begin with,
// and the trade's own).
func isCommon(p string) bool {
	plain := strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s", "!", "i")
	letters := func(s string) string {
		return strings.Map(func(r rune) rune {
			if r < 'a' || r > 'z' {
				return -1
			}
			return r
		}, s)
	}
	p = strings.ToLower(p)
	for _, text := range []string{letters(p), letters(plain.Replace(strings.TrimRight(p, "0123456789!.?*#$ ")))} {
		for _, common := range strings.Fields(`password passwords mypassword thepassword passwordpassword passwort kennwort passcode passphrase
			qwerty qwertyuiop qwertz azerty letmein letmeinnow welcome welcomeback iloveyou admin administrator root login default changeme
			changemenow secret topsecret sunshine princess superman batman football baseball basketball dragon monkey master trustno
			trustnoone computer internet summer winter spring autumn january february september october november december monday
			friday horse horses horseriding ponies pony showjumping showjumper jumping equestrian stable stables ridingschool
			ridingclub groundline gallop canter dressage`) {
			if strings.ReplaceAll(text, common, "") == "" && text != "" {
				return true
			}
		}
	}
	return false
}

// isRow tells a passcode that is a piece of a keyboard's or the alphabet's row, either way.
func isRow(p string) bool {
	back := []rune(strings.ToLower(p))
	for i, j := 0, len(back)-1; i < j; i, j = i+1, j-1 {
		back[i], back[j] = back[j], back[i]
	}
	for _, row := range []string{"012345678901234567890123456789", "abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz", "qwertyuiopasdfghjklzxcvbnm", "qwertzuiopasdfghjklyxcvbnm", "groundline groundline"} {
		if strings.Contains(row, strings.ToLower(p)) || strings.Contains(row, string(back)) {
			return true
		}
	}
	return false
}

// hashed is a PHC string taken apart.
type hashed struct {
	passes, memoryKiB uint32
	lanes             uint8
	salt, tag         []byte
}

// parseHash reads a PHC string of Argon2id. Its cost is bounded, so that a hash from elsewhere can't eat memory.
func parseHash(phc string) (hashed, error) {
	bad := errors.New("the kept passcode can't be read; set it anew")
	parts := strings.Split(phc, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" {
		return hashed{}, bad
	}
	var h hashed
	var version int
	if n, err := fmt.Sscanf(parts[2]+" "+parts[3], "v=%d m=%d,t=%d,p=%d", &version, &h.memoryKiB, &h.passes, &h.lanes); err != nil || n != 4 {
		return hashed{}, bad
	}
	var errSalt, errTag error
	h.salt, errSalt = base64.RawStdEncoding.Strict().DecodeString(parts[4])
	h.tag, errTag = base64.RawStdEncoding.Strict().DecodeString(parts[5])
	if errSalt != nil || errTag != nil || version != argon2.Version || h.passes < 1 || h.passes > 16 || h.lanes < 1 || h.lanes > 16 ||
		h.memoryKiB < 8*uint32(h.lanes) || h.memoryKiB > 256*1024 || len(h.salt) < 8 || len(h.salt) > 64 || len(h.tag) < 16 || len(h.tag) > 64 {
		return hashed{}, bad
	}
	return h, nil
}

// Verify tells whether a passcode is the one that the PHC string was made of. An error tells a string that is none.
// It takes some hundredths of a second and 19 MiB.
func Verify(phc, passcode string) (bool, error) {
	h, err := parseHash(phc)
	if err != nil {
		return false, err
	}
	p, ok := normal(passcode)
	if !ok {
		return false, nil
	}
	tag := argon2.IDKey([]byte(p), h.salt, h.passes, h.memoryKiB, h.lanes, uint32(len(h.tag)))
	return subtle.ConstantTimeCompare(tag, h.tag) == 1, nil
}

// SetPasscode sets the hash of the passcode that is asked for from now on; "" asks for none. Sessions that began
// under another passcode end by it.
func (g *Guard) SetPasscode(phc string) error {
	if phc == "" {
		g.passcode.Store(nil)
		return nil
	}
	if _, err := parseHash(phc); err != nil {
		return err
	}
	g.passcode.Store(&phc)
	return nil
}

// errBusy tells that too many passcodes are being verified.
var errBusy = errors.New("busy")

// check verifies a passcode, a few at a time.
func (g *Guard) check(ctx context.Context, phc, passcode string) (bool, error) {
	timer := time.NewTimer(verifyWait)
	defer timer.Stop()
	select {
	case g.checking <- struct{}{}:
	case <-timer.C:
		return false, errBusy
	case <-ctx.Done():
		return false, ctx.Err()
	}
	defer func() { <-g.checking }()
	return Verify(phc, passcode)
}

// verified remembers the one passcode that was right, so that a program's each request does not pay for it again:
// not itself but a code of it, with a key that dies with the process.
type verified struct {
	key [32]byte
	sum [32]byte
	phc string // under which it was right; "": none yet
}

func (v *verified) code(phc, passcode string) [32]byte {
	mac := hmac.New(sha256.New, v.key[:])
	_, _ = mac.Write([]byte(phc))
	_, _ = mac.Write([]byte{0})
	_, _ = mac.Write([]byte(passcode))
	return [32]byte(mac.Sum(nil))
}

// knownRight tells whether the passcode is the one that was verified last.
func (g *Guard) knownRight(phc, passcode string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	sum := g.program.code(phc, passcode)
	return g.program.phc == phc && subtle.ConstantTimeCompare(sum[:], g.program.sum[:]) == 1
}

func (g *Guard) rememberRight(phc, passcode string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.program.phc == "" {
		if _, err := rand.Read(g.program.key[:]); err != nil {
			return err
		}
	}
	g.program.phc, g.program.sum = phc, g.program.code(phc, passcode)
	return nil
}
