package site

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/dashboard"
	"zonule/services/ledger/relay"
	"zonule/services/ledger/replica"
)

// Everyone, as the site of a Follow, means every site of the programme that is carried to this site's own NATS.
const Everyone = "*"

// lookEvery is how often new sites are looked for when everyone is followed.
const lookEvery = 5 * time.Second

// Follow names a site whose ledger is followed.
type Follow struct {
	// Site is its id, or Everyone.
	Site string
	// URL is the NATS of that site, when it is another than this site's own. This site's ledger is carried there too.
	URL string
	// VerifierKey is the site's key; when empty the one it shows at the first contact is remembered.
	VerifierKey string
}

// ParseFollow reads SITE or SITE=URL.
func ParseFollow(text string) (Follow, error) {
	site, url, given := strings.Cut(text, "=")
	if site == "" || given && (url == "" || site == Everyone) {
		return Follow{}, fmt.Errorf("%q does not say whom to follow; write SITE, SITE=nats://HOST:PORT, or * for every site on this site's own NATS", text)
	}
	return Follow{Site: site, URL: url}, nil
}

// following holds the replicas of a site.
type following struct {
	mu       sync.Mutex
	replicas map[string]*replica.Replica
}

// status says what the following of a site is doing; empty when it is not followed.
func (f *following) status(site string) (state, sentence string) {
	f.mu.Lock()
	r := f.replicas[site]
	f.mu.Unlock()
	if r == nil {
		return "", ""
	}
	s := r.Status()
	return string(s.State), s.Sentence
}

// openFollowing follows other sites, and answers what they ask.
func (s *Site) openFollowing(_ context.Context, c Config) error {
	s.background(replica.Owner{Ledger: s.Ledger, Conn: s.nats, Logger: c.Log}.Run)
	links := map[string]*nats.Conn{}
	for _, f := range c.Follow {
		switch {
		case f.Site == Everyone:
			s.background(func(ctx context.Context) error { return s.followEveryone(ctx, c) })
		case f.URL == "":
			if err := s.follow(c, f, s.nats); err != nil {
				return err
			}
		default:
			link, err := s.link(c, f, links)
			if err != nil {
				return err
			}
			if err := s.follow(c, f, link); err != nil {
				return err
			}
		}
	}
	return nil
}

// link connects to the NATS of another site, carries this site's ledger there and answers there.
func (s *Site) link(c Config, f Follow, links map[string]*nats.Conn) (*nats.Conn, error) {
	if links[f.URL] != nil {
		return links[f.URL], nil
	}
	there := c.NATS
	there.URLs = f.URL
	there.Logger = c.Log
	conn, err := there.Connect("zonule site " + s.Ledger.Site())
	if err != nil {
		return nil, err
	}
	links[f.URL] = conn
	s.onClose(func() error { conn.Close(); return nil })
	carrier, err := relay.New(relay.Config{Ledger: s.Ledger, Conn: conn, Where: f.Site, Replicas: c.Replicas, Logger: c.Log})
	if err != nil {
		return nil, err
	}
	s.carriers = append(s.carriers, carrier)
	s.background(carrier.Run)
	s.background(replica.Owner{Ledger: s.Ledger, Conn: conn, Logger: c.Log}.Run)
	return conn, nil
}

// follow begins to follow a site, unless it is followed already.
func (s *Site) follow(c Config, f Follow, conn *nats.Conn) error {
	s.followed.mu.Lock()
	defer s.followed.mu.Unlock()
	if s.followed.replicas[f.Site] != nil {
		return nil
	}
	r, err := replica.New(replica.Config{Ledger: s.Ledger, Conn: conn, Site: f.Site, VerifierKey: f.VerifierKey, Logger: c.Log})
	if err != nil {
		return err
	}
	s.followed.replicas[f.Site] = r
	s.background(r.Run)
	return nil
}

// followEveryone looks for sites on this site's NATS, now and then, and follows those that are new.
func (s *Site) followEveryone(ctx context.Context, c Config) error {
	js, err := jetstream.New(s.nats)
	if err != nil {
		return err
	}
	for {
		short, cancel := context.WithTimeout(ctx, lookEvery)
		sites, err := relay.Sites(short, js, s.Ledger.Programme())
		cancel()
		if err != nil && ctx.Err() == nil {
			c.Log.Info("the sites on this NATS could not be listed; it is tried again", "error", err)
		}
		for _, site := range sites {
			if site == s.Ledger.Site() || slices.ContainsFunc(c.Follow, func(f Follow) bool { return f.Site == site }) {
				continue
			}
			if err := s.follow(c, Follow{Site: site}, s.nats); err != nil {
				c.Log.Warn("a site cannot be followed", "site", site, "error", err)
			}
		}
		select {
		case <-time.After(lookEvery):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// background runs something until the site closes; it ends when its context does.
func (s *Site) background(run func(context.Context) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stopAll == nil {
		var ctx context.Context
		ctx, s.stopAll = context.WithCancel(context.Background())
		s.all = ctx
		s.closers = append(s.closers, func() error { s.stopAll(); s.running.Wait(); return nil })
	}
	s.running.Add(1)
	go func() {
		defer s.running.Done()
		_ = run(s.all) // it shows and logs what holds it up, and ends only when it is told to, or with the ledger
	}()
}

// feeds gives the pages the own entries, from the stream, and those of other sites once they are in the views.
type feeds struct {
	own   dashboard.NATSFeed
	other interface {
		FollowCopies(context.Context, func(*ledgerv1.Entry) error) error
	}
}

// Follow implements dashboard.Feed.
func (f feeds) Follow(ctx context.Context, kinds []string, give func(*ledgerv1.Entry)) error {
	var one sync.Mutex
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = f.other.FollowCopies(ctx, func(e *ledgerv1.Entry) error {
			if slices.Contains(kinds, e.GetKind()) {
				one.Lock()
				defer one.Unlock()
				give(e)
			}
			return nil
		})
	}()
	err := f.own.Follow(ctx, kinds, func(e *ledgerv1.Entry) {
		one.Lock()
		defer one.Unlock()
		give(e)
	})
	if err == nil {
		<-ended
	}
	return err
}
