package eye

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Inputs are the named inputs of a check: numbers, truth values or words.
type Inputs map[string]any

// get reads a number; 0 when it is not there.
func (in Inputs) get(name string) float64 { return in.or(name, 0) }

func (in Inputs) or(name string, other float64) float64 {
	switch x := in[name].(type) {
	case float64:
		return x
	case bool:
		return bit(x)
	}
	return other
}

func (in Inputs) word(name string) string {
	s, _ := in[name].(string)
	return s
}

// Probe computes one quantity of one part of the model by itself, so that it can be held
// against a formula or another program. area is one letter: U units, P pressure and volume,
// F fluids, S the fluid script S1 and surge, O open wound and viscoelastic, B bag, H closed
// forms of the ring, V traction, N nucleus and energy, G chance. The quantity and the names
// of the inputs are those of testdata/eye/checks.csv. The answer is written with all its
// digits; the draws of G in hexadecimal are words. The error says what is not known.
func Probe(area, quantity string, in Inputs) (string, error) {
	if area == "G" && strings.Contains(quantity, "hex") {
		s := newStream(uint64(in.get("seed")), in.word("stream"))
		return "0x" + strconv.FormatUint(s.next(), 16), nil
	}
	probe, ok := map[string]func(string, Inputs) (float64, error){
		"U": probeUnits, "P": probePressure, "F": probeFluid, "S": probeScript, "O": probeOpen,
		"B": probeBag, "H": probeRing, "V": probeTraction, "N": probeEnergy, "G": probeChance,
	}[area]
	if !ok {
		return "", fmt.Errorf("no area %q is known; they are U, P, F, S, O, B, H, V, N and G", area)
	}
	x, err := probe(quantity, in)
	if err != nil {
		return "", err
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "", fmt.Errorf("these inputs give no number")
	}
	return strconv.FormatFloat(x, 'g', -1, 64), nil
}

func unknown(quantity string) (float64, error) {
	return 0, fmt.Errorf("the quantity %q is not known", quantity)
}

func probeUnits(quantity string, in Inputs) (float64, error) {
	r := in.get("id_m") / 2
	switch {
	case strings.HasPrefix(quantity, "hydrostatic"):
		return CmWater * in.get("height_cm"), nil
	case strings.HasPrefix(quantity, "Hagen-Poiseuille"):
		pas := 8 * in.get("mu_Pa_s") * in.get("L_m") / (math.Pi * math.Pow(r, 4)) // Pa s/m3
		return pas / 133.322 * 1e-6 / 60, nil
	case strings.HasPrefix(quantity, "line inertance"):
		return 1000 * in.get("L_m") / (math.Pi * r * r) / 133.322 * 1e-9, nil
	}
	return unknown(quantity)
}

func probePressure(quantity string, in Inputs) (float64, error) {
	p := DefaultParams()
	if strings.HasPrefix(quantity, "Friedenwald") {
		// The model with no outside pressure and no diaphragm must be Friedenwald's law: find
		// the volume at which it has the second pressure.
		p.PExt, p.PRef, p.K = 0, in.get("P1"), in.get("K_log10_per_uL")*math.Ln10
		g := newGlobe(&p, 0, 0)
		return bisect(-100, 100, func(x float64) float64 { return g.chamber(x, 0) - in.get("P2") }), nil
	}
	x, u := in.get("x_uL"), in.get("U_uL")
	g := newGlobe(&p, p.PExt, in.get("Kd_mN_mm"))
	switch {
	case strings.HasPrefix(quantity, "chamber pressure"):
		return g.chamber(x, u), nil
	case strings.HasPrefix(quantity, "vitreous pressure"):
		return g.vitreous(x, u), nil
	case strings.HasPrefix(quantity, "chamber depth"):
		return p.depthOf(x), nil
	}
	return unknown(quantity)
}

// bisect finds the root of a rising function.
func bisect(lo, hi float64, f func(float64) float64) float64 {
	for range 200 {
		mid := (lo + hi) / 2
		if f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

func probeTraction(quantity string, in Inputs) (float64, error) {
	switch e := in.or("e", 1); {
	case strings.Contains(quantity, "uncut"):
		return e * uncutForce(in.get("vac")), nil
	case strings.Contains(quantity, "cutter"):
		return e * cutterForce(in.get("vac"), in.get("cuts_per_min")), nil
	}
	return unknown(quantity)
}

func probeEnergy(quantity string, in Inputs) (float64, error) {
	e, err := New(Spec{Grade: in.or("grade", 3)}, 1)
	if err != nil {
		return 0, err
	}
	e.set.tool, e.set.pedal = phacoTip, 3
	e.set.power = in.or("power", in.get("mean_power"))
	e.set.torsional = in.or("mode_factor", 1) == e.par.Torsional
	switch {
	case strings.HasPrefix(quantity, "cumulative"):
		for range nearest(min(in.get("seconds"), 1e4) / tick) {
			e.energy(tick)
		}
		return e.cde, nil
	case strings.HasPrefix(quantity, "steady wound"):
		return bisect(0, 500, func(temp float64) float64 {
			return -heatRate(e.par, temp, in.get("irrigation_uL_s"), in.get("power")*in.or("heat_factor", 1))
		}), nil
	case strings.HasPrefix(quantity, "holding"):
		return in.get("area_mm2") / e.par.PortArea * e.hold(in.get("vac")), nil
	case strings.HasPrefix(quantity, "emulsification"):
		return e.emulsifyRate(in.get("vac")), nil
	}
	return unknown(quantity)
}

func probeChance(quantity string, in Inputs) (float64, error) {
	s := newStream(uint64(in.get("seed")), in.word("stream"))
	switch {
	case strings.Contains(quantity, "uniform"):
		return s.uniform(), nil
	case strings.Contains(quantity, "Weibull(m="):
		m := 0.0
		if _, err := fmt.Sscanf(quantity[strings.Index(quantity, "Weibull(m="):], "Weibull(m=%g)", &m); err != nil || m <= 0 {
			return unknown(quantity)
		}
		return s.weibull(m), nil
	case strings.Contains(quantity, "normal"):
		return s.normal(), nil
	}
	return unknown(quantity)
}
