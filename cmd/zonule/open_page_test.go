package main

import (
	"context"
	"fmt"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"zonule/cmd/zonule/cast"
	"zonule/cmd/zonule/site"
	"zonule/services/clock"
)

// The whole way round: a real site, a real browser on a trainee's page, a drill played and judged through gRPC,
// carried by NATS, and the open page shows it without being loaded again.
func TestOpenPageMovesWhenADrillIsPlayed(t *testing.T) {
	browser := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			browser = path
			break
		}
	}
	if testing.Short() || browser == "" {
		t.Skip("needs a browser (chromium, chromium-browser or google-chrome on PATH) and some seconds")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	calendar := clock.NewSet(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC))
	s, err := site.Open(ctx, site.Config{Data: t.TempDir() + "/site", Programme: "test", Site: "bench", Listen: "127.0.0.1:0", Pages: "127.0.0.1:0", Clock: calendar, Log: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	company := enrolled(ctx, t, s, calendar)

	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(browser), chromedp.UserDataDir(t.TempDir()), chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU}
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	alloc, stop := chromedp.NewExecAllocator(ctx, options...)
	defer stop()
	tab, stop := chromedp.NewContext(alloc)
	defer stop()
	drills := `Number(document.querySelector("dl.facts").dataset.value)`
	if err := chromedp.Do(tab, chromedp.Navigate("http://"+s.PagesAddr()+"/trainees/trainee-01?c=C1"), chromedp.WaitVisible("#live[data-state='live']"),
		chromedp.Evaluate[chromedp.Void]("window.sameDocument = true")); err != nil {
		t.Fatal(err)
	}
	for played := 1; played <= 2; played++ {
		plan := cast.Plan{Trainees: 1, Rounds: 1, Seed: uint64(played), End: calendar.Now().AddDate(0, 0, 9)}
		if err := company.Play(ctx, plan, nil); err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(tab, chromedp.Poll[chromedp.Void](fmt.Sprintf("%s === %d", drills, played))); err != nil {
			t.Fatalf("drill %d did not reach the open page: %v", played, err)
		}
	}
	same, err := chromedp.Run(tab, chromedp.Evaluate[bool]("window.sameDocument === true"))
	if err != nil || !same {
		t.Errorf("the page was loaded again: %v, %v", same, err)
	}
}

// enrolled publishes the library and enrols one invented trainee.
func enrolled(ctx context.Context, t *testing.T, s *site.Site, calendar *clock.Set) *cast.Company {
	t.Helper()
	if err := s.PublishLibrary(ctx); err != nil {
		t.Fatal(err)
	}
	company, err := cast.NewCompany(s.Clients, calendar)
	if err != nil {
		t.Fatal(err)
	}
	if err := company.Enrol(ctx, cast.People(1)); err != nil {
		t.Fatal(err)
	}
	return company
}
