// Package rubric reads the written standard by which a drill is judged.
//
// A rubric belongs to one scenario. For each criterion it judges (C1 to C10, defined with their
// level anchors in the embedded [Standard]) it states, as rules over what was recorded, when a
// level is reached; and it names the critical errors, which stand apart and cap the criteria they
// name. README.md is the manual of every key and every function.
//
// [Parse] compiles a rubric and refuses it with file, line and column when anything in it is
// misspelt or unknown: the names of findings, signals and measures come from the model eye, those
// of choices and endings from the scenario ([Names]). [NewRecord] prepares a timeline, and
// [Record.Judge] applies one rule to it and reports what the rule looked at. Grading itself is
// the business of package assessor.
//
// Functions are total. Evidence that is not there is rule.ErrMissing, which becomes "not shown";
// it is never a crash and never a silent zero.
package rubric
