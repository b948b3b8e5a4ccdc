package relay

import (
	"fmt"
	"strings"
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
