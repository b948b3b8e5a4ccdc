// Package simulate makes virtual programmes whose truth is known: trainees on learning curves, series
// of drills met and missed, cases of different risk, gaps between drills, ratings and responses.
//
// The other packages of the judge are tested on them: does a method find what was put in, and do its
// 95 % intervals hold the truth in about 95 of 100 programmes? simulate_test.go asks that of each in
// short, and at length with ZONULE_LONG=1; README.md has the table. The same data, at full size, are
// what `zonule stats example` writes, so that other software can be run on them.
//
// Everything is a function of a seed. Persons here are numbers; nothing stands for anyone.
package simulate

import (
	"fmt"

	"gonum.org/v1/gonum/stat/distuv"

	"zonule/scenarios/script"
)

// Chance is a seeded stream of normal and uniform numbers.
type Chance struct{ *script.Stream }

// NewChance starts the stream of a seed and a purpose.
func NewChance(seed uint64, purpose string) Chance {
	return Chance{script.NewStream(seed, purpose)}
}

// Normal is a standard normal number.
func (c Chance) Normal() float64 { return distuv.UnitNormal.Quantile(c.Uniform()) }

// Met is true with probability p.
func (c Chance) Met(p float64) bool { return c.Uniform() < p }

// Spread is a quantity that differs between persons: normal with this mean and standard deviation.
type Spread struct{ Mean, Deviation float64 }

// Draw gives one person's.
func (s Spread) Draw(c Chance) float64 { return s.Mean + s.Deviation*c.Normal() }

func name(kind string, i int) string { return fmt.Sprintf("%s%04d", kind, i+1) }
