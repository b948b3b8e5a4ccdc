// Package play plays a scenario: scenario, variant, seed and decisions in, timeline out. The same inputs give
// the same result, bit for bit, in the same build.
//
// A [Drill] is made by [New], shows the [Scene] a trainee sees, takes a [Decision] and answers with the
// [Step] that goes on record. Time is real: the eye goes on for as long as the trainee thought, with the
// pedal where it was, before the decision acts. A decision that is refused changes nothing. [Replay] plays a
// recorded [Timeline] again and [Compare] says where the eye answered otherwise than it did then.
//
// A facilitator may pause, bring an event about, annotate, switch the clock off and take a mis-tap back; each stands in
// the timeline as an [Event] of its own, apart from the trainee's decisions.
//
// A [Player] plays drills by a [Policy], for checks and for invented trainees; it sees what a trainee sees.
//
// The package knows no clock, no files and no global chance.
package play
