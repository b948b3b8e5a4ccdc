package eye

import (
	"fmt"
	"math"
)

// Spec is the starting eye. The zero value of a field means its default where one is
// named.
type Spec struct {
	Strength, Stiffness       float64    // of the zonules, relative to a healthy eye, 0.05..2; default 1
	Weibull                   float64    // shape of the strength distribution, 2..30; default 10; small is uneven
	Edge                      float64    // strength factor of the two segments on each side of a gap, 0.05..2; default 1
	Grade                     float64    // hardness of the nucleus, 1..6; default 3
	DialysisHours, DialysisAt float64    // clock hours missing at the start, 0..12, and their middle, 0..12; default middle 6
	LensUL                    float64    // lens matter in the bag, uL, 0..300; default 200; negative means none
	Fragments                 []Fragment // loose pieces at the start; may be empty
	Cortex                    []int      // sectors 0..11 still holding cortex; nil means all twelve
	HyaloidBreached           bool       // the face of the vitreous is broken already
	VitreousUL                float64    // gel in the chamber already, uL, 0..100
	Strand                    float64    // engaged in the port already, 0..1
	Adhesion                  float64    // of the nucleus to the capsule, 0..1

	// What lies beyond the ordinary eye; the zero value is an eye without it.
	PupilMM         float64 // diameter at the start, 2..9 mm; default 8, a wide healthy pupil
	FloppyIris      float64 // 0 firm .. 1 limp
	BlockProne      float64 // how readily the iris seals on the capsule when the chamber is deep, 0..1
	Misdirect       float64 // how readily fluid goes behind an uninjured bag (short, crowded eye), 0..1
	AstrayUL        float64 // fluid there already, uL, 0..150
	OutsideMMHg     float64 // speculum, drape and orbit pressing, mmHg, 0..25
	ChoroidFragile  float64 // vessels of the choroid, 0..1
	BloodUL         float64 // blood under the choroid already, from a vessel that bleeds on, uL, 0..300
	MembraneLoose   float64 // how loosely Descemet's membrane sits, 0..1
	MembraneFlap    float64 // share of it hanging free already, 0..1
	PolarWeak       float64 // weakness of the back of the capsule (posterior polar cataract), 0..1
	CapsulotomyMM   float64 // its diameter, 3..8 mm; default 5.2
	CapsulotomyTorn bool    // its edge has a tear
}

// Fragment is a loose piece of nucleus: its clock hour and volume in uL.
type Fragment struct{ Hour, UL float64 }

// withDefaults fills in the defaults.
func (s Spec) withDefaults() Spec {
	def := func(x *float64, d float64) {
		if *x == 0 {
			*x = d
		}
	}
	def(&s.Strength, 1)
	def(&s.Stiffness, 1)
	def(&s.Weibull, 10)
	def(&s.Edge, 1)
	def(&s.Grade, 3)
	def(&s.DialysisAt, 6)
	def(&s.LensUL, 200)
	def(&s.PupilMM, 8)
	def(&s.CapsulotomyMM, 5.2)
	if s.LensUL < 0 {
		s.LensUL = 0
	}
	return s
}

// Check says whether an eye can be made from the specification.
func (s Spec) Check() error {
	s = s.withDefaults()
	for _, f := range specFields {
		if x := *f.at(&s); math.IsNaN(x) || x < f.Min || x > f.Max {
			return fmt.Errorf("starting eye: %s is %g; it must be from %g to %g", f.inWords(), x, f.Min, f.Max)
		}
	}
	if len(s.Fragments) > maxFragments {
		return fmt.Errorf("starting eye: %d loose pieces; at most %d are allowed", len(s.Fragments), maxFragments)
	}
	sum := 0.0
	for i, f := range s.Fragments {
		if math.IsNaN(f.Hour) || f.Hour < 0 || f.Hour > 12 || math.IsNaN(f.UL) || f.UL <= 0 || f.UL > 300 {
			return fmt.Errorf("starting eye: piece %d has hour %g and %g uL; hours run from 0 to 12 and a piece has up to 300 uL", i, f.Hour, f.UL)
		}
		sum += f.UL
	}
	if sum > s.LensUL*(1+1e-9) {
		return fmt.Errorf("starting eye: the pieces hold %g uL, more than the %g uL of lens matter", sum, s.LensUL)
	}
	for _, c := range s.Cortex {
		if c < 0 || c > 11 {
			return fmt.Errorf("starting eye: no cortex sector %d; they run from 0 to 11", c)
		}
	}
	if s.Strand > 0 && !s.HyaloidBreached {
		return fmt.Errorf("starting eye: a strand is engaged although the hyaloid face is whole; say that it is breached")
	}
	return nil
}

// maxFragments bounds the loose pieces.
const maxFragments = 12
