package serve

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/report/keep"
	"groundline/trace/testkit/chrome"
)

// Rides of one day over one course are a lesson by themselves: a row a horse, and rows that nobody named yet are named in place.
func TestLesson(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store), func(t *testing.T, opt *Options) {
		keptDemo(t, opt.Store, "Birch", "ride.gpx", "motion.csv")
		keptDemo(t, opt.Store, "", "ride.gpx")
	})
	_, list := got(t, web.URL+"/lessons")
	require.Contains(t, list, "2 rides")
	require.Contains(t, list, "2 pupils")
	ride, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	at := fmt.Sprintf("%s/lessons/2026-05-09/%d", web.URL, ride.CourseID)
	_, page := got(t, at)
	require.Contains(t, page, `<bdi>Birch</bdi>`)
	require.Contains(t, page, `href="/rides/1#3-4"`)
	require.Contains(t, page, "added 1")
	require.Contains(t, page, `value="device ride"`)
	for _, bad := range []string{"/lessons/2026-05-09/99", "/lessons/yesterday/1", "/lessons/2026-05-09/x", "/lessons/2026-05-10/1"} {
		status, _ := got(t, web.URL+bad)
		require.Equal(t, http.StatusNotFound, status, bad)
	}
	a, _ := does(t, http.MethodPost, at+"/names", "application/x-www-form-urlencoded", []byte(url.Values{"pupil": {"device ride"}, "name": {"Hazel"}}.Encode()))
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	second, err := store.Ride(t.Context(), 2)
	require.NoError(t, err)
	require.Equal(t, "Hazel", second.Horse)
	first, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Birch", first.Horse)
}

// A coach's folder of 44 files, sent at once, is 24 rides of six pupils.
func TestLessonOfManyFiles(t *testing.T) {
	dir := "../../../shared/data/lesson"
	data, err := os.ReadFile(filepath.Join(dir, "lesson.json"))
	if err != nil {
		t.Skip("the lesson's files are not here")
	}
	var truth []struct{ Files []string }
	require.NoError(t, json.Unmarshal(data, &truth))
	var store *keep.Store
	web := site(t, unworked, withStore(&store))
	parts := []part{{"each", "", "pair"}}
	names, err := filepath.Glob(filepath.Join(dir, "files", "*"))
	require.NoError(t, err)
	for _, name := range names {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		parts = append(parts, part{"file", filepath.Base(name), string(text)})
	}
	a, _ := sent(t, web.URL+"/rides", parts...)
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	rides, _, total, err := store.Rides(t.Context(), keep.Filter{Limit: 100})
	require.NoError(t, err)
	require.Equal(t, len(truth), total)
	files := 0
	for _, r := range rides {
		files += len(r.Files)
	}
	require.Equal(t, len(names), files)
}

func TestLessonInTheBrowser(t *testing.T) {
	web := site(t, func(t *testing.T, opt *Options) {
		keptDemo(t, opt.Store, "Birch", "ride.gpx", "motion.csv")
		keptDemo(t, opt.Store, "", "ride.gpx")
	})
	ctx := chrome.New(t)
	for name, path := range map[string]string{"lessons": "/lessons", "lesson": "/lessons/2026-05-09/1"} {
		began := time.Now()
		chrome.Visit(t, ctx, web.URL+path)
		chrome.Looked(t, ctx, name)
		t.Log(name, time.Since(began))
	}
}
