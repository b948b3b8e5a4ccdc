package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"zonule/cmd/zonule/site"
)

// serveCmd runs a site for real work.
type serveCmd struct {
	Data      string `help:"Folder that holds the site's ledger and NATS files; made if it is not there." required:"" placeholder:"DIR" type:"path"`
	Programme string `help:"Id of the programme; needed the first time only." placeholder:"ID"`
	Site      string `help:"Id of this site; needed the first time only." placeholder:"ID"`
	Listen    string `help:"Where gRPC listens; loopback, since access control is not in yet." default:"127.0.0.1:7410" placeholder:"HOST:PORT"`
	Pages     string `help:"Where the pages are served; loopback." default:"127.0.0.1:7480" placeholder:"HOST:PORT"`
	StoreKey  string `help:"Encrypt everything in the data folder at rest under this key file (see zonule ledger new-key)." placeholder:"FILE" type:"path"`

	Follow    []string `help:"Follow another site's ledger: SITE on this site's NATS, SITE=nats://HOST:PORT on its own, * for every site on this one's. May be given again." placeholder:"SITE[=URL]" sep:"none"`
	FollowKey []string `help:"The key of a followed site, as zonule site key prints it there. Without it the key shown at the first contact is remembered." placeholder:"SITE=KEY" sep:"none"`

	natsFlags

	SnapshotEvery time.Duration `help:"Export the ledger this often, such as 6h; 0 for never." default:"0" placeholder:"DURATION"`
	SnapshotKeep  int           `help:"How many snapshots to keep." default:"8"`
	SnapshotDir   string        `help:"Where snapshots go; better another disk than the folder snapshots of the data folder." placeholder:"DIR" type:"path"`
}

// Run serves until it is interrupted.
func (c *serveCmd) Run(ctx context.Context, sh *shell) error {
	key, err := storeKey(c.StoreKey)
	if err != nil {
		return err
	}
	follow, err := c.follow()
	if err != nil {
		return err
	}
	s, err := site.Open(ctx, site.Config{
		NATS: c.external(), Replicas: c.NATSReplicas, NATSPort: c.NATSPort, NATSSites: c.NATSSites, Follow: follow,
		Data: c.Data, Programme: c.Programme, Site: c.Site, Listen: c.Listen, Pages: c.Pages, Log: sh.log, StoreKey: key,
		Snapshots: site.Snapshots{Every: c.SnapshotEvery, Keep: c.SnapshotKeep, Dir: c.SnapshotDir},
	})
	if err != nil {
		return err
	}
	if err := s.PublishLibrary(ctx); err != nil {
		_ = s.Close()
		return err
	}
	printPlaces(sh, s, c.Data)
	if url := s.NATSURL(); url != "" {
		fmt.Fprintf(sh.out, "  events %s, services/ledger/EVENTS.md says how\n", url)
	}
	printFollowing(sh, follow)
	fmt.Fprintf(sh.out, "\nEnrol people with: zonule person add ID NAME. Ctrl-C ends; running drills go on at the next start.\n")
	return waitAndClose(ctx, s)
}

// printPlaces says where everything is.
func printPlaces(sh *shell, s *site.Site, data string) {
	fmt.Fprintf(sh.out, "  pages  http://%s/\n", s.PagesAddr())
	fmt.Fprintf(sh.out, "  gRPC   %s (reflection and health are on)\n", s.GRPCAddr())
	switch url := s.NATSURL(); {
	case url != "":
		fmt.Fprintf(sh.out, "  NATS   %s, embedded in this process; files in %s\n", url, filepath.Join(data, site.NATSFolder))
	case s.NATSOutside():
		fmt.Fprintf(sh.out, "  NATS   outside this process\n")
	default:
		fmt.Fprintf(sh.out, "  NATS   embedded in this process, no port open; files in %s\n", filepath.Join(data, site.NATSFolder))
	}
	fmt.Fprintf(sh.out, "  data   %s\n", data)
}

// waitAndClose waits for the interrupt, or for something in the site to fail, and closes it.
func waitAndClose(ctx context.Context, s *site.Site) error {
	select {
	case <-ctx.Done():
		return s.Close()
	case err := <-s.Failed():
		_ = s.Close()
		return err
	}
}
