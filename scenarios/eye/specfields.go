package eye

import "strings"

// SpecField describes one number of the starting eye for parsers, help and forms.
type SpecField struct {
	Name, Unit, Meaning string
	Min, Max            float64
	at                  func(*Spec) *float64
}

// Set writes the field. Where zero would mean the default, a written zero of lens matter
// becomes the negative number that means none.
func (f SpecField) Set(s *Spec, x float64) {
	if f.Name == "lens" && x == 0 {
		x = -1
	}
	*f.at(s) = x
	if f.Name == "vitreous" || f.Name == "strand" {
		s.HyaloidBreached = s.HyaloidBreached || x > 0
	}
}

// inWords names the field in a sentence.
func (f SpecField) inWords() string {
	switch f.Name {
	case "dialysis":
		return "dialysis hours"
	case "lens":
		return "lens matter"
	}
	return strings.ReplaceAll(f.Name, "_", " ")
}

// SpecFields lists the numbers of [Spec] in fixed order; a hole in the capsulotomy's edge,
// loose pieces and cortex are not numbers and are set in the Spec itself.
func SpecFields() []SpecField { return append([]SpecField(nil), specFields[:]...) }

var specFields = [...]SpecField{
	{"strength", "", "strength of the zonules relative to a healthy eye", 0.05, 2, func(s *Spec) *float64 { return &s.Strength }},
	{"stiffness", "", "stiffness of the zonules relative to a healthy eye", 0.05, 2, func(s *Spec) *float64 { return &s.Stiffness }},
	{"weibull", "", "shape of the strength distribution; small is uneven", 2, 30, func(s *Spec) *float64 { return &s.Weibull }},
	{"edge", "", "strength factor of the zonules beside a gap", 0.05, 2, func(s *Spec) *float64 { return &s.Edge }},
	{"grade", "", "hardness of the nucleus", 1, 6, func(s *Spec) *float64 { return &s.Grade }},
	{"dialysis", "h", "clock hours of zonules missing at the start", 0, 12, func(s *Spec) *float64 { return &s.DialysisHours }},
	{"dialysis_at", "", "clock hour of the middle of that gap", 0, 12, func(s *Spec) *float64 { return &s.DialysisAt }},
	{"lens", "uL", "lens matter in the bag", 0, 300, func(s *Spec) *float64 { return &s.LensUL }},
	{"adhesion", "", "of the nucleus to the capsule", 0, 1, func(s *Spec) *float64 { return &s.Adhesion }},
	{"vitreous", "uL", "gel in the chamber already", 0, 100, func(s *Spec) *float64 { return &s.VitreousUL }},
	{"strand", "", "a strand engaged at the port", 0, 1, func(s *Spec) *float64 { return &s.Strand }},
	{"pupil", "mm", "diameter of the pupil", 2, 9, func(s *Spec) *float64 { return &s.PupilMM }},
	{"floppy_iris", "", "how limp the iris is", 0, 1, func(s *Spec) *float64 { return &s.FloppyIris }},
	{"block_prone", "", "how readily the iris seals on the capsule when the chamber is deep", 0, 1, func(s *Spec) *float64 { return &s.BlockProne }},
	{"misdirect", "", "how readily fluid goes behind an uninjured bag", 0, 1, func(s *Spec) *float64 { return &s.Misdirect }},
	{"misdirected", "uL", "fluid behind an uninjured bag already", 0, 150, func(s *Spec) *float64 { return &s.AstrayUL }},
	{"outside", "mmHg", "speculum, drape and orbit pressing on the eye", 0, 25, func(s *Spec) *float64 { return &s.OutsideMMHg }},
	{"choroid_fragile", "", "fragility of the vessels of the choroid", 0, 1, func(s *Spec) *float64 { return &s.ChoroidFragile }},
	{"choroid_blood", "uL", "blood under the choroid already, from a vessel that bleeds on", 0, 300, func(s *Spec) *float64 { return &s.BloodUL }},
	{"membrane_loose", "", "how loosely Descemet's membrane sits", 0, 1, func(s *Spec) *float64 { return &s.MembraneLoose }},
	{"membrane_flap", "", "share of Descemet's membrane hanging free already", 0, 1, func(s *Spec) *float64 { return &s.MembraneFlap }},
	{"polar_weak", "", "weakness of the back of the capsule, as in a posterior polar cataract", 0, 1, func(s *Spec) *float64 { return &s.PolarWeak }},
	{"capsulotomy", "mm", "diameter of the capsulotomy", 3, 8, func(s *Spec) *float64 { return &s.CapsulotomyMM }},
}
