package eye

import "math"

// squeeze raises the outside pressure while it lasts.
func (e *Eye) squeeze(pressure, seconds float64) {
	e.mark("squeezed", "")
	was := e.fl.ext
	if e.behind.calmed > 0 {
		quiet := min(pressure, e.par.PExt)
		pressure = quiet + (pressure-quiet)*(1-e.behind.calmed)
	}
	e.outside(pressure)
	e.pass(seconds)
	e.fl.ext = was
	e.calm = 0
	e.settle()
}

// outside sets what lids and orbit press with; speculum and drape add to it.
func (e *Eye) outside(pressure float64) {
	e.fl.ext = pressure + e.behind.outside
	e.calm = 0
	e.settle()
}

// cough raises pressure from outside and in the vessels in short bursts, and jolts what
// stands in the eye.
func (e *Eye) cough(bursts int) {
	e.mark("coughed", "")
	was := e.fl.ext
	for range bursts {
		e.behind.coughing = true
		e.fl.ext = was + e.par.Cough*(1-e.behind.calmed)
		e.calm = 0
		e.settle()
		e.pass(0.4)
		e.behind.coughing = false
		e.fl.ext = was
		e.calm = 0
		e.settle()
		e.pass(0.3)
	}
	e.jolt(4)
}

// startle is a movement of the head.
func (e *Eye) startle() {
	e.mark("patient-moved", "")
	e.pass(0.2)
	e.jolt(8)
	e.pass(0.5)
}

// jolt drives the instrument in the eye against the lens, mN, and toward the capsule when
// that is near.
func (e *Eye) jolt(force float64) {
	if e.set.tool == noTool {
		return
	}
	force *= (1 - e.behind.calmed) * e.handFactor()
	if !e.lost {
		sn, cs := math.Sincos(2 * math.Pi * e.set.tipHour / 12)
		e.tug(&tool{onCore: true, fx: force * sn, fy: force * cs, stop: 0.8})
		e.release()
	}
	if c := e.clearance(); c < 1.2 && !e.rent {
		e.strainCapsule(0.05 * force * math.Exp(-max(c, -0.5)/0.4))
	}
}

// calmPatient speaks to the patient, or has sedation and pain relief given.
func (e *Eye) calmPatient(with string) {
	if with == "sedation" {
		e.pass(20)
		e.behind.calmed = max(e.behind.calmed, 0.7)
	} else {
		e.pass(5)
		e.behind.calmed = max(e.behind.calmed, 0.4)
	}
	e.mark("patient-calmed", with)
}
