package main

import (
	"fmt"
	"slices"
	"strings"

	"zonule/cmd/zonule/site"
	"zonule/services/ledger/relay"
)

// natsFlags say where NATS is.
type natsFlags struct {
	NATS         string `name:"nats" help:"Use NATS servers outside this process, such as nats://a:4222,nats://b:4222,nats://c:4222, in place of the embedded one." placeholder:"URLS"`
	NATSReplicas int    `name:"nats-replicas" help:"How many of those servers keep a stream that is made; 3 on a cluster of three." default:"1"`
	NATSPort     int    `name:"nats-port" help:"Open the embedded NATS on this port of 127.0.0.1 for others to follow the events; they can read and nothing else. 0 for not at all, --nats-port=-1 for any free one." default:"0" placeholder:"PORT"`
	NATSSites    bool   `name:"nats-sites" help:"Let other sites carry their ledgers to that port, from this machine or through a tunnel to it."`
	NATSCreds    string `name:"nats-creds" help:"Credentials file for NATS." placeholder:"FILE" type:"path"`
	NATSNkey     string `name:"nats-nkey" help:"File with an nkey seed for NATS." placeholder:"FILE" type:"path"`
	NATSCA       string `name:"nats-ca" help:"Certificates that NATS servers are verified by; the system's when none are given." placeholder:"FILE" type:"path"`
	NATSCert     string `name:"nats-cert" help:"This site's own certificate for NATS." placeholder:"FILE" type:"path"`
	NATSKey      string `name:"nats-key" help:"The key of that certificate." placeholder:"FILE" type:"path"`
}

func (f natsFlags) external() relay.External {
	return relay.External{URLs: f.NATS, Credentials: f.NATSCreds, Nkey: f.NATSNkey, CA: f.NATSCA, Cert: f.NATSCert, Key: f.NATSKey}
}

// follow reads whom to follow, and their keys.
func (c *serveCmd) follow() ([]site.Follow, error) {
	var all []site.Follow
	for _, text := range c.Follow {
		f, err := site.ParseFollow(text)
		if err != nil {
			return nil, err
		}
		all = append(all, f)
	}
	for _, text := range c.FollowKey {
		id, key, _ := strings.Cut(text, "=")
		i := slices.IndexFunc(all, func(f site.Follow) bool { return f.Site == id && f.Site != site.Everyone })
		if i < 0 || key == "" {
			return nil, fmt.Errorf("%q is no key of a site that is followed; write SITE=KEY for a site given with --follow", text)
		}
		all[i].VerifierKey = key
	}
	return all, nil
}

// printFollowing says whose ledgers are followed.
func printFollowing(sh *shell, follow []site.Follow) {
	for _, f := range follow {
		who, where := "site "+f.Site, "on the NATS of this site"
		if f.Site == site.Everyone {
			who = "every site"
		}
		if f.URL != "" {
			where = "at " + f.URL + "; this ledger is carried there"
		}
		fmt.Fprintf(sh.out, "  follows %s %s (zonule site status says how far)\n", who, where)
	}
}
