package policy

import "zonule/scenarios/eye"

// surgeon carries a plan out; the first error stops everything after it.
type surgeon struct {
	e     *eye.Eye
	think float64
	err   error
}

type num = map[string]float64
type word = map[string]string

func (s *surgeon) do(verb string, n num, w word) {
	if s.err == nil && s.think > 0 {
		_, s.err = s.e.Run(s.think)
	}
	if s.err == nil {
		_, s.err = s.e.Apply(eye.Action{Verb: verb, Num: n, Word: w})
	}
}

// try does what may be refused because the bag or the capsule gave way.
func (s *surgeon) try(verb string, n num, w word) {
	if s.err == nil {
		s.e.Apply(eye.Action{Verb: verb, Num: n, Word: w})
	}
}

func (s *surgeon) get(name string) float64 {
	x, _ := s.e.Measures().Get(name)
	return x
}

func (s *surgeon) is(name string) bool { return s.get(name) != 0 }

func (s *surgeon) pedal(position, seconds float64) {
	s.do("pedal", num{"position": position, "for": seconds}, nil)
}

func (s *surgeon) machine(bottle, flow, vacuum, power float64) {
	s.do("machine", num{"bottle": bottle, "flow": flow, "vacuum": vacuum, "power": power}, nil)
}

func (s *surgeon) enter(what string) { s.do("enter", nil, word{"instrument": what}) }

func (s *surgeon) near(x float64) { s.do("place", num{"nearness": x}, nil) }

// out withdraws under viscoelastic, or dry.
func (s *surgeon) out(dry bool) {
	s.pedal(0, 0)
	if !dry {
		s.fill(250)
	}
	s.do("withdraw", nil, nil)
}

func (s *surgeon) fill(ul float64) { s.do("ovd", num{"up_to": ul, "stop": 35}, nil) }

// opening brings the eye to the moment of decision.
func (s *surgeon) opening(c Case) {
	s.machine(100, 40, 400, 0.5)
	s.enter("phaco-tip")
	s.pedal(1, 1.5)
	s.try("chop", num{"hour": weakHour, "stop": c.Stop, "pieces": 3}, word{"force": c.Force}) // refused where support is lost before it
	if s.is("dialysis_hours") {
		s.e.Present(3, 0.3)
	}
	s.near(0.6)
	s.pedal(2, 0.5)
	s.e.ResetCounters()
}

func (s *surgeon) firstMoves(p Plan) {
	if p.KeepAspirating {
		for t := 0; t < 60 && s.get("fragments_left") > 0; t++ {
			s.pedal(3, 1)
		}
	}
	if p.WithdrawAtOnce {
		s.out(true)
		s.fill(250)
	} else {
		s.pedal(1, 1)
		s.out(false)
	}
	if p.Hooks {
		s.try("hooks", nil, nil)
	}
	if !p.NoRing {
		s.try("ring", nil, nil)
	}
	if s.is("dialysis_hours") {
		s.gel(p)
	}
}

// gel deals with vitreous in the chamber, with no instrument in the eye.
func (s *surgeon) gel(p Plan) {
	if p.NoCutting {
		if s.get("vitreous_in_chamber_ul") < 0.3 {
			return
		}
		s.enter("aspiration-tip")
		s.do("machine", num{"flow": 30, "vacuum": 400}, nil)
		s.near(0.9)
		s.pedal(2, 6)
		s.do("withdraw", nil, nil)
		return
	}
	s.enter("cutter")
	s.do("cut", num{"for": 40, "vacuum": 250, "flow": 12, "cuts": 4000, "bottle": 45, "nearness": 0.7}, nil)
	s.out(false)
}

func (s *surgeon) pieces(p Plan) {
	start := func() {
		s.fill(80)
		s.enter("phaco-tip")
		if p.RaiseSettings {
			s.machine(130, 45, 500, 0.5)
		} else {
			s.machine(65, 22, 220, 0.35)
		}
		s.do("machine", nil, word{"us": "occluded-only"})
		s.near(0.25)
	}
	start()
	for t, rounds := 0, 0; t < 120 && s.get("fragments_left") > 0 && s.err == nil; t++ {
		s.do("pedal", num{"position": 3, "for": 1}, word{"until": "vitreous-seen"})
		if s.get("vitreous_in_chamber_ul") > 2 && rounds < 3 {
			rounds++
			s.out(p.WithdrawAtOnce)
			s.gel(p)
			start()
		}
	}
	s.out(p.WithdrawAtOnce)
}

// cortex strips twelve sectors, the farthest from the weak hour first.
func (s *surgeon) cortex(p Plan) {
	s.enter("aspiration-tip")
	if p.RaiseSettings {
		s.do("machine", num{"bottle": 110, "flow": 35, "vacuum": 500}, nil)
	} else {
		s.do("machine", num{"bottle": 65, "flow": 22, "vacuum": 300}, nil)
	}
	direction := "tangential"
	far := []float64{10, 11, 9, 12, 8, 1, 7, 2, 6, 3, 5, 4}
	if p.WeakFirst {
		direction = "radial"
	}
	for i := range far {
		sector := far[i]
		if p.WeakFirst {
			sector = far[len(far)-1-i]
		}
		s.try("strip", num{"sector": sector}, word{"direction": direction})
	}
	s.out(p.WithdrawAtOnce)
}

func (s *surgeon) implant(p Plan) {
	s.fill(250)
	s.try("implant", nil, word{"plane": "bag"})
	if s.get("vitreous_in_chamber_ul") > 0.3 {
		s.gel(p)
	}
	s.enter("aspiration-tip")
	s.do("machine", num{"bottle": 60, "flow": 20, "vacuum": 250}, nil)
	s.do("remove-ovd", num{"for": 8}, nil)
	s.pedal(0, 0)
	s.do("withdraw", nil, nil)
	s.do("seal", nil, nil)
}
