// Package dashboard serves the supervisor's pages: the cohort, a trainee, the debrief of a drill. It is HTML printed
// on the server, with one small script that keeps an open page up to date.
//
// A page is a value: a handler asks the offices through their generated clients and fills a struct, a template prints
// it. The pages know nothing but the contracts: what the eye's measures are called in words stands in the package measure.
// They rank nobody: trainees stand in the order of their ids, and nothing can be sorted by result.
//
// GET / (cohort, ?after= pages on), /trainees/{id} (?c=C6 chooses the competency, ?drills= pages the drills),
// /drills/{id}, /live (server-sent events) and /assets/. Every other method is refused. A request with the header
// "Zonule-Part: main" gets the inside of the page's main element only: the script asks for it after an event.
//
// Live updates come from committed entries alone, through a Feed; NATSFeed reads them from the JetStream stream that
// the ledger's relay fills. One Feed serves all browsers, each with a short queue; a browser that falls behind is
// told so and reads the page anew.
//
// Nobody is asked who they are: until access control stands before these pages, serve them on loopback only.
package dashboard
