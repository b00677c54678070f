package serve

import (
	"context"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// withRides keeps the demo round three ways, a recording that can't be told, and one with a hostile name.
func withRides(t *testing.T, opt *Options) {
	withDemo(t, opt)
	keptDemo(t, opt.Store, "Rowan", "motion.csv")
	keptDemo(t, opt.Store, "", "ride.gpx")
}

// Every page of the stride table and that for programs is what a page must be.
func TestBrowserStridesPages(t *testing.T) {
	server := site(t, withRides)
	ctx := browser(t)
	for name, path := range map[string]string{
		"strides": "/strides", "strides-picked": "/strides?rides=1-3", "strides-nothing": "/strides?nothing=1&q=none", "strides-summary": "/strides/summary?rides=1-3",
		"strides-columns": "/strides/columns", "programs": "/programs",
	} {
		visit(t, ctx, server.URL+path)
		looked(t, ctx, name)
	}
}

func scripts(t *testing.T, ctx context.Context, off bool) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: off})))
}
