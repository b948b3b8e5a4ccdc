package site

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"google.golang.org/grpc"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/library"
	"zonule/scenarios/script"
	"zonule/services/ledger/relay"
)

// GRPCAddr is where gRPC listens; empty when it does not.
func (s *Site) GRPCAddr() string {
	if s.grpc == nil {
		return ""
	}
	return s.grpc.Addr().String()
}

// PagesAddr is where the pages are served; empty when they are not.
func (s *Site) PagesAddr() string {
	if s.web == nil {
		return ""
	}
	return s.web.Addr().String()
}

// NATSURL is where programs on the same machine reach the embedded NATS; empty when it has no port, or NATS is outside.
func (s *Site) NATSURL() string {
	if s.embedded == nil {
		return ""
	}
	return s.embedded.URL()
}

// NATSOutside says whether NATS runs outside this process.
func (s *Site) NATSOutside() bool { return s.embedded == nil }

// Carried says what the relays are doing, the one to the site's own NATS first.
func (s *Site) Carried() []relay.Status {
	var all []relay.Status
	for _, r := range s.carriers {
		all = append(all, r.Status())
	}
	return all
}

// Failed gives an error when a part of the site stops by itself.
func (s *Site) Failed() <-chan error { return s.failed }

// Close closes everything, newest first.
func (s *Site) Close() error {
	var errs []error
	for _, c := range slices.Backward(s.closers) {
		errs = append(errs, c())
	}
	s.closers = nil
	return errors.Join(errs...)
}

func (s *Site) onClose(f func() error) { s.closers = append(s.closers, f) }

// serve runs a part that serves until it is closed.
func (s *Site) serve(what string, f func() error) {
	go func() {
		if err := f(); err != nil {
			select {
			case s.failed <- fmt.Errorf("%s stopped: %w", what, err):
			default: // enough has failed already
			}
		}
	}()
}

// stopSoon lets calls end, but not for ever: a watcher may hold its stream open.
func stopSoon(server *grpc.Server) {
	done := make(chan struct{})
	go func() { server.GracefulStop(); close(done) }()
	select {
	case <-done:
	case <-time.After(3 * time.Second):
		server.Stop()
	}
}

// PublishLibrary publishes the scenarios that come with the program; those published already are left alone.
func (s *Site) PublishLibrary(ctx context.Context) error {
	items, err := library.All()
	if err != nil {
		return err
	}
	for _, item := range items {
		_, err := s.Clients.Scenario.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{
			RequestId: "library-" + script.Digest(append(slices.Clone(item.Text), item.Rubric...))[:40], Source: item.Text, RubricSource: item.Rubric,
		})
		if err != nil {
			return fmt.Errorf("the library's %s cannot be published: %w", item.ID, err)
		}
	}
	return nil
}

// identity is what a data folder remembers of whose it is.
type identity struct {
	Programme string `json:"programme"`
	Site      string `json:"site"`
}

const identityFile = "site.json"

// identify reads whose folder it is, or writes it down the first time.
func identify(c Config) (identity, error) {
	path := filepath.Join(c.Data, identityFile)
	asked := identity{Programme: c.Programme, Site: c.Site}
	data, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return asked, begin(c.Data, path, asked)
	}
	if err != nil {
		return identity{}, err
	}
	var known identity
	if err := json.Unmarshal(data, &known); err != nil || known.Programme == "" || known.Site == "" {
		return identity{}, fmt.Errorf("%s does not say whose folder this is; restore it from a backup, or write {\"programme\": ..., \"site\": ...} into it", path)
	}
	if asked.Programme != "" && asked.Programme != known.Programme || asked.Site != "" && asked.Site != known.Site {
		return identity{}, fmt.Errorf("the folder %s belongs to site %q of programme %q, not to %q of %q; choose another folder", c.Data, known.Site, known.Programme, asked.Site, asked.Programme)
	}
	return known, nil
}

// begin writes down whose folder it is, in a folder that holds nothing else yet.
func begin(dir, path string, id identity) error {
	if id.Programme == "" || id.Site == "" {
		return fmt.Errorf("%s is not the folder of a site yet; name the programme and the site with --programme and --site", dir)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	if len(entries) > 0 {
		return fmt.Errorf("%s holds something that is not a site's; choose an empty folder", dir)
	}
	return write(path, id)
}

func write(path string, id identity) error {
	data, err := json.MarshalIndent(id, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(path, append(data, '\n'), 0o600)
}

// Label writes down whose folder it is, in one that was filled by an import.
func Label(dir, programme, site string) error {
	return write(filepath.Join(dir, identityFile), identity{Programme: programme, Site: site})
}
