package eye

// instrument is what stands in the main wound.
type instrument int

const (
	noTool instrument = iota
	phacoTip
	aspirationTip
	cutter
)

var instrumentNames = [...]string{"none", "phaco-tip", "aspiration-tip", "cutter"}

// wound is the state of the main wound.
type woundState int

const (
	woundClosed woundState = iota
	woundFilled            // an instrument stands in it
	woundOpen
)

// settings is what the bench decides.
type settings struct {
	pedal                     int
	bottle, flow, limit       float64 // cm, mL/min, mmHg
	power, cuts               float64 // 0..1, 1/min
	torsional, byVacuum       bool
	occludedOnly              bool
	tool                      instrument
	separate, clamped, sealed bool
	wound                     woundState
	nearness, tipHour, ventTo float64
	stained, sutured, burping bool
	pressed                   bool // the wound is held shut by a finger
}

// startSettings is a usual machine before it is set, with no instrument in the eye.
func startSettings() settings {
	return settings{bottle: 80, flow: 30, limit: 300, power: 0.5, cuts: 4000, tipHour: 6}
}

func (s *settings) irrigating() bool { return s.pedal >= 1 && s.tool != noTool && !s.clamped }
func (s *settings) drawing() bool    { return s.pedal >= 2 && s.tool != noTool }
func (s *settings) ultrasound() bool { return s.pedal == 3 && s.tool == phacoTip && s.power > 0 }
func (s *settings) cutting() bool    { return s.pedal == 3 && s.tool == cutter && s.cuts > 0 }

// mode is the energy factor of the ultrasound.
func (e *Eye) mode() float64 {
	if e.set.torsional {
		return e.par.Torsional
	}
	return 1
}

// prepare carries the settings into the coefficients of the fluid that hold until the
// next change.
func (e *Eye) prepare() {
	s, p, f := &e.set, e.par, &e.fl
	f.bottle = CmWater * s.bottle
	e.ri = p.Ri * perMLMin
	if s.separate {
		e.ri *= p.RiSeparate
	}
	f.invLi, f.invCt, f.invRVent, f.invRLine = 1/p.Li, 1/p.Ct, 1/p.RVent, 1/p.RLine
	f.irrigating = s.irrigating()
	if !f.irrigating {
		e.q = 0
	}
	f.limit = max(1, s.limit)
	f.invBand = 1 / (p.Band * f.limit)
	f.drawing, f.byVacuum = s.drawing(), s.byVacuum
	f.venting, f.ventTo = s.pedal < 2, s.ventTo
	if !f.drawing {
		f.pump = 0
	}
	e.calm = 0
	e.wake()
}

// change changes the settings and notes what that switches on and off.
func (e *Eye) change(do func(s *settings)) {
	was := e.set
	do(&e.set)
	e.prepare()
	now := &e.set
	e.onOff("irrigation", was.irrigating(), now.irrigating())
	e.onOff("aspiration", was.drawing(), now.drawing())
	e.onOff("ultrasound", was.ultrasound(), now.ultrasound())
	if now.cutting() && !was.cutting() {
		e.mark("cutting", "")
	}
	if now.bottle > was.bottle || now.flow > was.flow || now.limit > was.limit {
		e.mark("settings-raised", movedText(&was, now, true))
	}
	if now.bottle < was.bottle || now.flow < was.flow || now.limit < was.limit {
		e.mark("settings-lowered", movedText(&was, now, false))
	}
	e.spanAll()
}

func (e *Eye) onOff(what string, was, now bool) {
	switch {
	case now && !was:
		e.mark(what+"-on", "")
	case was && !now:
		e.mark(what+"-off", "")
	}
}

// movedText names what was set higher, or lower.
func movedText(was, now *settings, up bool) string {
	text := ""
	for _, c := range []struct {
		name     string
		old, new float64
	}{{"bottle", was.bottle, now.bottle}, {"flow", was.flow, now.flow}, {"vacuum", was.limit, now.limit}} {
		if (up && c.new > c.old) || (!up && c.new < c.old) {
			if text != "" {
				text += ", "
			}
			text += c.name
		}
	}
	return text
}
