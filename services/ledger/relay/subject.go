package relay

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/nats-io/nats.go/jetstream"
)

// Subject is where an entry is published: zonule.<programme>.<site>.<kind>.<subject>.
func Subject(programme, site, kind, subject string) string {
	return SitePrefix(programme, site) + Token(kind) + "." + Token(subject)
}

// SitePrefix is what the subjects of all of a site's entries begin with.
func SitePrefix(programme, site string) string {
	return "zonule." + Token(programme) + "." + Token(site) + "."
}

// StreamName is the name of a site's stream.
func StreamName(programme, site string) string {
	return "zonule-" + Token(programme) + "-" + Token(site)
}

// SignedSubject is where a site's checkpoints are published, and AskSubject where it is asked. Both lie outside the
// subjects of its entries.
func SignedSubject(programme, site string) string {
	return "zonule-signed." + Token(programme) + "." + Token(site)
}

// AskSubject is where the owner of a ledger answers.
func AskSubject(programme, site string) string {
	return "zonule-ask." + Token(programme) + "." + Token(site)
}

// SignedName is the name of the stream of a site's checkpoints.
func SignedName(programme, site string) string {
	return "zonule_signed-" + Token(programme) + "-" + Token(site)
}

// MessageID is an entry's message id, by which JetStream knows it when it comes twice.
func MessageID(site string, sequence uint64) string {
	return fmt.Sprintf("%s-%d", Token(site), sequence)
}

// Token makes one token of a NATS subject of any id. Letters, digits, "-" and "_" stay; every other byte becomes "=" and
// two hexadecimal digits, so that different ids give different tokens. The empty id becomes "=".
func Token(id string) string {
	if id == "" {
		return "="
	}
	var b strings.Builder
	for i := range len(id) {
		switch c := id[i]; {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '_':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "=%02X", c)
		}
	}
	return b.String()
}

// ID is the inverse of Token. It says no to what Token does not make.
func ID(token string) (string, bool) {
	if token == "=" {
		return "", true
	}
	var id []byte
	for i := 0; i < len(token); i++ {
		if token[i] != '=' {
			id = append(id, token[i])
			continue
		}
		if i+3 > len(token) {
			return "", false
		}
		c, err := strconv.ParseUint(token[i+1:i+3], 16, 8)
		if err != nil {
			return "", false
		}
		id = append(id, byte(c))
		i += 2
	}
	return string(id), Token(string(id)) == token
}

// Sites lists the sites of a programme whose ledgers are carried to this NATS, by the subjects of their streams.
func Sites(ctx context.Context, js jetstream.JetStream, programme string) ([]string, error) {
	lister := js.ListStreams(ctx, jetstream.WithStreamListSubject("zonule."+Token(programme)+".>"))
	var sites []string
	for info := range lister.Info() {
		for _, subject := range info.Config.Subjects {
			parts := strings.Split(subject, ".")
			if len(parts) != 4 || parts[3] != ">" {
				continue
			}
			if site, ok := ID(parts[2]); ok && info.Config.Name == StreamName(programme, site) {
				sites = append(sites, site)
			}
		}
	}
	return sites, lister.Err()
}
