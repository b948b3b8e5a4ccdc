// Package author is what helps to write a scenario. It finds what is wrong with one beyond its form ([Check]),
// plays it through and says what the branches lead to ([Explore]), draws it ([Draw]), starts a new one ([New])
// and says what changed between two versions ([Diff], [Rerun]).
//
// The judge is not known here: marks come through a [Judge] function that the caller gives, and what a rubric
// asks for comes as plain names ([Evidence]). Everything is seeded and repeatable; the number of workers never
// changes a result. README.md says how each number is come by, and what none of them shows.
package author
