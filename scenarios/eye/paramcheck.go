package eye

import (
	"fmt"
	"math"
	"reflect"
)

// divides names the parameters that something is divided by, which may not be 0.
var divides = map[string]bool{
	"K": true, "PRef": true, "VAC": true, "ACD": true, "Ad": true, "KIris": true, "Ri": true, "RiSeparate": true, "Li": true, "Ra": true, "RaAspiration": true, "RaCut": true,
	"Ct": true, "Band": true, "Ramp": true, "RVent": true, "RLine": true, "RSealed": true, "RIn": true, "ROpen": true, "RStrained": true, "TauPort": true,
	"InjectRate": true, "R": true, "Kr": true, "Kt": true, "S": true, "EIBag": true, "EABag": true, "KcEmpty": true, "PortArea": true, "EnergyPerUL": true,
	"BillowFlow": true, "BlockSoft": true, "Drain": true, "DrainDrip": true, "BleedGrow": true, "BleedClot": true, "BurnGape": true,
}

// Check says whether an eye can be computed with the parameters: all numbers from 0 up, above 0
// where something is divided by them, and finite but for the resistances of wounds, which may
// be infinite; a vitreous that presses more than the outside; 24 to 720 nodes, a whole number of them to the hour.
func (p Params) Check() error {
	v := reflect.ValueOf(p)
	for i := range v.NumField() {
		name, f := v.Type().Field(i).Name, v.Field(i)
		if f.Kind() != reflect.Float64 {
			continue
		}
		x := f.Float()
		wound := name == "RSealed" || name == "RIn" || name == "ROpen" || name == "RStrained"
		switch {
		case math.IsNaN(x) || x < 0 || divides[name] && x == 0:
			return fmt.Errorf("parameter %s is %g; it must be a number %s 0", name, x, map[bool]string{true: "above", false: "from"}[divides[name]])
		case math.IsInf(x, 0) && !wound:
			return fmt.Errorf("parameter %s is infinite; it must be finite", name)
		}
	}
	if p.PRef <= p.PExt {
		return fmt.Errorf("parameter PRef is %g and PExt %g; the vitreous must press more than what is around the eye", p.PRef, p.PExt)
	}
	if p.N < 24 || p.N > 720 || p.N%12 != 0 {
		return fmt.Errorf("parameter N is %d; the ring takes 24 to 720 nodes, a multiple of 12", p.N)
	}
	if p.CalmAfter < 1 {
		return fmt.Errorf("parameter CalmAfter is %d; it must be from 1", p.CalmAfter)
	}
	return nil
}
