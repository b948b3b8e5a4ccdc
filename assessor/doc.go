// Package assessor is the judge: it reads the record of a drill and a rubric, and gives for each
// criterion a level with the reason and the evidence for it.
//
// [Assess] is pure and deterministic: the same timeline and rubric give the same assessment, word
// for word. It knows neither who the trainee is nor how others did, and it passes and fails
// nobody. A level is what the rubric's rules find in the record; a criterion the record cannot
// speak about is not shown, level 0, and is left out of the mean. Critical errors stand apart:
// they cap the criteria they name and no mean takes them away.
//
// Below it: rubric (the written standard and its rules), credit (choices where guidance diverges),
// curve (learning curves), mixed and logistic (the models they and others rest on), cusum (charts),
// retain (what is kept between drills), casemix (proportions and expected risks), agree and
// calibrate (raters and drills), standard (cut scores), simulate (programmes whose truth is known).
package assessor

// Caution stands wherever an assessment is shown.
const Caution = "Training only; not for use on or about a patient. This shows how decisions were reasoned in a simulated setting, not operating skill or fitness to operate. Local protocols, device instructions and licensed supervision decide."
