package dashboard

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// browse starts a browser with an empty profile, or skips the test.
func browse(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser is not started under -short")
	}
	var path string
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		t.Skip("no browser found: none of chromium, chromium-browser and google-chrome is on PATH")
	}
	options := append([]chromedp.ExecAllocatorOption{chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir())},
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU)
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(stop)
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("the browser does not start: %v", err)
	}
	ctx, stop = context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(stop)
	return ctx
}

// media makes the page believe in a preference of its reader.
func media(name, value string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: name, Value: value}}})
		return err
	})
}

// The point of it all: a drill is assessed, and the open page shows it without being loaded again.
func TestAssessedDrillAppearsOnTheOpenPage(t *testing.T) {
	ctx := browse(t)
	o, feed := invented(), newFakeFeed()
	s := serve(t, o, feed)
	points := "document.querySelectorAll('.chart-wide g.datum[data-key^=\"point:\"]').length"
	do := func(what string, steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, steps...); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	count := func() int {
		t.Helper()
		n, err := chromedp.Run(ctx, chromedp.Evaluate[int](points))
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	do("opening", media("prefers-reduced-motion", "reduce"), chromedp.Navigate(s.URL+"/trainees/t-001?c=C3"), chromedp.WaitVisible("#live[data-state='live']"))
	do("setting a mark that a reload would lose", chromedp.Evaluate[chromedp.Void]("window.sameDocument = true; document.getElementById('to-C9').focus()"))
	before := count()

	feed.entries <- assessedEntry(t, "t-002", "someone-else's")
	o.assessAnother("t-001", "C3", 2.4)
	feed.entries <- assessedEntry(t, "t-001", "t-001-d23")
	do("waiting for the point", chromedp.Poll[chromedp.Void](fmt.Sprintf("%s === %d", points, before+1)))
	for expression, want := range map[string]bool{
		"window.sameDocument === true":                                        true,
		"document.activeElement.id === 'to-C9'":                               true,
		"document.getElementById('told').textContent.includes('A drill was')": true,
		"document.querySelectorAll('.chart-wide g.datum.moved').length === 2": true,
		"document.querySelectorAll('.ten li.moved').length === 1":             true,
		"getComputedStyle(document.querySelector('.moved')).animationName":    false,
		"document.querySelector('tr.moved td').textContent === '23'":          true,
	} {
		if !want { // with reduced motion nothing is animated
			expression += " !== 'none'"
		}
		got, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression))
		if err != nil || got != want {
			t.Errorf("%s: %v, %v; want %v", expression, got, err, want)
		}
	}

	do("pausing", chromedp.Click("#live-pause"))
	o.assessAnother("t-001", "C3", 2.4)
	feed.entries <- assessedEntry(t, "t-001", "t-001-d24")
	do("being told of the new one", chromedp.Poll[chromedp.Void]("document.getElementById('live-words').textContent === 'Paused, 1 new'"))
	if n := count(); n != before+1 {
		t.Errorf("a paused page shows %d points, want %d", n, before+1)
	}
	do("going on", chromedp.Click("#live-pause"), chromedp.Poll[chromedp.Void](fmt.Sprintf("%s === %d", points, before+2)))
}

// What axe-core finds wrong with a page, one line for each rule and element.
const axeRun = `axe.run(document, {resultTypes: ["violations"], runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice", "cat.color"], rules: {"color-contrast-enhanced": {enabled: true}}})
	.then(r => ["color-contrast", "color-contrast-enhanced", "svg-img-alt", "document-title"].filter(id => !r.passes.some(p => p.id === id) && (id !== "svg-img-alt" || document.querySelector(".chart"))).map(id => "axe did not try " + id).concat(r.violations.flatMap(v => v.nodes.map(n => v.id + ": " + n.target.join(" ") + ": " + (n.failureSummary || "").replaceAll("\n", " ")))))`

func TestEveryPageIsAccessible(t *testing.T) {
	axe, err := os.ReadFile("../../.ci/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skip("axe-core is not installed; .ci/contracts installs it")
	}
	ctx := browse(t)
	full, empty := serve(t, invented(), newFakeFeed()), serve(t, &offices{}, newFakeFeed())
	var addresses []string
	for _, path := range append(everyPage, "/nowhere") {
		addresses = append(addresses, full.URL+path)
	}
	addresses = append(addresses, empty.URL+"/")
	for _, address := range addresses {
		for _, look := range []struct {
			width  int64
			scheme string
		}{{1280, "light"}, {375, "dark"}} {
			err := chromedp.Do(ctx, chromedp.EmulateViewport(look.width, 900), media("prefers-color-scheme", look.scheme), chromedp.Navigate(address), chromedp.WaitVisible("h1"),
				chromedp.Evaluate[chromedp.Void](string(axe)))
			if err != nil {
				t.Fatalf("%s: %v", address, err)
			}
			found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](axeRun, chromedp.EvalAwaitPromise))
			if err != nil {
				t.Fatalf("%s: %v", address, err)
			}
			for _, f := range found {
				t.Errorf("%s at %d, %s: %s", address, look.width, look.scheme, f)
			}
			wide, err := chromedp.Run(ctx, chromedp.Evaluate[int]("document.documentElement.scrollWidth"))
			if err != nil || int64(wide) > look.width {
				t.Errorf("%s at %d is %d wide (%v): it scrolls sideways", address, look.width, wide, err)
			}
		}
	}
}

// TestPictures writes a picture of every page into the folder named by ZONULE_PICTURES: for a person to look at.
func TestPictures(t *testing.T) {
	folder := os.Getenv("ZONULE_PICTURES")
	if folder == "" {
		t.Skip("set ZONULE_PICTURES to a folder to have pictures of the pages written there")
	}
	ctx := browse(t)
	full, empty := serve(t, invented(), newFakeFeed()), serve(t, &offices{}, newFakeFeed())
	for _, page := range []struct{ name, address string }{
		{"cohort", full.URL + "/"}, {"trainee", full.URL + "/trainees/t-001?c=C3"}, {"few", full.URL + "/trainees/t-003"}, {"debrief", full.URL + "/drills/t-001-d24"},
		{"running", full.URL + "/drills/t-001-d25"}, {"missing", full.URL + "/nowhere"}, {"empty", empty.URL + "/"},
	} {
		for _, look := range []struct {
			name   string
			width  int64
			scheme string
		}{{"desktop", 1280, "light"}, {"phone", 375, "light"}, {"dark", 1280, "dark"}} {
			err := chromedp.Do(ctx, chromedp.EmulateViewport(look.width, 900), media("prefers-color-scheme", look.scheme),
				chromedp.Navigate(page.address), chromedp.WaitVisible("h1"), chromedp.Sleep(400*time.Millisecond))
			if err != nil {
				t.Fatalf("%s, %s: %v", page.name, look.name, err)
			}
			picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err == nil {
				err = os.WriteFile(filepath.Join(folder, page.name+"-"+look.name+".png"), picture, 0o600)
			}
			if err != nil {
				t.Fatalf("%s, %s: %v", page.name, look.name, err)
			}
		}
	}
	o, feed := invented(), newFakeFeed()
	live := serve(t, o, feed)
	for _, page := range []struct{ name, path string }{{"moved-cohort", "/"}, {"moved-trainee", "/trainees/t-003?c=C2"}} {
		err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 900), media("prefers-color-scheme", "light"), chromedp.Navigate(live.URL+page.path), chromedp.WaitVisible("#live[data-state='live']"))
		if err != nil {
			t.Fatal(err)
		}
		o.assessAnother("t-003", "C2", 2.9)
		feed.entries <- assessedEntry(t, "t-003", "t-003-d06")
		if err := chromedp.Do(ctx, chromedp.Poll[chromedp.Void]("document.querySelector('.moved') !== null"), chromedp.Sleep(500*time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err == nil {
			err = os.WriteFile(filepath.Join(folder, page.name+".png"), picture, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}
