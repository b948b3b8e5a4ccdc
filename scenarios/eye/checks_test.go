package eye

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

const reference = "../../testdata/eye/"

// check is one row of checks.csv; see testdata/eye/README.md for where they come from.
type check struct {
	id, area, quantity, expected, unit, kind, basis string
	in                                              map[string]any
	rel, abs                                        float64
}

func readChecks(t testing.TB) []check {
	t.Helper()
	f, err := os.Open(reference + "checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var cs []check
	for _, r := range rows[1:] {
		c := check{id: r[0], area: r[1], quantity: r[2], expected: r[4], unit: r[5], kind: r[8], basis: r[9]}
		if err := json.Unmarshal([]byte(r[3]), &c.in); err != nil {
			t.Fatalf("%s: %v", c.id, err)
		}
		c.rel, _ = strconv.ParseFloat(r[6], 64)
		c.abs, _ = strconv.ParseFloat(r[7], 64)
		cs = append(cs, c)
	}
	return cs
}

// get reads a number of the row's inputs; 0 when it is not there.
func (c check) get(name string) float64 {
	switch x := c.in[name].(type) {
	case float64:
		return x
	case bool:
		return bit(x)
	}
	return 0
}

func (c check) or(name string, other float64) float64 {
	if _, ok := c.in[name]; ok {
		return c.get(name)
	}
	return other
}

func (c check) compare(t *testing.T, got float64) {
	t.Helper()
	want, err := strconv.ParseFloat(c.expected, 64)
	if err != nil {
		t.Fatalf("%s: expected value %q is no number", c.id, c.expected)
	}
	if diff := math.Abs(got - want); !(diff <= max(c.abs, c.rel*math.Abs(want))) {
		t.Errorf("%s %s %v: got %.12g, want %.12g %s (off by %.3g, allowed %.3g); basis: %s",
			c.id, c.quantity, c.in, got, want, c.unit, diff, max(c.abs, c.rel*math.Abs(want)), c.basis)
	}
}

// Every row of checks.csv is run here, except those that need whole plans, which
// eye/policy runs.
func TestChecks(t *testing.T) {
	numeric := map[string]func(*testing.T, check) float64{
		"U": checkUnits, "P": checkPressure, "F": checkFluid, "S": checkScript, "O": checkOpen,
		"B": checkBag, "H": checkRing, "V": checkTraction, "N": checkEnergy,
	}
	rows, ran, elsewhere := readChecks(t), 0, 0
	for _, c := range rows {
		switch {
		case numeric[c.area] != nil:
			c.compare(t, numeric[c.area](t, c))
		case c.area == "G":
			checkStream(t, c)
		case c.area == "D" && c.id != "C-D04":
			t.Run(c.id, metamorphic[c.id])
		case c.area == "R" || c.id == "C-D04":
			elsewhere++
			continue
		default:
			t.Errorf("%s: nobody runs area %q", c.id, c.area)
		}
		ran++
	}
	if len(rows) != 144 || ran != 138 || elsewhere != 6 {
		t.Errorf("%d rows, %d run here and %d in eye/policy; want 144, 138 and 6", len(rows), ran, elsewhere)
	}
}

func checkUnits(t *testing.T, c check) float64 {
	switch {
	case strings.HasPrefix(c.quantity, "hydrostatic"):
		return CmWater * c.get("height_cm")
	case strings.HasPrefix(c.quantity, "Hagen-Poiseuille"):
		r := c.get("id_m") / 2
		pas := 8 * c.get("mu_Pa_s") * c.get("L_m") / (math.Pi * math.Pow(r, 4)) // Pa s/m3
		return pas / 133.322 * 1e-6 / 60
	}
	r := c.get("id_m") / 2
	return 1000 * c.get("L_m") / (math.Pi * r * r) / 133.322 * 1e-9
}

func checkPressure(t *testing.T, c check) float64 {
	p := DefaultParams()
	if strings.HasPrefix(c.quantity, "Friedenwald") {
		// The model with no outside pressure and no diaphragm must be Friedenwald's law: find
		// the volume at which it has the second pressure.
		p.PExt, p.PRef, p.K = 0, c.get("P1"), c.get("K_log10_per_uL")*math.Ln10
		g := newGlobe(&p, 0, 0)
		return bisect(-100, 100, func(x float64) float64 { return g.chamber(x, 0) - c.get("P2") })
	}
	x, u := c.get("x_uL"), c.get("U_uL")
	g := newGlobe(&p, p.PExt, c.get("Kd_mN_mm"))
	switch {
	case strings.HasPrefix(c.quantity, "chamber pressure"):
		return g.chamber(x, u)
	case strings.HasPrefix(c.quantity, "vitreous"):
		return g.vitreous(x, u)
	}
	return p.depthOf(x)
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

func checkTraction(t *testing.T, c check) float64 {
	if strings.Contains(c.quantity, "uncut") {
		return uncutForce(c.get("vac"))
	}
	return cutterForce(c.get("vac"), c.get("cuts_per_min"))
}

func checkEnergy(t *testing.T, c check) float64 {
	e := mustNew(t, Spec{Grade: c.or("grade", 3)}, 1)
	e.set.tool, e.set.pedal = phacoTip, 3
	e.set.power = c.or("power", c.get("mean_power"))
	e.set.torsional = c.or("mode_factor", 1) == e.par.Torsional
	switch {
	case strings.HasPrefix(c.quantity, "cumulative"):
		for range nearest(c.get("seconds") / tick) {
			e.energy(tick)
		}
		return e.cde
	case strings.HasPrefix(c.quantity, "steady wound"):
		return bisect(0, 500, func(temp float64) float64 {
			return -heatRate(e.par, temp, c.get("irrigation_uL_s"), c.get("power")*c.get("heat_factor"))
		})
	case strings.HasPrefix(c.quantity, "holding"):
		return c.get("vac") * c.get("area_mm2") * mmHgInMN * e.hold(1) / (e.par.PortArea * mmHgInMN)
	}
	return e.emulsifyRate(c.get("vac"))
}

func checkStream(t *testing.T, c check) {
	s := newStream(uint64(c.get("seed")), c.in["stream"].(string))
	switch {
	case strings.Contains(c.quantity, "hex"):
		if got := "0x" + strconv.FormatUint(s.next(), 16); got != c.expected {
			t.Errorf("%s: first draw %s, want %s", c.id, got, c.expected)
		}
	case strings.Contains(c.quantity, "uniform"):
		c.compare(t, s.uniform())
	default:
		c.compare(t, s.weibull(10))
	}
}

func mustNew(t testing.TB, spec Spec, seed uint64) *Eye {
	t.Helper()
	e, err := New(spec, seed)
	if err != nil {
		t.Fatal(err)
	}
	return e
}
