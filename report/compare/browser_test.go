package compare

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/trace/testkit/chrome"
)

// Every kind of comparison at three widths in both schemes: no wider than the screen, and no violation of any of axe's rules.
func TestPagesInABrowser(t *testing.T) {
	ctx := chrome.Start(t)
	pages := map[string][]Attempt{"tracks": {onPlan(first(), 19), onPlan(second(), 21)}}
	for _, x := range comparisons() {
		pages[x.name] = x.attempts
	}
	for name, attempts := range pages {
		html, _, err := Render(of(t, attempts...), attempts, PageOptions{Links: []report.Link{{Text: "Rides", Href: "/"}, {Text: "As text", Href: "/text"}}})
		require.NoError(t, err)
		file := filepath.Join(t.TempDir(), "page.html")
		require.NoError(t, os.WriteFile(file, html, 0o666))
		for _, width := range []int64{360, 768, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				if name != "tracks" && width != 360 {
					continue
				}
				media := chromedp.Func(func(ctx context.Context, to *chromedp.Target) error {
					_, err := cdp.Call(ctx, to, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
					return err
				})
				require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800), media, chromedp.Navigate("file://"+file)))
				at := fmt.Sprintf("%s at %d px, %s", name, width, scheme)
				require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), int(width), at)
				chrome.Axe(t, ctx)
			}
		}
	}
}
