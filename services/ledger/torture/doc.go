// Package torture runs a site's ledger in processes of its own, lets several clients record and read at random, does to
// it what disks, networks, clocks and people do, and compares everything that was ever answered with a small model.
//
// The clients write down what they asked and what they were told (History). After each fault the driver reads the whole
// ledger and judges the history by it (Judge): every acknowledged command must be there, once, at the place it was
// acknowledged with, in the order in which clients saw things happen, with the result the model gives; every read must be
// what the model had at some allowed place. Then the ledger's own check runs. Damage must be named, or put right from the
// copy in NATS; it must never be served as truth.
//
// The processes are this very program, started again: one is the site (ledger, relay, copy), one the NATS server, so that
// each can be killed alone.
package torture
