package guard

import (
	"context"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/argon2"
	"pgregory.net/rapid"
)

// The tag is of the algorithm and not of a cousin: what Python's argon2 package and the reference C program give for
// this password, salt and cost (phc-winner-argon2, test.c: "password", "somesalt", t=2, m=64 MiB, p=1, version 0x13).
func TestHashIsArgon2id(t *testing.T) {
	tag := argon2.IDKey([]byte("password"), []byte("somesalt"), 2, 64*1024, 1, 32)
	require.Equal(t, "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7", hex.EncodeToString(tag))
	ok, err := Verify("$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc", "password")
	require.NoError(t, err)
	require.True(t, ok)
}

func TestPasscodesThatMayBeSet(t *testing.T) {
	for _, p := range []string{secret, "Über den Wassergraben", strings.Repeat("long one ", 20), "🐴🐎🏇🐴 hopp hopp", "0123456789 a"} {
		h, err := Hash(p)
		require.NoError(t, err, p)
		require.True(t, strings.HasPrefix(h, "$argon2id$v=19$m=19456,t=2,p=1$"), h)
		ok, err := Verify(h, p)
		require.NoError(t, err)
		require.True(t, ok, p)
		for _, wrong := range []string{"", p + " ", p[1:], strings.ToUpper(p), p + "\x00"} {
			ok, err = Verify(h, wrong)
			require.NoError(t, err)
			require.False(t, ok, wrong)
		}
	}
	for _, p := range []string{"", "short", "ninechars", "aaaaaaaaaaaaaa", "abababababab", "1234567890", "0987654321", "abcdefghij", "QWERTYUIOP", "qwertzuiop", "groundline groundline", "\xff\xfe aaaaaaaaaa", "with a\nline end", strings.Repeat("ab cd ef gh ", 30)} {
		_, err := Hash(p)
		var bad *BadPasscodeError
		require.ErrorAs(t, err, &bad, "%q", p)
		require.False(t, p != "" && strings.Contains(err.Error(), p), "the error tells the passcode")
	}
	one, err := Hash(secret)
	require.NoError(t, err)
	two, err := Hash(secret)
	require.NoError(t, err)
	require.NotEqual(t, one, two, "the same salt twice")
}

// The same letters from a keyboard that composes and from one that does not.
func TestPasscodeIsComposed(t *testing.T) {
	h, err := Hash("Gr\u00fcne Wiese, gr\u00fcner Wall")
	require.NoError(t, err)
	ok, err := Verify(h, "Gru\u0308ne Wiese, gru\u0308ner Wall")
	require.NoError(t, err)
	require.True(t, ok)
}

func TestHashesThatAreNone(t *testing.T) {
	g, err := New(Options{})
	require.NoError(t, err)
	for _, h := range []string{
		"x", "$argon2id$", "$argon2i$v=19$m=19456,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=16$m=19456,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=4000000000,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc", // four terabytes
		"$argon2id$v=19$m=19456,t=4000000000,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=19456,t=0,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=19456,t=2,p=0$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHQ$", "$argon2id$v=19$m=19456,t=2,p=1$$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=19456,t=2,p=1$!!$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
	} {
		_, err := Verify(h, secret)
		require.Error(t, err, h)
		require.Error(t, g.SetPasscode(h), h)
	}
}

// guarded is a server with a passcode, on a clock of the test's.
func guarded(t *testing.T, opt Options) (*standing, *clock) {
	t.Helper()
	c := newClock()
	opt.Now = c.now
	if opt.Open == nil {
		opt.Open = func(path string) bool { return strings.HasPrefix(path, "/static/") }
	}
	s := serve(t, opt, nil)
	require.NoError(t, s.SetPasscode(phc(t)))
	return s, c
}

func (s *standing) signIn(t *testing.T, passcode, next string, headers ...string) (*http.Response, string) {
	t.Helper()
	body := url.Values{"passcode": {passcode}, "next": {next}}.Encode()
	return s.ask(t, "POST", signInPath, body, append([]string{form, "Origin: http://" + s.addr, "User-Agent: Mozilla/5.0", "Accept: text/html"}, headers...)...)
}

// cookieOf is the session that an answer began.
func cookieOf(t *testing.T, answer *http.Response) *http.Cookie {
	t.Helper()
	for _, c := range answer.Cookies() {
		if c.Name == "groundline" || c.Name == "__Host-groundline" {
			return c
		}
	}
	t.Fatalf("no session began: %s %v", answer.Status, answer.Header)
	return nil
}

const asPage = "Accept: text/html,application/xhtml+xml"

func TestPasscodeIsAskedFor(t *testing.T) {
	s, _ := guarded(t, Options{})
	answer, _ := s.ask(t, "GET", "/rides/7?part=lines", "", asPage)
	require.Equal(t, 303, answer.StatusCode)
	require.Equal(t, "/sign-in?next=%2Frides%2F7%3Fpart%3Dlines", answer.Header.Get("Location"))
	answer, _ = s.ask(t, "GET", "/strides?rides="+strings.Repeat("1,", 5000), "", asPage)
	require.Equal(t, "/sign-in", answer.Header.Get("Location"))
	for _, c := range [][]string{{"GET", "/rides/7"}, {"GET", "/api/1/rides"}, {"POST", "/rides"}, {"DELETE", "/api/1/rides/1"}, {"GET", "/files/abc"}} {
		answer, said := s.ask(t, c[0], c[1], "")
		require.Equal(t, 401, answer.StatusCode, c)
		require.NotContains(t, said, "reached")
		require.Contains(t, answer.Header.Get("WWW-Authenticate"), "Bearer")
	}
	// A link from elsewhere comes without the cookie of who is signed in: it is asked for once more, by a page of ours.
	answer, said := s.ask(t, "GET", `/rides/7?a="><b>&c='`, "", asPage, "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document")
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, said, `content="0;url=/rides/7?a=&#34;&gt;&lt;b&gt;&amp;c=&#39;"`)
	answer, said = s.ask(t, "GET", "/static/site.css", "")
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, said, "signed in false")
	answer, said = s.ask(t, "GET", "/sign-in?next=/rides/7", "", asPage)
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, said, `value="/rides/7"`)
	require.Equal(t, Policy, answer.Header.Get("Content-Security-Policy"))
	require.Equal(t, "DENY", answer.Header.Get("X-Frame-Options"))

	answer, said = s.signIn(t, "not the passcode", "/rides/7")
	require.Equal(t, 401, answer.StatusCode)
	require.Contains(t, said, "That is not the passcode.")
	require.Empty(t, answer.Cookies())

	answer, _ = s.signIn(t, secret, "/rides/7")
	require.Equal(t, 303, answer.StatusCode)
	require.Equal(t, "/rides/7", answer.Header.Get("Location"))
	c := cookieOf(t, answer)
	require.True(t, c.HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, c.SameSite)
	require.Equal(t, "/", c.Path)
	require.Empty(t, c.Domain)
	require.False(t, c.Secure, "there is no TLS")
	cookie := "Cookie: " + c.Name + "=" + c.Value
	answer, said = s.ask(t, "GET", "/rides/7", "", asPage, cookie)
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, said, "signed in true")
	answer, _ = s.ask(t, "GET", "/sign-in?next=/horses", "", asPage, cookie)
	require.Equal(t, "/horses", answer.Header.Get("Location"), "who is in need not sign in")

	// A cross-site sign-in would make somebody work in another's rides.
	answer, _ = s.ask(t, "POST", signInPath, "passcode="+url.QueryEscape(secret), form, "Origin: http://evil.example")
	require.Equal(t, 403, answer.StatusCode)
	require.Empty(t, answer.Cookies())
}

func TestWithoutPasscodeThereIsNoSignIn(t *testing.T) {
	s := serve(t, Options{}, nil)
	answer, _ := s.ask(t, "GET", signInPath, "")
	require.Equal(t, "/", answer.Header.Get("Location"))
	answer, _ = s.ask(t, "POST", signOutPath, "")
	require.Equal(t, 303, answer.StatusCode)
}

func TestSessionsCantBePlantedOrGuessed(t *testing.T) {
	s, _ := guarded(t, Options{})
	planted := strings.Repeat("A", 43)
	answer, _ := s.ask(t, "GET", "/", "", "Cookie: groundline="+planted)
	require.Equal(t, 401, answer.StatusCode)
	answer, _ = s.signIn(t, secret, "/", "Cookie: groundline="+planted)
	fresh := cookieOf(t, answer)
	require.NotEqual(t, planted, fresh.Value, "a planted session was taken over")
	answer, _ = s.ask(t, "GET", "/", "", "Cookie: groundline="+planted)
	require.Equal(t, 401, answer.StatusCode)
	for _, v := range []string{"", "x", fresh.Value[:42], fresh.Value + "A", strings.ToUpper(fresh.Value), fresh.Value[:42] + "?", strings.Repeat("A", 4000)} {
		answer, _ = s.ask(t, "GET", "/", "", "Cookie: groundline="+v)
		require.Equal(t, 401, answer.StatusCode, v)
	}
	// A foreign cookie of the same name beside it does not shut anybody out.
	answer, _ = s.ask(t, "GET", "/", "", "Cookie: groundline="+planted+"; groundline="+fresh.Value)
	require.Equal(t, 200, answer.StatusCode)
	// Signing in again ends the session before.
	answer, _ = s.signIn(t, secret, "/", "Cookie: groundline="+fresh.Value)
	again := cookieOf(t, answer)
	require.NotEqual(t, fresh.Value, again.Value)
	answer, _ = s.ask(t, "GET", "/", "", "Cookie: groundline="+fresh.Value)
	require.Equal(t, 401, answer.StatusCode)
}

func TestWhatIsKeptOfASessionOpensNothing(t *testing.T) {
	m := newMemory(time.Now)
	s, _ := guarded(t, Options{Sessions: m})
	answer, _ := s.signIn(t, secret, "/")
	c := cookieOf(t, answer)
	require.Len(t, m.until, 1)
	for h := range m.until {
		require.NotContains(t, c.Value, hex.EncodeToString(h[:]))
		answer, _ = s.ask(t, "GET", "/", "", fmt.Sprintf("Cookie: groundline=%s", hex.EncodeToString(h[:])))
		require.Equal(t, 401, answer.StatusCode)
	}
}

func TestSessionsEnd(t *testing.T) {
	s, c := guarded(t, Options{})
	in := func() string {
		answer, _ := s.signIn(t, secret, "/")
		return "Cookie: groundline=" + cookieOf(t, answer).Value
	}
	lives := func(cookie string) bool {
		answer, _ := s.ask(t, "GET", "/rides", "", cookie)
		return answer.StatusCode == 200
	}
	a, b := in(), in()
	answer, _ := s.ask(t, "POST", signOutPath, "", a, "Origin: http://"+s.addr)
	require.Equal(t, 303, answer.StatusCode)
	require.Negative(t, cookieOf(t, answer).MaxAge)
	require.False(t, lives(a))
	require.True(t, lives(b))
	answer, _ = s.ask(t, "GET", signOutPath, "", b)
	require.Equal(t, 405, answer.StatusCode, "a link must not sign anybody out")
	answer, _ = s.ask(t, "POST", signOutPath, "", b, "Origin: http://evil.example")
	require.Equal(t, 403, answer.StatusCode)
	require.True(t, lives(b))

	d := in()
	s.ask(t, "POST", signOutPath, "everywhere=1", form, "Origin: http://"+s.addr)
	require.True(t, lives(b), "a stranger signed everybody out")
	s.ask(t, "POST", signOutPath, "everywhere=1", b, form, "Origin: http://"+s.addr)
	require.False(t, lives(b))
	require.False(t, lives(d))

	// A month unused ends it; use moves the end.
	e := in()
	c.pass(20 * 24 * time.Hour)
	answer, _ = s.ask(t, "GET", "/", "", e)
	require.Equal(t, 200, answer.StatusCode)
	require.Equal(t, int(sessionIdle.Seconds()), cookieOf(t, answer).MaxAge, "the browser must keep it for longer, too")
	c.pass(20 * 24 * time.Hour)
	require.True(t, lives(e))
	c.pass(sessionIdle + time.Second)
	require.False(t, lives(e))

	// Another passcode, other sessions.
	f := in()
	require.True(t, lives(f))
	other, err := Hash("another passcode altogether")
	require.NoError(t, err)
	require.NoError(t, s.SetPasscode(other))
	require.False(t, lives(f))
}

func TestMemoryIsBounded(t *testing.T) {
	c := newClock()
	m := newMemory(c.now)
	for i := range 3 * mostSessions {
		require.NoError(t, m.Put(context.Background(), [32]byte{byte(i), byte(i >> 8)}, c.now().Add(time.Duration(i+1)*time.Second)))
	}
	require.Len(t, m.until, mostSessions)
	until, err := m.Until(context.Background(), [32]byte{0})
	require.NoError(t, err)
	require.True(t, until.IsZero(), "the one that ends first goes first")
}

func TestBruteForceFromOneAddress(t *testing.T) {
	s, c := guarded(t, Options{})
	began := c.now()
	verified, refused := 0, 0
	for c.now().Sub(began) < 24*time.Hour {
		answer, said := s.signIn(t, "wrong guess number x", "/")
		if answer.StatusCode == 401 {
			verified++
			continue
		}
		require.Equal(t, 429, answer.StatusCode)
		refused++
		wait, err := strconv.Atoi(answer.Header.Get("Retry-After"))
		require.NoError(t, err)
		require.Positive(t, wait)
		require.LessOrEqual(t, time.Duration(wait)*time.Second, longestWait)
		require.Contains(t, said, "Too many tries. Wait ")
		c.pass(time.Duration(wait) * time.Second)
	}
	require.Less(t, verified, 130, "tries in a day")
	require.Greater(t, verified, 10)
	// The right one is let in after the wait, and no later.
	answer, _ := s.signIn(t, secret, "/")
	if answer.StatusCode == 429 {
		c.pass(longestWait)
		answer, _ = s.signIn(t, secret, "/")
	}
	require.Equal(t, 303, answer.StatusCode)
}

// Many at once get no more tries than one after the other.
func TestBruteForceAtOnce(t *testing.T) {
	s, _ := guarded(t, Options{})
	var mu sync.Mutex
	got := map[int]int{}
	var all sync.WaitGroup
	for range 40 {
		all.Go(func() {
			answer, _ := s.signIn(t, "wrong guess number x", "/")
			mu.Lock()
			defer mu.Unlock()
			got[answer.StatusCode]++
		})
	}
	all.Wait()
	require.Equal(t, map[int]int{401: freeTries, 429: 40 - freeTries}, got)
}

func TestBruteForceFromManyAddresses(t *testing.T) {
	c := newClock()
	l := newRates(c.now)
	home := netip.MustParsePrefix("192.0.2.1/32")
	require.Zero(t, l.try(home))
	l.right(home)
	granted := 0
	for second := range 3600 {
		for i := range 20 {
			who := netip.PrefixFrom(netip.AddrFrom4([4]byte{10, byte(second >> 4), byte(second), byte(i)}), 32)
			if l.try(who) == 0 {
				granted++
			}
		}
		c.pass(time.Second)
	}
	require.LessOrEqual(t, granted, overallStore+3600/3+1)
	require.Greater(t, granted, 1000)
	require.Zero(t, l.try(home), "the right person's address waits for others")
	require.LessOrEqual(t, len(l.of), mostAddresses)
}

// However tries come, the limits hold: per address a doubling wait, over all a rate; and memory is bounded.
func TestRatesHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := newClock()
		l := newRates(c.now)
		began := c.now()
		granted := 0
		of := map[netip.Prefix]int{}
		for range rapid.IntRange(1, 300).Draw(t, "tries") {
			c.pass(time.Duration(rapid.Int64Range(0, int64(10*time.Second)).Draw(t, "pause")))
			who := network(netip.AddrFrom4([4]byte{10, 0, 0, byte(rapid.IntRange(0, 5).Draw(t, "who"))}))
			wait := l.try(who)
			if wait < 0 || wait > longestWait {
				t.Fatalf("wait %v", wait)
			}
			if wait == 0 {
				granted++
				of[who]++
				if again := l.try(who); of[who] > freeTries && again == 0 {
					t.Fatalf("two at once after %d", of[who])
				} else if again == 0 {
					granted++
					of[who]++
				}
			}
		}
		passed := c.now().Sub(began)
		if most := overallStore + int(passed/overallEach) + 1; granted > most {
			t.Fatalf("%d in %v", granted, passed)
		}
		for who, n := range of {
			// n tries took at least the sum of the doubling waits of those that were not free, less what was forgotten.
			if forgotten := passed.Seconds() / forgetEach.Seconds(); float64(n) > freeTries+forgotten+math2(passed)+2 {
				t.Fatalf("%v had %d tries in %v", who, n, passed)
			}
		}
	})
}

// math2 is how many doublings of a second fit in a time.
func math2(d time.Duration) float64 {
	n := 0.0
	for sum := time.Second; sum < d; sum *= 2 {
		n++
	}
	return n
}

func TestCallersAreCountedByNetwork(t *testing.T) {
	g, err := New(Options{Names: []string{"https://ride.example"}})
	require.NoError(t, err)
	request := func(remote, host string, via ...string) *http.Request {
		return &http.Request{RemoteAddr: remote, Host: host, Header: http.Header{"X-Forwarded-For": via}}
	}
	for want, r := range map[string]*http.Request{
		"192.0.2.1/32":      request("192.0.2.1:999", "ride.example", "203.0.113.9"), // no proxy of ours says so
		"2001:db8:1:2::/64": request("[2001:db8:1:2:3:4:5:6]:999", "x"),
		"2001:db8:1:3::/64": request("[2001:db8:1:3::1]:999", "x"),
		"198.51.100.7/32":   request("[::ffff:198.51.100.7]:999", "x"),
		"203.0.113.9/32":    request("127.0.0.1:999", "ride.example", "10.0.0.1, 203.0.113.9"),
		"203.0.113.8/32":    request("127.0.0.1:999", "ride.example", "10.0.0.1", "203.0.113.8"),
		"2001:db8:9:9::/64": request("[::1]:999", "ride.example", "2001:db8:9:9::9"),
		"127.0.0.1/32":      request("127.0.0.1:999", "localhost:8417", "203.0.113.9"),
		"127.0.0.2/32":      request("127.0.0.2:999", "ride.example", "not an address"),
		"fe80::/64":         request("[fe80::1%eth0]:999", "x"),
		"invalid Prefix":    request("@", "x"),
	} {
		require.Equal(t, want, g.caller(r).String())
	}
}

func TestProgramsSendThePasscode(t *testing.T) {
	s, c := guarded(t, Options{})
	bearer := func(p string) (int, string) {
		answer, said := s.ask(t, "POST", "/api/1/rides", "", "Authorization: Bearer "+p)
		return answer.StatusCode, said
	}
	status, said := bearer(secret)
	require.Equal(t, 200, status)
	require.Contains(t, said, "signed in false")
	// Its next requests cost no hash: they don't wait for those who verify one.
	for range verifiedAtOnce {
		s.checking <- struct{}{}
	}
	began := time.Now()
	for range 20 {
		status, _ = bearer(secret)
		require.Equal(t, 200, status)
	}
	require.Less(t, time.Since(began), verifyWait)
	for range verifiedAtOnce {
		<-s.checking
	}
	answer, _ := s.ask(t, "GET", "/api/1/rides", "", "Authorization: bEaReR   "+secret)
	require.Equal(t, 200, answer.StatusCode, "schemes have no case (RFC 9110, 11.1)")
	for _, bad := range []string{"Authorization: Bearer", "Authorization: Bearer ", "Authorization: Basic " + secret, "Authorization: " + secret} {
		answer, _ = s.ask(t, "GET", "/api/1/rides", "", bad)
		require.Equal(t, 401, answer.StatusCode, bad)
		require.Equal(t, "application/problem+json", answer.Header.Get("Content-Type"))
	}
	answer, _ = s.ask(t, "GET", "/api/1/rides", "", "Authorization: Bearer "+secret, "Authorization: Bearer x")
	require.Equal(t, 401, answer.StatusCode)

	// Guessing this way is limited like signing in, and counts together with it. While the wait lasts the right one
	// is refused like all others: or the short way would tell it to whoever guesses fast.
	got := map[int]int{}
	for range 50 {
		status, _ = bearer("wrong guess number x")
		got[status]++
	}
	require.Equal(t, map[int]int{401: freeTries, 429: 50 - freeTries}, got)
	status, _ = bearer(secret)
	require.Equal(t, 429, status)
	answer, _ = s.signIn(t, secret, "/")
	require.Equal(t, 429, answer.StatusCode)
	c.pass(2 * time.Second)
	status, _ = bearer(secret)
	require.Equal(t, 200, status)

	other, err := Hash("another passcode altogether")
	require.NoError(t, err)
	require.NoError(t, s.SetPasscode(other))
	c.pass(longestWait)
	status, _ = bearer(secret)
	require.Equal(t, 401, status, "the passcode before still opens")
}

// Memory for hashes is bounded, whoever asks: the third waits until the first is done.
func TestFewAreVerifiedAtOnce(t *testing.T) {
	g, err := New(Options{})
	require.NoError(t, err)
	for range verifiedAtOnce {
		g.checking <- struct{}{}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	_, err = g.check(ctx, phc(t), secret)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	<-g.checking
	ok, err := g.check(context.Background(), phc(t), secret)
	require.NoError(t, err)
	require.True(t, ok)
}

// How long an answer takes must not tell how much of a passcode is right.
func TestWrongOnesTakeAsLong(t *testing.T) {
	hash, err := Hash(secret)
	require.NoError(t, err)
	took := func(p string) time.Duration {
		best := time.Hour
		for range 3 {
			began := time.Now()
			_, err := Verify(hash, p)
			require.NoError(t, err)
			best = min(best, time.Since(began))
		}
		return best
	}
	right, wrong := took(secret), took("x")
	require.Less(t, right, 3*wrong)
	require.Less(t, wrong, 3*right)
}

func TestOpenRedirects(t *testing.T) {
	s, c := guarded(t, Options{})
	for next, want := range map[string]string{
		"/rides/7":                 "/rides/7",
		"/rides?text=a%20b&day=1":  "/rides?text=a%20b&day=1",
		"/horses/caf%C3%A9":        "/horses/caf%C3%A9",
		"/rides?back=//evil":       "/rides?back=//evil",
		"":                         "/",
		"//evil.example":           "/",
		"///evil.example":          "/",
		"/\\evil.example":          "/",
		"\\\\evil.example":         "/",
		"https://evil.example":     "/",
		"https:evil.example":       "/",
		"javascript:alert(1)":      "/",
		"/\t/evil.example":         "/",
		"/\n/evil.example":         "/",
		"\t//evil.example":         "/",
		" //evil.example":          "/",
		"/%2f/evil.example":        "/",
		"/%2fevil.example":         "/",
		"/%5cevil.example":         "/",
		"/.//evil.example":         "/",
		"/..//evil.example":        "/",
		"/%2e%2e//evil.example":    "/",
		"/%0d%0aSet-Cookie:%20a=b": "/",
		"evil.example":             "/",
		"@evil.example":            "/",
		"/sign-in?next=/x":         "/",
		"/sign-out":                "/",
		"/#//evil":                 "/",
	} {
		require.Equal(t, want, OwnPath(next), "%q", next)
		c.pass(time.Minute)
		answer, _ := s.signIn(t, secret, next)
		require.Equal(t, 303, answer.StatusCode)
		require.Equal(t, want, answer.Header.Get("Location"), "%q", next)
		_, said := s.ask(t, "GET", "/sign-in?next="+url.QueryEscape(next), "", asPage)
		require.NotContains(t, said, "evil.example", "%q", next)
	}
}

func TestSignInPageEscapes(t *testing.T) {
	s, _ := guarded(t, Options{})
	_, said := s.ask(t, "GET", "/sign-in?next="+url.QueryEscape(`/"><script>alert(1)</script>`), "", asPage)
	require.NotContains(t, said, "<script")
}

// Behind a proxy that does TLS, cookies are for TLS only, and no other site can plant one.
func TestCookiesBehindAProxy(t *testing.T) {
	s, _ := guarded(t, Options{Names: []string{"https://ride.example"}})
	answer, _ := s.ask(t, "POST", signInPath, "passcode="+url.QueryEscape(secret), form, "Host: ride.example", "Origin: https://ride.example", "X-Forwarded-For: 203.0.113.9")
	require.Equal(t, 303, answer.StatusCode)
	c := cookieOf(t, answer)
	require.Equal(t, "__Host-groundline", c.Name)
	require.True(t, c.Secure)
	require.Equal(t, "/", c.Path)
	require.Empty(t, c.Domain)
	answer, _ = s.ask(t, "GET", "/", "", "Host: ride.example", "Cookie: __Host-groundline="+c.Value)
	require.Equal(t, 200, answer.StatusCode)
	answer, _ = s.ask(t, "GET", "/", "", "Host: ride.example", "Cookie: groundline="+c.Value)
	require.Equal(t, 401, answer.StatusCode)
	answer, _ = s.ask(t, "POST", signInPath, "passcode=x", form, "Host: ride.example", "Origin: http://ride.example")
	require.Equal(t, 403, answer.StatusCode, "the same name without TLS is another site")
}
