package dashboard

import (
	"context"
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
}
