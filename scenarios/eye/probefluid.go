package eye

import (
	"math"
	"strings"

	"zonule/scenarios/eye/ode"
)

// bench is a fluid system with the default lines, an instrument's leak, the given
// diaphragm, and everything off.
func bench(kd float64) *fluid {
	p := DefaultParams()
	leak := 1 / (p.RIn * perMLMin)
	return &fluid{globe: newGlobe(&p, p.PExt, kd), invRl: leak, invRlIn: leak, limit: 400, invBand: 1 / (p.Band * 400),
		invRLine: 1 / p.RLine, invRVent: 1 / p.RVent, invCt: 1 / p.Ct, ri: p.Ri * perMLMin, invLi: 1 / p.Li}
}

const openPort, closedPort = 1 / 0.072, 1e-4 / 0.072

func (f *fluid) limitTo(v float64) { f.limit, f.invBand = v, 1/(0.3*v) }

func (f *fluid) draw(flow float64) {
	f.drawing, f.venting, f.pump = true, false, flow*uLsPerMLM
}

func (f *fluid) irrigate(cm float64) { f.irrigating, f.bottle = true, CmWater*cm }

// leakBy sets the leak in mmHg/(mL/min).
func (f *fluid) leakBy(r float64) {
	f.invRl = 1 / (r * perMLMin)
	f.invRlIn = f.invRl
}

func (f *fluid) run(y ode.State, h float64, steps int, see func(i int, y ode.State)) ode.State {
	for i := 1; i <= steps; i++ {
		y = ode.ROS2(f, y, h)
		if see != nil {
			see(i, y)
		}
	}
	return y
}

func (f *fluid) at(y ode.State) float64 { return f.chamber(y.A, f.u) }

// volumeAt is the chamber volume with a pressure.
func (f *fluid) volumeAt(p float64) float64 {
	return bisect(-150, 400, func(x float64) float64 { return f.chamber(x, f.u) - p })
}

func probeFluid(quantity string, in Inputs) (float64, error) {
	f := bench(in.or("Kd", 102))
	f.leakBy(in.or("leak_mmHg_per_mL_min", in.or("leak", 12)))
	const long = 20000
	switch {
	case strings.HasPrefix(quantity, "steady IOP, unoccluded"):
		f.irrigate(in.get("bottle_cm"))
		f.draw(in.get("flow_mL_min"))
		f.invRa = openPort
		if in.get("separate_irrigation") == 1 {
			f.ri *= 1.8
		}
		return f.at(f.run(ode.State{}, tick, long, nil)), nil
	case strings.HasPrefix(quantity, "steady IOP, tip occluded"):
		f.irrigate(in.get("bottle_cm"))
		f.draw(in.get("flow_mL_min"))
		f.limitTo(in.get("vac_mmHg"))
		f.invRa = closedPort
		return f.at(f.run(ode.State{}, tick, long, nil)), nil
	case strings.HasPrefix(quantity, "vacuum-controlled"):
		f.irrigate(in.get("bottle_cm"))
		f.draw(0)
		f.byVacuum, f.limit, f.invRLine, f.invRa = true, in.get("vac"), 1/in.get("R_line"), openPort
		return f.at(f.run(ode.State{}, tick, long, nil)), nil
	case strings.HasPrefix(quantity, "time constant"):
		return timeConstant(f, in.get("P_mmHg")), nil
	case strings.HasPrefix(quantity, "overshoot"):
		return overshoot(f, in.get("P_mmHg")), nil
	case strings.HasPrefix(quantity, "vacuum rise"):
		return vacuumRise(f, quantity, in), nil
	}
	return unknown(quantity)
}

// vacuumRise is the line by itself, its port closed: when it reaches the band, or what it
// holds at a time.
func vacuumRise(f *fluid, quantity string, in Inputs) float64 {
	f.draw(in.get("flow"))
	v := in.get("vac_limit")
	f.limitTo(v)
	if strings.Contains(quantity, "one band time constant later") {
		return -f.run(ode.State{}, 1e-4, nearest(min(in.get("t_s"), 10)/1e-4), nil).B
	}
	reached := math.NaN()
	f.run(ode.State{}, 1e-4, 20000, func(i int, y ode.State) {
		if math.IsNaN(reached) && -y.B >= 0.7*v-1e-9 {
			reached = float64(i) * 1e-4
		}
	})
	return reached
}

// timeConstant steps the bottle by 0.01 mmHg on an eye in balance, with next to no
// inertance, and waits for 1 - 1/e of the answer.
func timeConstant(f *fluid, p float64) float64 {
	f.invRl, f.invRlIn, f.invLi = 0, 0, 1e7
	f.irrigating, f.bottle = true, p+0.01
	reached := math.NaN()
	const h = 2e-5
	f.run(ode.State{A: f.volumeAt(p)}, h, 20000, func(i int, y ode.State) {
		if math.IsNaN(reached) && f.at(y)-p >= 0.01*(1-1/math.E) {
			reached = float64(i) * h
		}
	})
	return reached
}

func overshoot(f *fluid, p float64) float64 {
	f.invRl, f.invRlIn = 0, 0
	f.irrigating, f.bottle = true, p+0.01
	most := 0.0
	f.run(ode.State{A: f.volumeAt(p)}, 5e-5, 20000, func(_ int, y ode.State) { most = max(most, f.at(y)-p) })
	return most/0.01 - 1
}

// scriptS1 runs the four phases of the fluid benchmark: vented line, open port, closed
// port, open port again, 2 s each.
func scriptS1(bottle, flow, vac, h float64, see func(tm float64, y ode.State, f *fluid)) {
	f := bench(102)
	f.irrigate(bottle)
	f.limitTo(vac)
	f.invRa, f.venting = openPort, true
	y, per := ode.State{}, nearest(2/h)
	for phase := range 4 {
		if phase > 0 {
			f.draw(flow)
			f.invRa = openPort
		}
		if phase == 2 {
			f.invRa = closedPort
		}
		y = f.run(y, h, per, func(i int, y ode.State) { see(float64(phase*per+i)*h, y, f) })
	}
}

func probeScript(quantity string, in Inputs) (float64, error) {
	if strings.HasPrefix(quantity, "isolated") {
		f := bench(in.get("Kd"))
		f.invRl, f.invRlIn, f.invRa, f.invCt = 0, 0, openPort, 1/in.or("C_t", 0.15)
		f.limitTo(2 * in.get("stored_vac")) // the limit itself would vent a stopped pump
		x0 := f.volumeAt(in.get("P_eye"))
		y := f.run(ode.State{A: x0, B: -in.get("stored_vac")}, 1e-4, 20000, nil)
		return x0 - y.A, nil
	}
	var at4, at6, least, when, before, lowest float64
	least, lowest = math.Inf(1), math.Inf(1)
	scriptS1(in.get("bottle_cm"), in.get("flow"), in.get("vac"), tick, func(tm float64, y ode.State, f *fluid) {
		p := f.at(y)
		switch {
		case math.Abs(tm-4) < tick/2:
			at4 = p
		case math.Abs(tm-6) < tick/2:
			at6, before = p, y.A
		case tm > 6:
			if p < least {
				least, when = p, tm-6
			}
			lowest = min(lowest, y.A)
		}
	})
	switch {
	case strings.Contains(quantity, "t=4"):
		return at4, nil
	case strings.Contains(quantity, "t=6"):
		return at6, nil
	case strings.Contains(quantity, "minimum IOP"):
		return least, nil
	case strings.Contains(quantity, "time of the minimum"):
		return when, nil
	case strings.Contains(quantity, "volume loss"):
		return before - lowest, nil
	}
	return unknown(quantity)
}

// probeOpen runs the whole eye, of which only what flows is looked at: an open wound, or an
// injection of viscoelastic.
func probeOpen(quantity string, in Inputs) (float64, error) {
	par := DefaultParams()
	par.ROpen, par.InjectRate = in.or("wound_R_mmHg_per_mL_min", par.ROpen), in.or("inject_uL_s", par.InjectRate)
	lens := in.or("V_lens", -1)
	e, err := NewWith(Spec{LensUL: lens, HyaloidBreached: true}, 1, par)
	if err != nil {
		return 0, err
	}
	e.x, e.fl.u = in.get("x0"), in.get("U0")
	e.vp = in.get("U0")
	e.fl.invCd = 1 / in.get("C_d")
	e.gap = in.or("gap_mm2", in.get("gap"))
	e.hyaloid = in.word("hyaloid") != "intact"
	if strings.HasPrefix(quantity, "OVD") {
		e.set.wound, e.rho = woundFilled, in.or("retention", par.Dispersive)
		e.injecting, e.injectLeft = in.get("P_stop"), 1e9
	} else {
		e.set.wound = woundOpen
	}
	e.prepare()
	e.settle()
	for range nearest(min(in.get("t_s"), 60) / tick) {
		e.step(1)
	}
	switch {
	case strings.Contains(quantity, "x(t)"):
		return e.x, nil
	case strings.Contains(quantity, "U(t)"):
		return e.fl.u, nil
	case strings.Contains(quantity, "V_o(t)"):
		return e.vo, nil
	}
	return unknown(quantity)
}
