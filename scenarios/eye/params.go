package eye

import "math"

// Params are the constants of the model eye. README.md lists each with its source.
// Inside, flows are uL/s and resistances mmHg s/uL; where a constant is given per
// mL/min its comment says so.
type Params struct {
	// Globe.
	K          float64 // stiffness of the shell, 1/uL
	PRef, PExt float64 // vitreous pressure at rest and pressure of lids and orbit, mmHg
	VAC        float64 // anterior chamber volume at rest, uL
	ACD        float64 // its depth at rest, mm
	Ad         float64 // area of the diaphragm, mm2
	KIris, KZ  float64 // diaphragm stiffness from the iris and from whole zonules, mN/mm
	KFlat      float64 // stiffness once the chamber is flat, mmHg/uL

	// Lines and pump.
	Ri                   float64 // irrigation, mmHg/(mL/min)
	RiSeparate           float64 // factor for a separate cannula
	Li                   float64 // inertance of the irrigation line, mmHg s2/uL
	Ra                   float64 // aspiration through an ultrasound tip, mmHg/(mL/min)
	RaAspiration, RaCut  float64 // factors for the aspiration tip and the cutter
	Ct                   float64 // compliance of the aspiration line, uL/mmHg
	Band, Ramp           float64 // slip band of the pump, 1; ramp of its command, s
	RVent, RLine         float64 // vent, and line of a vacuum-held pump, mmHg s/uL
	RSealed, RIn, ROpen  float64 // wound, mmHg/(mL/min)
	LeakOVD, PortOVD     float64 // how viscoelastic plugs the wound (phi^8) and the port (phi^2)
	TauPort              float64 // time in which lens matter closes or frees the port, s
	InjectRate           float64 // viscoelastic, uL/s
	Dispersive, Cohesive float64 // retention

	// Bag.
	N                int
	R                float64 // radius, mm
	Kr, Kt, Kz       float64 // zonules, mN/mm2
	T0, S            float64 // pretension and strength, mN/mm
	EIBag, EABag     float64 // mN mm2, mN
	EIRing, EARing   float64
	KcEmpty, KcLens  float64 // coupling of the core to the bag, mN/mm2
	KcImplant        float64
	Gap0             float64 // mm
	AnchorK          float64 // mN/mm
	AnchorAxial      float64 // share of it along the axis
	HandSigma        float64
	CortexPull       float64 // of a middling hand on one sector, mN
	SupportLostHours float64

	// Vitreous.
	GForward, GBack    float64 // uL/(s mmHg mm2)
	PYield, POVD       float64 // mmHg
	KSuction           float64 // mmHg s/uL
	BreachP, BreachSig float64

	// Nucleus, energy, heat, endothelium, capsule.
	PortArea     float64 // mm2
	Capture      float64 // share of the holding force that reaches the zonules
	EnergyPerUL  float64 // power-seconds per uL at grade 3
	Torsional    float64 // factor of energy for torsional ultrasound
	RentArea     float64 // mm2
	WoundBase    float64 // degC
	HeatPerPower float64

	// Iris.
	PupilRate    float64 // narrowing of a limp iris in 30 mL/min, 1/s
	BillowFlow   float64 // uL/s at which a limp iris waves fully
	ProlapseRate float64 // into the wound, 1/s
	IrisReach    float64 // mm from which the port draws the edge
	BlockDepth   float64 // mm beyond which a prone iris seals on the capsule
	BlockSoft    float64 // how much softer the diaphragm then is
	BlockLoad    float64 // and how much more of the pressure the bag carries

	// From behind, from outside.
	GAstray          float64 // uL/(s mmHg)
	JetP             float64 // mmHg s/uL, of irrigation against the edge of the bag
	Drain, DrainDrip float64 // s in which stray fluid leaves by itself, and with a drip
	Osmotic          float64 // uL a drip draws besides
	PArtery, PVein   float64 // of the choroid, mmHg
	BleedHazard      float64 // 1/s per 10 mmHg at full fragility
	GBleed           float64 // uL/(s mmHg) of a fresh leak
	BleedGrow        float64 // s in which it grows e-fold in a soft eye
	BleedClot        float64 // s in which it shrinks e-fold in a firm one
	Cough            float64 // mmHg of a burst
	RStrained        float64 // unsealed wound of an eye pressed from behind, mmHg/(mL/min)

	// Membrane, burn, segment, cutter.
	FlapSpread float64 // 1/s in a jet of 500 uL/s
	BurnGape   float64 // s above 60 degC after which a wound gapes fully
	SegmentK   float64 // mN/mm
	CoaxialJet float64 // gel stirred up per volume of irrigation and opening, 1/mm2

	CalmAfter int // quiet short steps before a long one
}

// DefaultParams returns the constants of model eye/1.
func DefaultParams() Params {
	return Params{
		K: 0.0126, PRef: 15, PExt: 6, VAC: 160, ACD: 3, Ad: 100, KIris: 32, KZ: 70, KFlat: 2,
		Ri: 0.6, RiSeparate: 1.8, Li: 1.2e-3, Ra: 1.2, RaAspiration: 2.5, RaCut: 20, Ct: 0.15, Band: 0.3, Ramp: 0.25,
		RVent: 0.1, RLine: 0.3, RSealed: 500, RIn: 12, ROpen: 1.5, LeakOVD: 2000, PortOVD: 15, TauPort: 0.006,
		InjectRate: 40, Dispersive: 0.85, Cohesive: 0.3,
		N: 72, R: 5, Kr: 0.5, Kt: 0.15, Kz: 0.35, T0: 0.2, S: 1.4, EIBag: 0.5, EABag: 20, EIRing: 250, EARing: 9e4,
		KcEmpty: 0.05, KcLens: 10, KcImplant: 3, Gap0: 0.4, AnchorK: 4, AnchorAxial: 0.3, HandSigma: 0.25, CortexPull: 6, SupportLostHours: 9,
		GForward: 0.25, GBack: 0.04, PYield: 0.3, POVD: 12, KSuction: 0.02, BreachP: 6, BreachSig: 0.2,
		PortArea: 0.64, Capture: 0.12, EnergyPerUL: 0.03, Torsional: 0.4, RentArea: 4, WoundBase: 26, HeatPerPower: 9.24,
		PupilRate: 0.02, BillowFlow: 500, ProlapseRate: 0.05, IrisReach: 0.4, BlockDepth: 3.8, BlockSoft: 2.5, BlockLoad: 3.2,
		GAstray: 0.2, JetP: 0.01, Drain: 240, DrainDrip: 80, Osmotic: 30, PArtery: 65, PVein: 30, BleedHazard: 0.03, GBleed: 0.06,
		BleedGrow: 20, BleedClot: 15, Cough: 15, RStrained: 60, FlapSpread: 0.02, BurnGape: 5, SegmentK: 8, CoaxialJet: 5e-4,
		CalmAfter: 50,
	}
}

const (
	mmHgInMN   = 0.133322 // mN/mm2 in one mmHg
	perMLMin   = 0.06     // mmHg s/uL in one mmHg/(mL/min)
	uLsPerMLM  = 1000.0 / 60
	fullLensUL = 200.0
)

// nearest rounds half upward. The model's node numbers depend on it; math.Round rounds
// half away from zero, which moves gaps by one node on one side.
func nearest(x float64) int { return int(math.Floor(x + 0.5)) }
