// Package eye is the model eye: a lumped physical model of the front of the eye
// that answers what a trainee decides at the bench.
//
// Three parts are coupled. Fluids (chamber, vitreous, irrigation and aspiration
// lines, viscoelastic) are ordinary differential equations stepped at 2 ms, or
// 20 ms while all is calm. The capsular bag hangs on 72 tension-only zonular
// segments that can break; it is a static equilibrium solved at every mechanical
// action and at least every 2 s of moving fluid. Hazards (capsule rent, breach of
// the hyaloid face, strength of each segment) are thresholds drawn once from the
// seed, so that two plans tried on one seed meet the same eye.
//
// Beyond that ordinary eye lie the iris, Descemet's membrane, an implant before the bag,
// what presses from behind and the patient. A [Spec] that says nothing of them leaves
// them asleep.
//
// An [Eye] is made by [New], changed by [Eye.Apply] (one [Action], which is data)
// and by [Eye.Run] (time passes), and copied by [Eye.Clone] so that branches can be
// explored. The package knows no clock, no files and no global chance: the same
// build, [Spec], seed and actions give the same bits.
//
// Units: mm, uL, s, mmHg, mN; mL/min and cm of water at the machine. Clock hours run
// clockwise from 12 as the surgeon sees them.
//
// The numbers are illustrative, for training only; never clinical advice, and not
// for use on or about a patient. README.md names the source of each parameter and
// says what is weak.
package eye

// Model names this model and its version; it goes into every recorded decision.
const Model = "eye/1"
