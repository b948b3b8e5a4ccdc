// Package terminal plays a drill in a terminal: it shows what the surgeon sees, takes decisions by single
// keys while the clock runs, and afterwards shows what each decision did to the eye and why each level
// was given. It speaks to the offices only through their clients.
package terminal

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/fault"
)

// Cautions stand at the head of every drill.
const Cautions = "For training only, not for use on or about a patient. Local protocols, device instructions and " +
	"licensed supervision decide. A drill shows reasoning in a simulated setting; it passes and fails nobody."

// Player plays drills for one person at one terminal.
type Player struct {
	Drills      drillv1.DrillServiceClient
	Assessments assessmentv1.AssessmentServiceClient
	Scenarios   scenariov1.ScenarioServiceClient
	In          Input
	Out         io.Writer
	Style       Style
	Now         func() time.Time
}

// errBrokenOff says that the trainee broke the drill off.
var errBrokenOff = errors.New("the drill was broken off")

// ErrLeft says that the trainee left a drill that can be taken up again.
var ErrLeft = errors.New("the drill was left as it stands")

// Start opens a drill and plays it to its end and debrief.
func (p *Player) Start(ctx context.Context, r *drillv1.StartDrillRequest) error {
	r.RequestId = requestID()
	started, err := p.Drills.StartDrill(ctx, r)
	if err != nil {
		return err
	}
	p.opening(started.GetDrill(), p.reviewer(ctx, started.GetDrill()))
	return p.run(ctx, started.GetDrill(), started.GetScene())
}

// Resume takes up a running drill where it stands.
func (p *Player) Resume(ctx context.Context, drillID string) error {
	got, err := p.Drills.GetDrill(ctx, &drillv1.GetDrillRequest{DrillId: drillID})
	if err != nil {
		return err
	}
	p.opening(got.GetDrill(), p.reviewer(ctx, got.GetDrill()))
	return p.run(ctx, got.GetDrill(), got.GetScene())
}

func (p *Player) run(ctx context.Context, d *drillv1.Drill, s *drillv1.Scene) error {
	for d.GetState() == drillv1.DrillState_DRILL_STATE_RUNNING {
		p.scene(d, s)
		r, err := p.decision(ctx, d, s)
		switch {
		case errors.Is(err, errBrokenOff):
			return p.breakOff(ctx, d)
		case errors.Is(err, ErrInputEnded), errors.Is(err, context.Canceled):
			p.say("\nThe drill stands where it was. Take it up again with: zonule drill --resume %s\n", d.GetDrillId())
			return ErrLeft
		case err != nil:
			return err
		}
		answer, err := p.Drills.Decide(ctx, r)
		if refused := fault.Reason(err); refused == "ACTION_REFUSED" || refused == "NO_SUCH_CHOICE" || refused == "REASON_WANTED" {
			p.say("\n%s\n", p.Style.fold(fault.From(err).Sentence, "  "))
			continue
		}
		if err != nil {
			return err
		}
		p.answered(answer)
		d, s = answer.GetDrill(), answer.GetScene()
	}
	p.ended(s)
	return p.debrief(ctx, d)
}

// decision waits for the trainee while the clock runs.
func (p *Player) decision(ctx context.Context, d *drillv1.Drill, s *drillv1.Scene) (*drillv1.DecideRequest, error) {
	shown := p.Now()
	r := &drillv1.DecideRequest{RequestId: requestID(), DrillId: d.GetDrillId(), Index: s.GetIndex()}
	for {
		elapsed := p.Now().Sub(shown).Seconds()
		if s.GetLimitS() > 0 && elapsed > s.GetLimitS() {
			p.say("\r  The time for this decision is over.%20s\n", "")
			r.ElapsedS, r.What = s.GetLimitS(), &drillv1.DecideRequest_ClockRanOut{ClockRanOut: true}
			return r, nil
		}
		p.drawClock(elapsed, s.GetLimitS())
		a, err := p.In.Answer(ctx, 250*time.Millisecond)
		if errors.Is(err, errWaited) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if a.Elapsed < 0 {
			a.Elapsed = min(p.Now().Sub(shown).Seconds(), 600)
		}
		ok, err := p.take(ctx, r, s, a)
		if err != nil {
			return nil, err
		}
		if ok {
			r.ElapsedS = a.Elapsed
			return r, nil
		}
	}
}

// take turns an answer into the request; false when the trainee only asked something.
func (p *Player) take(ctx context.Context, r *drillv1.DecideRequest, s *drillv1.Scene, a Answer) (bool, error) {
	r.Reason = a.Rest
	switch a.Word {
	case "?":
		p.say("\n%s\n", Palette())
		return false, nil
	case "b", "break-off":
		return false, errBrokenOff
	case "f", "free":
		return p.takeFree(ctx, r, s, a)
	}
	c := chosen(s, a.Word)
	if c == nil {
		p.say("\r  %q is none of the keys; 1 to %d decide.\n", a.Word, len(s.GetChoices()))
		return false, nil
	}
	p.say("\r  %s%20s\n", p.Style.bold(c.GetSay()), "")
	r.What = &drillv1.DecideRequest_Choice{Choice: c.GetId()}
	if c.GetAsksReason() && r.Reason == "" {
		p.say("  Why? Say it and write a few words (no names): ")
		why, err := p.In.Line(ctx)
		if err != nil {
			return false, err
		}
		r.Reason = why
	}
	return true, nil
}

func (p *Player) takeFree(ctx context.Context, r *drillv1.DecideRequest, s *drillv1.Scene, a Answer) (bool, error) {
	if !s.GetFreeHands() {
		p.say("\r  Free hands are off in this drill.\n")
		return false, nil
	}
	line := a.Rest
	if line == "" {
		p.say("\r  Actions (? shows the palette): ")
		var err error
		if line, err = p.In.Line(ctx); err != nil {
			return false, err
		}
	}
	if line == "?" {
		p.say("\n%s\n", Palette())
		return false, nil
	}
	actions, err := ParseFree(line)
	if err != nil {
		p.say("  %v\n", err)
		return false, nil
	}
	r.Reason = ""
	r.What = &drillv1.DecideRequest_Free{Free: &drillv1.FreeActions{Actions: actions}}
	return true, nil
}

// chosen finds a choice by its number or its id.
func chosen(s *drillv1.Scene, word string) *drillv1.Choice {
	if n, err := strconv.Atoi(word); err == nil && n >= 1 && n <= len(s.GetChoices()) {
		return s.GetChoices()[n-1]
	}
	for _, c := range s.GetChoices() {
		if c.GetId() == word {
			return c
		}
	}
	return nil
}

// breakOff abandons the drill after asking why.
func (p *Player) breakOff(ctx context.Context, d *drillv1.Drill) error {
	p.say("\r  Break the drill off without judgement? Write why, or an empty line to go on: ")
	why, err := p.In.Line(ctx)
	if err != nil {
		return err
	}
	if why == "" {
		return p.Resume(ctx, d.GetDrillId())
	}
	if _, err := p.Drills.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: requestID(), DrillId: d.GetDrillId(), Reason: why}); err != nil {
		return err
	}
	p.say("  The drill is on record as broken off and is not judged.\n")
	return nil
}

func (p *Player) say(format string, args ...any) { fmt.Fprintf(p.Out, format, args...) }

// requestID makes retries harmless: one id for one decision.
func requestID() string {
	var b [12]byte
	_, _ = rand.Read(b[:]) // never fails: it would have crashed the program
	return "t-" + hex.EncodeToString(b[:])
}
