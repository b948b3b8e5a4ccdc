package eye

import (
	"fmt"
	"math"
	"strings"

	"zonule/scenarios/eye/ode"
)

// Law tries a statement of area D that concerns a part of the model: that turning gap and
// load together turns the answer, that a closed eye keeps its volume, that steady pressure
// follows bottle and flow. Nil means that it holds; the error says where it does not, or that
// the statement is not known.
func Law(statement string, in Inputs) error {
	switch {
	case strings.HasPrefix(statement, "bag peak ratio is unchanged"):
		return rotatedTogether(in.or("hrs", 3))
	case strings.HasPrefix(statement, "closed eye"):
		return closedEyeKeeps()
	case strings.HasPrefix(statement, "raising the bottle never lowers"):
		return steadyMonotone()
	}
	return fmt.Errorf("the statement %q is not known", statement)
}

// rotatedTogether: turning gap and load by five hours turns the answer.
func rotatedTogether(hours float64) error {
	peak := func(turn float64) float64 {
		b := defaultShape.newBag()
		b.open(hours, 6+turn, 1)
		tl := &tool{onRim: true, node: b.node(6.25 + hours/2 + turn), spread: 1, fr: -2}
		b.rest()
		b.under(tl)
		b.pushed(3, tl)
		ratio, _, _ := b.ratios(b.ws.u, b.ws.v, b.ws.w)
		return ratio
	}
	if a, b := peak(0), peak(5); math.Abs(a-b) > 1e-12*a {
		return fmt.Errorf("peak ratio %.17g, turned by 5 h %.17g", a, b)
	}
	return nil
}

// closedEyeKeeps: a closed eye with nowhere to leak keeps its volume.
func closedEyeKeeps() error {
	par := DefaultParams()
	par.RSealed, par.RIn = math.Inf(1), math.Inf(1)
	e, err := NewWith(Spec{}, 1, par)
	if err != nil {
		return err
	}
	e.x = 40
	e.settle()
	if _, err := e.Run(60); err != nil {
		return err
	}
	if math.Abs(e.x-40) > 1e-9 {
		return fmt.Errorf("volume went from 40 to %.12g uL in 60 s", e.x)
	}
	return nil
}

// steadyMonotone: raising the bottle never lowers the steady pressure, raising the flow
// never raises it.
func steadyMonotone() error {
	steady := func(cm, flow float64) float64 {
		f := bench(102)
		f.irrigate(cm)
		f.draw(flow)
		f.invRa = openPort
		return f.at(f.run(ode.State{}, tick, 5000, nil))
	}
	for flow := 10.0; flow <= 50; flow += 10 {
		for cm := 40.0; cm <= 130; cm += 10 {
			p := steady(cm, flow)
			if q := steady(cm+10, flow); q < p {
				return fmt.Errorf("bottle %g to %g cm at %g mL/min: pressure falls from %g to %g", cm, cm+10, flow, p, q)
			}
			if q := steady(cm, flow+5); q > p {
				return fmt.Errorf("flow %g to %g mL/min at %g cm: pressure rises from %g to %g", flow, flow+5, cm, p, q)
			}
		}
	}
	return nil
}
