package play

// Kind says which rule a refused decision broke.
type Kind int

// The kinds of refusals.
const (
	NoSuchVariant Kind = iota // the scenario has no such variant
	Ended                     // the drill has reached its ending
	NotOneThing               // a decision is one of choice, free actions, clock ran out
	NoSuchChoice              // the stage does not offer it now
	NoFreeHands               // the scenario takes authored choices only
	ActionRefused             // the eye cannot do a free action now
	BadElapsed                // thinking time not finite, below 0 or beyond MaxElapsed
	TimeIsUp                  // the stage's limit has passed; send that the clock ran out
	NoLimit                   // the clock cannot run out here
	NothingToUndo             // no decision that can be taken back
	Paused                    // the drill stands still; resume it first
	NotPaused                 // there is no pause to end
	NotListed                 // not among the events a facilitator can bring about
	NoWords                   // an annotation without words, or with too many
)

// Refusal says why a decision is not taken. The drill is unchanged.
type Refusal struct {
	Kind    Kind
	Reason  string
	Instead string // what to do
	Cause   error  // the eye's own refusal of a free action, a *eye.Refusal; nil otherwise
}

// Error joins the parts to one sentence.
func (r *Refusal) Error() string {
	if r.Instead == "" {
		return r.Reason
	}
	return r.Reason + "; " + r.Instead
}

// Unwrap gives the eye's own refusal.
func (r *Refusal) Unwrap() error { return r.Cause }
