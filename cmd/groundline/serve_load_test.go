package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/report/keep"
)

// load is how long the load test runs: go test ./cmd/groundline -run FiftyUpload -load 1m -v.
var load = flag.Duration("load", 3*time.Second, "how long uploads come in the load test")

// dayOf is the nth ride over the demo's course, a minute and a half on a watch at 1 Hz and a sensor at 100 Hz: the
// demo's, ridden some other day, so that no two are the same.
func dayOf(t testing.TB, n int) map[string][]byte {
	t.Helper()
	gpx, err := demoFiles.ReadFile("demo/ride.gpx")
	require.NoError(t, err)
	motion, err := demoFiles.ReadFile("demo/motion.csv")
	require.NoError(t, err)
	at := time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n).Format("2006-01-02")
	require.Contains(t, string(gpx), "2026-05-09")
	// A last sample that differs makes the sensor's file another one, too.
	last := fmt.Sprintf("93.%07d,0.44,-2.36,9.62,-0.019,-0.021,0.000\n", 2000000+n)
	return map[string][]byte{"ride.gpx": bytes.ReplaceAll(gpx, []byte("2026-05-09"), []byte(at)), "motion.csv": append(slices.Clip(motion), last...)}
}

// child is the command in a process of its own.
type child struct {
	*exec.Cmd
	url  string
	said *heard
}

func startProcess(t *testing.T, store string, more ...string) *child {
	t.Helper()
	c := &child{Cmd: exec.Command("groundline", append([]string{"serve", "--listen", "127.0.0.1:0", "--store", store, "--open-here"}, more...)...), said: &heard{}}
	c.Stderr = c.said
	require.NoError(t, c.Start())
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	require.Eventually(t, func() bool {
		m := pageAt.FindStringSubmatch(c.said.String())
		if m != nil {
			c.url = m[1]
		}
		return m != nil
	}, 30*time.Second, 5*time.Millisecond, c.said)
	return c
}

// residentMB is a process's memory in use now and at most so far, MB; zeros where the system does not tell.
func residentMB(pid int) (now, most float64) {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, 0
	}
	for line := range strings.Lines(string(data)) {
		for name, to := range map[string]*float64{"VmRSS:": &now, "VmHWM:": &most} {
			if rest, ok := strings.CutPrefix(line, name); ok {
				kb, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
				*to = kb / 1024
			}
		}
	}
	return now, most
}

// kept is what of an answer to an upload these tests read.
type kept struct {
	ID int64 `json:"id"`
}

// upload sends a ride and gives its id, 0 if the answer is not that it was kept; err tells a broken connection.
func upload(client *http.Client, at, kind string, body []byte) (k kept, status int, err error) {
	answer, err := client.Post(at+"/api/1/rides", kind, bytes.NewReader(body))
	if err != nil {
		return k, 0, err
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		return k, answer.StatusCode, err
	}
	if answer.StatusCode/100 == 2 {
		err = json.Unmarshal(data, &k)
	}
	return k, answer.StatusCode, err
}

// Fifty phones send their rides at the same time, over and over: none is lost, memory stays bounded, and who only
// looks does not wait.
func TestFiftyUploadsAtOnce(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of load")
	}
	store := filepath.Join(t.TempDir(), "store")
	c := startProcess(t, store)
	idle, _ := residentMB(c.Process.Pid)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 60}, Timeout: 2 * time.Minute}
	defer client.CloseIdleConnections()

	const phones = 50
	var mu sync.Mutex
	var ids []int64
	var took []time.Duration
	statuses := map[int]int{}
	var next atomic.Int64
	until := time.Now().Add(*load)
	var all sync.WaitGroup
	for range phones {
		all.Go(func() {
			for first := true; first || time.Now().Before(until); first = false {
				kind, body := sent(t, dayOf(t, int(next.Add(1))), map[string]string{"label": "load"})
				began := time.Now()
				k, status, err := upload(client, c.url, kind, body.Bytes())
				mu.Lock()
				took = append(took, time.Since(began))
				statuses[status]++
				if err != nil || status != http.StatusCreated {
					t.Errorf("status %d: %v", status, err)
				}
				ids = append(ids, k.ID)
				mu.Unlock()
				if err != nil {
					return
				}
			}
		})
	}
	// Meanwhile somebody looks at the first page, a list and a style sheet.
	done := make(chan struct{})
	var looking sync.WaitGroup
	var looks []time.Duration
	looking.Go(func() {
		for i := 0; ; i++ {
			select {
			case <-done:
				return
			default:
			}
			began := time.Now()
			answer, err := client.Get(c.url + []string{"/", "/api/1/rides?limit=50", "/static/site.css"}[i%3])
			if err != nil {
				t.Errorf("a look: %v", err)
				return
			}
			_, _ = io.Copy(io.Discard, answer.Body)
			_ = answer.Body.Close()
			if answer.StatusCode != 200 {
				t.Errorf("a look: %s", answer.Status)
			}
			looks = append(looks, time.Since(began))
			time.Sleep(20 * time.Millisecond)
		}
	})
	began := time.Now()
	all.Wait()
	over := time.Since(began)
	close(done)
	looking.Wait()
	_, most := residentMB(c.Process.Pid)

	slices.Sort(ids)
	require.Len(t, slices.Compact(slices.Clone(ids)), len(ids), "two uploads became one ride")
	at := func(d []time.Duration, q float64) time.Duration {
		slices.Sort(d)
		return d[int(q*float64(len(d)-1))].Round(time.Millisecond)
	}
	t.Logf("%d uploads of %d phones in %v (%.1f/s), answers %v; an upload took %v in the middle, %v at 95 %%, %v at most",
		len(ids), phones, over.Round(time.Millisecond), float64(len(ids))/over.Seconds(), statuses, at(took, .5), at(took, .95), at(took, 1))
	t.Logf("%d looks meanwhile: %v in the middle, %v at 95 %%, %v at most", len(looks), at(looks, .5), at(looks, .95), at(looks, 1))
	t.Logf("memory: %.0f MB idle, %.0f MB at most (%d processors)", idle, most, runtime.NumCPU())
	// Uploads go to disk as they come; a ride of this length being worked out takes some tens of megabytes.
	require.Less(t, most, 400.0, "MB")
	require.Less(t, at(looks, .5), time.Second)

	require.NoError(t, c.Process.Kill())
	_ = c.Wait()
	requireKept(t, store, ids)
}

// Pictures take some thirty megabytes each to make; many who ask for one at once must not take all memory, nor keep the
// first page waiting.
func TestPicturesTakeTurns(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of drawing")
	}
	c := startProcess(t, filepath.Join(t.TempDir(), "store"))
	client := &http.Client{Timeout: 2 * time.Minute}
	defer client.CloseIdleConnections()
	answer, err := client.Post(c.url+"/demo", "application/x-www-form-urlencoded", nil)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	picture := func() (int, error) {
		answer, err := client.Get(c.url + "/rides/1/debrief.png")
		if err != nil {
			return 0, err
		}
		defer answer.Body.Close()
		_, err = io.Copy(io.Discard, answer.Body)
		return answer.StatusCode, err
	}
	require.Eventually(t, func() bool { status, err := picture(); return err == nil && status == 200 }, time.Minute, 50*time.Millisecond)
	var all sync.WaitGroup
	for range 16 {
		all.Go(func() {
			if status, err := picture(); err != nil || status != 200 {
				t.Errorf("a picture: %d %v", status, err)
			}
		})
	}
	time.Sleep(300 * time.Millisecond)
	began := time.Now()
	answer, err = client.Get(c.url + "/")
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	page := time.Since(began)
	all.Wait()
	_, most := residentMB(c.Process.Pid)
	t.Logf("the first page came after %v; memory %.0f MB at most", page.Round(time.Millisecond), most)
	require.Less(t, most, 100+60*float64(runtime.NumCPU()), "MB")
}

// All at once, in this process so that the race detector sees it: uploads, each twice, looks, people who sign in and out.
func TestAllAtOnce(t *testing.T) {
	s := startPage(t, "--passcode-file", writeFile(t, "passcode", spoken+"\n"))
	bearer := "Authorization: Bearer " + spoken
	s.get(t, "/api/1/rides", bearer) // the passcode is known to be right: the rest cost no hash
	var mu sync.Mutex
	of := map[int]map[int64]int{}
	var all sync.WaitGroup
	for i := range 12 {
		all.Go(func() {
			kind, body := sent(t, dayOf(t, i/2), map[string]string{"horse": "Moss"})
			answer, said := s.ask(t, "POST", "/api/1/rides", kind, body, bearer)
			var k kept
			if answer.StatusCode/100 != 2 || json.Unmarshal([]byte(said), &k) != nil {
				t.Errorf("%s: %s", answer.Status, said)
				return
			}
			mu.Lock()
			defer mu.Unlock()
			if of[i/2] == nil {
				of[i/2] = map[int64]int{}
			}
			of[i/2][k.ID]++
		})
	}
	for _, path := range []string{"/", "/courses", "/horses", "/strides", "/api/1/rides", "/api/1/horses", "/static/site.css"} {
		all.Go(func() {
			for range 5 {
				if answer, _ := s.get(t, path, bearer); answer.StatusCode != 200 {
					t.Errorf("%s: %s", path, answer.Status)
				}
			}
		})
	}
	for range 2 {
		all.Go(func() {
			answer, _ := s.post(t, "/sign-in", url.Values{"passcode": {spoken}})
			if len(answer.Cookies()) != 1 {
				t.Errorf("signing in: %s", answer.Status)
				return
			}
			cookie := "Cookie: " + answer.Cookies()[0].Name + "=" + answer.Cookies()[0].Value
			if answer, _ = s.get(t, "/", cookie); answer.StatusCode != 200 {
				t.Errorf("signed in: %s", answer.Status)
			}
			s.ask(t, "POST", "/sign-out", "", nil, cookie)
			if answer, _ = s.get(t, "/", cookie); answer.StatusCode != 303 {
				t.Errorf("signed out: %s", answer.Status)
			}
		})
	}
	all.Wait()
	require.Len(t, of, 6)
	for n, ids := range of {
		require.Len(t, ids, 1, "the same files of day %d became two rides", n)
	}
	answer, horses := s.get(t, "/api/1/horses", bearer)
	require.Equal(t, 200, answer.StatusCode)
	require.Equal(t, 1, strings.Count(horses, `"Moss"`), "one name became two horses")
}

// requireKept holds that a store has exactly these rides, each with both files whole.
func requireKept(t *testing.T, store string, ids []int64) {
	t.Helper()
	s, err := keep.Open(t.Context(), store, keep.Options{})
	require.NoError(t, err)
	defer s.Close()
	for _, id := range ids {
		ride, err := s.Ride(t.Context(), id)
		require.NoError(t, err, "ride %d was acknowledged and is lost", id)
		require.Len(t, ride.Files, 2)
		for _, f := range ride.Files {
			requireWhole(t, s, f)
		}
	}
}

// requireWhole holds that a kept file has the content it is kept under.
func requireWhole(t *testing.T, s *keep.Store, f keep.File) {
	t.Helper()
	file, err := s.OpenFile(t.Context(), f.SHA256)
	require.NoError(t, err)
	defer file.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, file)
	require.NoError(t, err)
	require.Equal(t, f.Bytes, n)
	require.Equal(t, f.SHA256, hex.EncodeToString(sum.Sum(nil)))
}

// kills is how often the server is killed in the test of that.
var kills = flag.Int("kills", 4, "how often the server is killed during uploads")

// The server dies without a word at any moment of uploads, again and again: what it had acknowledged is there, the
// next one opens the store, works out what was left, and nothing half is in the way.
func TestKilledDuringUploads(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of killing")
	}
	store := filepath.Join(t.TempDir(), "store")
	var mu sync.Mutex
	var acknowledged []int64
	var next atomic.Int64
	broken := 0
	for life := range *kills {
		c := startProcess(t, store)
		client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 60}, Timeout: time.Minute}
		var all sync.WaitGroup
		for range 8 {
			all.Go(func() {
				for {
					kind, body := sent(t, dayOf(t, int(next.Add(1))), nil)
					k, status, err := upload(client, c.url, kind, body.Bytes())
					mu.Lock()
					if err != nil {
						broken++
						mu.Unlock()
						return
					}
					if status == http.StatusCreated {
						acknowledged = append(acknowledged, k.ID)
					} else {
						t.Errorf("status %d", status)
					}
					mu.Unlock()
				}
			})
		}
		time.Sleep(time.Duration(150+131*life%700) * time.Millisecond)
		require.NoError(t, c.Process.Kill())
		_ = c.Wait()
		all.Wait()
		client.CloseIdleConnections()
	}
	t.Logf("%d kills: %d uploads acknowledged, %d broken off", *kills, len(acknowledged), broken)
	require.NotEmpty(t, acknowledged)
	require.NotZero(t, broken, "no upload was under way at any kill")
	requireKept(t, store, acknowledged)

	// The last life goes on where the others died: one of them is worked out, and one that was broken off can come again.
	c := startProcess(t, store)
	client := &http.Client{Timeout: time.Minute}
	kind, body := sent(t, dayOf(t, int(next.Load())), nil)
	again, status, err := upload(client, c.url, kind, body.Bytes())
	require.NoError(t, err)
	require.Contains(t, []int{http.StatusOK, http.StatusCreated}, status)
	require.NotZero(t, again.ID)
	require.Eventually(t, func() bool {
		answer, err := client.Get(c.url + "/api/1/rides?state=ready")
		if err != nil {
			return false
		}
		defer answer.Body.Close()
		var list struct{ Total int }
		return json.NewDecoder(answer.Body).Decode(&list) == nil && list.Total > 0
	}, time.Minute, 50*time.Millisecond)
	require.NoError(t, c.Process.Signal(os.Interrupt))
	require.NoError(t, c.Wait(), c.said)
	left, err := filepath.Glob(filepath.Join(store, "incoming", "*"))
	require.NoError(t, err)
	require.Empty(t, left, "what was broken off lies about")
}
