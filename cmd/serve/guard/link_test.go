package guard

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The printed address signs in the first browser that opens it, and no other; without it nothing is to be had.
func TestLinkSignsInOnce(t *testing.T) {
	g, err := New(Options{})
	require.NoError(t, err)
	path, err := g.AskForLink()
	require.NoError(t, err)
	server := httptest.NewServer(g.Handler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("rides")) })))
	defer server.Close()
	client := server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	get := func(path string, cookies ...*http.Cookie) *http.Response {
		r, err := http.NewRequest(http.MethodGet, server.URL+path, nil)
		require.NoError(t, err)
		r.Header.Set("Accept", "text/html")
		for _, c := range cookies {
			r.AddCookie(c)
		}
		answer, err := client.Do(r)
		require.NoError(t, err)
		answer.Body.Close()
		return answer
	}
	require.Equal(t, http.StatusSeeOther, get("/").StatusCode, "to sign in")
	require.Empty(t, get(signInPath+"?key=WRONG").Cookies())
	first := get(path)
	require.Equal(t, http.StatusSeeOther, first.StatusCode)
	require.Equal(t, "/", first.Header.Get("Location"))
	require.Len(t, first.Cookies(), 1)
	require.Equal(t, http.StatusOK, get("/", first.Cookies()...).StatusCode)
	require.Empty(t, get(path).Cookies(), "a second time")
	require.Equal(t, http.StatusOK, get("/", first.Cookies()...).StatusCode)

	// A passcode that is set takes its place, and ends what came by the link.
	phc, err := Hash("three quiet brown ponies")
	require.NoError(t, err)
	require.NoError(t, g.SetPasscode(phc))
	require.Equal(t, http.StatusSeeOther, get("/", first.Cookies()...).StatusCode)
}

func TestCommonPasscodesAreRefused(t *testing.T) {
	for _, p := range []string{"Password123", "p4ssw0rd!!!", "P@$$word2026", "qwertyuiop1", "letmein12345", "ShowJumping1", "horse-horse!", "groundline26", "iloveyou!!!!"} {
		_, err := Hash(p)
		var bad *BadPasscodeError
		require.ErrorAs(t, err, &bad, p)
	}
	for _, p := range []string{"three quiet brown ponies", "grey mare under oak", "Tack-room kettle 9"} {
		_, err := Hash(p)
		require.NoError(t, err, p)
	}
}

// A session that is used each day ends all the same.
func TestSessionsEndWhateverComes(t *testing.T) {
	now := time.Date(2026, 5, 9, 12, 0, 0, 0, time.UTC)
	g, err := New(Options{Now: func() time.Time { return now }})
	require.NoError(t, err)
	path, err := g.AskForLink()
	require.NoError(t, err)
	server := httptest.NewServer(g.Handler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("rides")) })))
	defer server.Close()
	client := server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	ask := func(path string, cookies ...*http.Cookie) *http.Response {
		r, err := http.NewRequest(http.MethodGet, server.URL+path, nil)
		require.NoError(t, err)
		for _, c := range cookies {
			r.AddCookie(c)
		}
		answer, err := client.Do(r)
		require.NoError(t, err)
		answer.Body.Close()
		return answer
	}
	cookies := ask(path).Cookies()
	days := 0
	for ; days < 200; days++ {
		if ask("/", cookies...).StatusCode != http.StatusOK {
			break
		}
		now = now.Add(24 * time.Hour)
	}
	require.Equal(t, int(sessionLongest/(24*time.Hour))+1, days)
}
